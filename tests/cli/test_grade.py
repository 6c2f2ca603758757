"""`grade`: patterns, the highest category that passes, temperature, on records known in closed form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import Measurement, SMatrix, Specimen, balanced_ports

# Every 8.7 MHz, and both ends of the lines of all three categories.
GRID = np.unique(np.concatenate([np.linspace(1e6, 500e6, 58), [100e6, 250e6]]))
F_MHZ = GRID / 1e6


def measured(
    *,
    loss_db: np.ndarray,
    reflection_db: np.ndarray | float = 60.0,
    length_m: float | None = None,
    ambient: dict[str, float] | None = None,
    reversed_pair: bool = False,
) -> Measurement:
    """Sixteen legs that all reflect the same and go straight through with the loss; no crosstalk at all."""
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    s = np.zeros((GRID.size, 16, 16), complex)
    through = 10 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * GRID * 10e-9)
    for k in range(8):
        other = {0: 1, 1: 0}.get(k, k) if reversed_pair else k
        s[:, other + 8, k] = s[:, k, other + 8] = through
    for k in range(16):
        s[:, k, k] = 10 ** (-np.broadcast_to(reflection_db, GRID.shape) / 20.0)
    return Measurement(
        specimen=Specimen("cord 7", length_m),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(GRID, s, legs, (50.0,) * 16),
        ambient=ambient or {},
    )


def store(measurement: Measurement, folder: str = "archive") -> Path:
    Path(folder).mkdir(exist_ok=True)
    return archive.write_record(measurement, Path(folder))


def cable_loss_db(times: float, length_m: float) -> np.ndarray:
    """`times` the limit of category 6 horizontal cable (568-B.2-1: 1.808 √f + 0.017 f + 0.2/√f a 100 m)."""
    return times * length_m / 100.0 * (1.808 * F_MHZ**0.5 + 0.017 * F_MHZ + 0.2 / F_MHZ**0.5)


@pytest.fixture
def cord(own_home: Path) -> Path:
    """Return loss 1 dB better than the limit of cords, 24 - 10 log(f/25), to 150 MHz, 3 dB worse above."""
    limit = np.where(F_MHZ <= 25.0, 24.0 + 3.0 * np.log10(F_MHZ / 25.0), 24.0 - 10.0 * np.log10(F_MHZ / 25.0))
    return store(
        measured(loss_db=cable_loss_db(1.0, 2.0), reflection_db=limit + np.where(F_MHZ <= 150.0, 1.0, -3.0))
    )


def family(document: dict[str, Any], body: str, configuration: str) -> dict[str, Any]:
    (found,) = [
        item for item in document["highest"] if (item["body"], item["configuration"]) == (body, configuration)
    ]
    return found


def test_the_highest_category_and_what_stops_the_next_one(cord: Path, run: Callable) -> None:
    answer = run("grade", cord, "--highest", "--against", "tia-*-cord", "--length-m", "2", "--json")
    assert answer.code == 0
    document = answer.json
    assert (document["schema"], document["specimen"]) == ("benchsweep.highest/1", "cord 7")
    found = family(document, "TIA", "cord")
    assert (found["requirement"], found["class"], found["outcome"]) == ("tia-5e-cord", "5e", "pass")
    assert [item["requirement"] for item in found["ranked"]] == ["tia-6a-cord", "tia-6-cord", "tia-5e-cord"]
    following = found["next"]
    assert (following["requirement"], following["outcome"]) == ("tia-6-cord", "fail")
    row = following["row"]
    assert (row["parameter"], row["outcome"]) == ("return_loss", "fail")
    assert row["worst_margin_db"] == pytest.approx(-3.0, abs=1e-6)
    text = run("grade", cord, "--highest", "--against", "tia-*-cord", "--length-m", "2")
    assert text.code == 0
    words = " ".join(text.out.split())
    assert words.startswith(
        "highest category that passes TIA cord: 5e passes (tia-5e-cord); 6 (tia-6-cord) fails: return loss, "
        "end A, pair 12: 3.00 dB outside the limit at"
    )


def test_several_requirements_end_with_a_line_for_each_family(cord: Path, run: Callable) -> None:
    answer = run("grade", cord, "--against", "tia-*-cord", "--against", "tia-5e-channel", "--length-m", "2")
    assert answer.code == 1  # two of the cords fail
    tables, _, families = answer.out.partition("highest category that passes\n")
    assert [name for name in ("tia-5e-cord", "tia-6-cord", "tia-6a-cord", "tia-5e-channel") if name in tables]
    assert tables.count("outcome      ") == 4
    lines = [line for line in families.splitlines() if not line.startswith("  ")]
    assert [line.split(":")[0] for line in lines] == ["TIA channel", "TIA cord"]
    assert lines[0] == "TIA channel: 5e passes (tia-5e-channel), the highest graded"
    one = run("grade", cord, "--against", "tia-5e-channel")
    assert one.code == 0
    assert "highest category" not in one.out
    several = run("grade", cord, "--against", "tia-*-channel", "--json").json
    assert [document["requirement"] for document in several] == [
        "tia-5e-channel",
        "tia-6-channel",
        "tia-6a-channel",
    ]


def test_what_a_pattern_chose_may_lack_its_length_and_what_was_named_may_not(
    cord: Path, run: Callable
) -> None:
    answer = run("grade", cord, "--against", "tia-5e-cor?", "--json")
    assert (answer.code, answer.json["outcome"]) == (3, "undecided")
    notes = {row["note"] for row in answer.json["rows"] if row["parameter"] == "next"}
    assert notes == {"the limit depends on the length of the specimen, which was not given"}
    assert {row["outcome"] for row in answer.json["rows"] if row["parameter"] == "return_loss"} == {"pass"}
    for more in ((), ("--against", "tia-*-cord")):
        named = run("grade", cord, "--against", "tia-5e-cord", *more)
        assert named.code == 2
        assert "depends on the length" in named.err
        assert "--length-m" in named.err
    highest = run("grade", cord, "--highest", "--against", "tia-*-cord", "--json")
    assert highest.code == 3
    found = family(highest.json, "TIA", "cord")
    assert found["requirement"] is None
    assert [item["requirement"] for item in found["undecided_above"]] == ["tia-5e-cord"]
    assert (found["next"]["requirement"], found["next"]["outcome"]) == ("tia-5e-cord", "undecided")


def test_highest_without_against_looks_at_every_category(cord: Path, run: Callable) -> None:
    answer = run("grade", cord, "--highest", "--length-m", "2", "--json")
    assert answer.code == 1  # a cord is no cable: none of those passes
    families = {(item["body"], item["configuration"]) for item in answer.json["highest"]}
    assert {("TIA", "cord"), ("TIA", "channel"), ("ISO/IEC", "permanent-link"), ("IEC", "cable")} <= families
    alien = family(answer.json, "TIA", "channel-alien")
    assert (alien["requirement"], alien["next"]["outcome"]) == (None, "undecided")
    assert "bundle" in alien["next"]["row"]["note"]
    # Class E fails above 150 MHz; without a rank class FA takes no part.
    channels = family(answer.json, "ISO/IEC", "channel")
    assert [item["class"] for item in channels["ranked"]] == ["F", "EA", "E", "D"]


BUDGET = """
schema = 1
name = "bench"
description = "one term"
coverage_factor = 2
source = "a test"
standing = "common-practice"
[[term]]
kind = "directivity"
name = "residual directivity"
level_db = -30.0
source = "data sheet"
standing = "published"
"""


def test_a_conditional_pass_is_called_so(cord: Path, run: Callable) -> None:
    """1 dB inside the limit, which is less than the uncertainty by a directivity of -30 dB."""
    Path("bench.toml").write_text(BUDGET, encoding="utf-8")
    how = ("--decision", "four-way", "--budget", "bench.toml", "--length-m", "2")
    answer = run("grade", cord, "--highest", "--against", "tia-5e-cord", *how)
    assert answer.code == 0
    assert "TIA cord: 5e passes, conditionally (tia-5e-cord), the highest graded" in answer.out


def test_wiring_stops_every_category(own_home: Path, run: Callable) -> None:
    path = store(measured(loss_db=cable_loss_db(1.0, 2.0), reversed_pair=True))
    answer = run("grade", path, "--highest", "--against", "tia-*-channel")
    assert answer.code == 1
    assert "TIA channel: none of 5e, 6, 6A passes; 5e (tia-5e-channel) fails: wiring: " in " ".join(
        answer.out.split()
    )
    document = run("grade", path, "--highest", "--against", "tia-*-channel", "--json").json
    following = family(document, "TIA", "channel")["next"]
    assert following["row"] is None
    assert "fails for its wiring: reversed" in following["notes"]


# ---- temperature and length of cable


@pytest.fixture
def warm_reel(own_home: Path) -> Path:
    """100 m that lose 1.05 times the limit, at 40 degC: within it at 20 degC if unscreened (factor 1.08)."""
    return store(measured(loss_db=cable_loss_db(1.05, 100.0), ambient={"temperature_degc": 40.0}))


def loss_rows(answer: Any) -> list[dict[str, Any]]:
    return [row for row in answer.json["rows"] if row["parameter"] == "insertion_loss"]


def test_insertion_loss_of_cable_is_brought_to_20_degc(warm_reel: Path, run: Callable) -> None:
    """568-C.2, 6.4.7, as quoted in public: 0.4 %/K unscreened and 0.2 %/K screened, from 20 to 40 degC."""
    at = ("grade", warm_reel, "--against", "tia-6-cable", "--length-m", "100", "--json")
    limit = cable_loss_db(1.0, 100.0)

    def worst_ratio(*arguments: str) -> tuple[float, set[str]]:
        rows = loss_rows(run(*at, *arguments))
        row = min(rows, key=lambda row: row["worst_margin_db"])
        place = np.argmin(abs(GRID - row["frequency_hz"]))
        return row["value"] / limit[place], {row["outcome"] for row in rows}

    ratio, outcomes = worst_ratio("--construction", "unscreened")
    assert (ratio, outcomes) == (pytest.approx(1.05 / 1.08, rel=1e-6), {"pass"})
    ratio, outcomes = worst_ratio("--construction", "screened")
    assert (ratio, outcomes) == (pytest.approx(1.05 / 1.04, rel=1e-6), {"fail"})
    ratio, _ = worst_ratio()  # nobody told: the slope that corrects less
    assert ratio == pytest.approx(1.05 / 1.04, rel=1e-6)
    ratio, _ = worst_ratio("--temperature-degc", "21")  # overrules the record
    assert ratio == pytest.approx(1.05, rel=1e-6)
    document = run(*at).json
    assert any("brought from 40 to 20 degC" in note for note in document["notes"])


def test_a_cold_reel_is_undecided_unless_the_slope_may_be_extended(own_home: Path, run: Callable) -> None:
    path = store(measured(loss_db=cable_loss_db(0.9, 100.0)))
    at = (
        "grade",
        path,
        "--against",
        "tia-6-cable",
        "--length-m",
        "100",
        "--json",
        "--temperature-degc",
        "10",
    )
    rows = loss_rows(run(*at))
    assert {row["outcome"] for row in rows} == {"undecided"}
    assert all("no slope is stated for that side" in row["note"] for row in rows)
    extended = loss_rows(run(*at, "--cold-slope", "--construction", "unscreened"))
    assert {row["outcome"] for row in extended} == {"pass"}
    assert extended[0]["value"] / rows[0]["value"] == pytest.approx(1.0 / 0.96, rel=1e-6)


def test_a_permanent_link_of_its_own_length_takes_the_length_given(own_home: Path, run: Callable) -> None:
    """45 m of cable without connectors meet the limit of 45 m, and that of 90 m by far more."""
    path = store(measured(loss_db=cable_loss_db(1.0, 45.0)))
    limits = {
        name: min(
            row["worst_margin_db"]
            for row in loss_rows(run("grade", path, "--against", name, "--length-m", "45", "--json"))
        )
        for name in ("iso-e-permanent-link", "iso-e-permanent-link-by-length")
    }
    assert 0.0 < limits["iso-e-permanent-link-by-length"] < limits["iso-e-permanent-link"]


# ---- mistakes


@pytest.mark.parametrize(
    ("arguments", "words", "hint"),
    [
        ((), "nothing to grade against", "--against"),
        (("--against", "tia-9*"), "no requirement fits 'tia-9*'", "limits list"),
        (("--against", "tia-9-cord"), "no requirement named 'tia-9-cord'", "tia-6-cord"),
        (("--against", "tia-6-cord"), "depends on the length", "--length-m"),
        (("--against", "own.toml"), "own.toml: lines", "level"),
        (("--against", "tia-6-cable", "--construction", "tin"), "no construction named 'tin'", "unscreened"),
        (("--against", "tia-6-cable", "--temperature-degc", "900"), "a temperature of 900 degC", "degC"),
        (("--against", "tia-6-cable", "--length-m", "-3"), "a length of -3 m makes no sense", "metres"),
    ],
)
def test_what_makes_no_sense_is_refused(
    arguments: tuple[str, ...], words: str, hint: str, cord: Path, run: Callable
) -> None:
    Path("own.toml").write_text(
        'schema = 1\nname = "own"\ntitle = "t"\nbody = "b"\nedition = "e"\nclass = "6"\n'
        'configuration = "cord"\nstanding = "published"\nsource = { document = "d", checked = "c" }\n'
        '[[lines]]\nparameter = "next"\nsense = "min"\nstanding = "published"\nsource = "s"\n'
        'bands = [{ from_mhz = 1, to_mhz = 2, limit = { form = "constant", level = "high" } }]\n',
        encoding="utf-8",
    )
    answer = run("grade", cord, *arguments)
    assert answer.code == 2
    assert words in answer.err
    assert hint in answer.err
    assert "Traceback" not in answer.err
    assert answer.out == ""


def test_a_broken_table_takes_no_part_in_the_search_and_is_told(cord: Path, run: Callable) -> None:
    Path("requirements").mkdir()
    Path("requirements/works.toml").write_text("schema = 1\n", encoding="utf-8")
    answer = run("grade", cord, "--highest", "--length-m", "2", "--json")
    assert family(answer.json, "TIA", "cord")["class"] == "5e"
    assert "requirements/works.toml is broken and takes no part" in answer.err
    assert run("grade", cord, "--against", "tia-*-channel").code == 0
    refused = run("grade", cord, "--against", "work*")
    assert refused.code == 2
    assert "requirements/works.toml" in refused.err


@pytest.mark.parametrize("length", ["nan", "inf", "-inf", "0", "-1", "1e-9", "1e9"])
@pytest.mark.parametrize("requirement", ["tia-6-cable", "tia-6a-cord", "tia-6-channel"])
def test_a_length_that_is_none_is_refused(cord: Path, run: Callable, length: str, requirement: str) -> None:
    answer = run("grade", cord, "--against", requirement, f"--length-m={length}")
    assert answer.code == 2
    assert "makes no sense" in answer.err
