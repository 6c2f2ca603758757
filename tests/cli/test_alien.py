"""Alien crosstalk that was measured elsewhere: from a file of several cables to a verdict.

Every pair of the specimen hears every pair of disturbing cable 1 with 75 dB at the same and 80 dB at the
other end, every pair of cable 4 with 10 dB more, and loses 0.915 dB itself. By hand:
PS ANEXT   -10 log10(4 (10^-7.5 + 10^-8.5))         = 68.565 dB; the limit is 67 dB up to some 20 MHz
PS AACR-F  -10 log10(4 (10^-8 + 10^-9)) - 0.915     = 72.650 dB; limit 67 dB
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import balanced_ports
from tests.conftest import Run

GRID = np.geomspace(1e6, 500e6, 40)
NEAR_DB = {1: 75.0, 4: 85.0}
FAR_DB = {1: 80.0, 4: 90.0}
CABLES = (4, 0, 1)
LEGS = [str(leg) for cable in CABLES for port in balanced_ports(cable=cable) for leg in port.legs]


def write_file(folder: Path, legs: list[str]) -> Path:
    """Write a Touchstone file of the bundle with one port for each of `legs`."""
    ports = [port for cable in CABLES for port in balanced_ports(cable=cable)]
    s = np.zeros((GRID.size, 2 * len(ports), 2 * len(ports)), dtype=complex)
    line = 0.9 * np.exp(-2j * np.pi * GRID * 10e-9)
    for i, one in enumerate(ports):
        for j, other in enumerate(ports):
            if (one.cable, one.pair) == (other.cable, other.pair) and one.end != other.end:
                s[:, 2 * i, 2 * j] = s[:, 2 * i + 1, 2 * j + 1] = line
            elif 0 in (one.cable, other.cable) and one.cable != other.cable:
                levels = NEAR_DB if one.end == other.end else FAR_DB
                # Between the positive legs alone; the differential wave is half of it.
                s[:, 2 * i, 2 * j] = 2.0 * 10.0 ** (-levels[one.cable or other.cable] / 20.0)
    at = [LEGS.index(leg) for leg in legs]
    path = folder / f"bundle.s{len(legs)}p"
    with path.open("w", encoding="ascii") as file:
        file.write("# Hz S RI R 50\n")
        for frequency, point in zip(GRID, s[:, at][:, :, at], strict=True):
            file.write(f"{frequency:.17g}")
            for row in point:
                file.write(" " + " ".join(f"{v.real:.17g} {v.imag:.17g}" for v in row) + "\n")
    return path


def write_map(folder: Path, legs: list[str]) -> Path:
    path = folder / "bundle.toml"
    path.write_text(f'schema = 1\nname = "bundle"\nports = {legs!r}\n'.replace("'", '"'), encoding="utf-8")
    return path


@pytest.fixture
def record(own_home: Path, run: Run) -> Path:
    rng = np.random.default_rng(3)
    legs = [LEGS[k] for k in rng.permutation(len(LEGS))]
    done = run(
        "import", str(write_file(own_home, legs)), "--port-map", str(write_map(own_home, legs)),
        "--specimen", "bundle 3", "--length-m", "2", "--json",
    )  # fmt: skip
    assert done.code == 0, done.err
    assert done.json["legs"] == legs
    return Path(done.json["record"])


def test_a_file_of_three_cables_is_graded_and_its_record_names_them(record: Path, run: Run) -> None:
    done = run("grade", str(record), "--against", "tia-6a-channel-alien", "--json")
    rows = {(row["parameter"], row["end"], *row["pairs"]): row for row in done.json["rows"]}
    assert len(rows) == 8 + 2 + 8
    for end in "AB":
        for pair in ("12", "36", "45", "78"):
            assert rows["ps_anext", end, pair]["value"] == pytest.approx(68.565, abs=1e-3)
            assert rows["ps_anext", end, pair]["worst_margin_db"] == pytest.approx(1.565, abs=1e-3)
            assert rows["ps_aacr_f", end, pair]["value"] == pytest.approx(72.650, abs=1e-3)
        assert rows["ps_anext_average", end, "12", "36", "45", "78"]["value"] == pytest.approx(
            68.565, abs=1e-3
        )
    assert {row["outcome"] for row in rows.values()} == {"pass"}
    assert (done.code, done.json["outcome"]) == (0, "pass")
    notes = " ".join(done.json["notes"])
    assert "cable 1 91%, cable 4 9%" in notes
    assert "not enough disturbing cables: 2 measured, 6 lie around" in notes

    alien = done.json["alien"]
    assert (alien["disturbing_cables"], alien["enough"]) == ([1, 4], False)
    # Eight near and eight far sums, two cables each.
    assert len(alien["shares"]) == 32
    first, second = (
        s for s in alien["shares"] if (s["parameter"], s["end"], s["pair"]) == ("ps_anext", "A", "12")
    )
    # 10^-7.5 of 10^-7.5 + 10^-8.5; alone it would be 75 - 10 log10(4) dB.
    assert (first["cable"], second["cable"]) == (1, 4)
    assert (first["share"], first["band_share"]) == pytest.approx((1 / 1.1, 1 / 1.1))
    assert (first["value"], second["value"]) == pytest.approx((68.979, 78.979), abs=1e-3)
    assert first["strongest_pair_share"] == pytest.approx(0.25 / 1.1)
    both = run("show", str(record), "--against", "tia-6a-channel-alien", "--json").json["verdicts"][0]
    assert both["alien"] == alien
    plain = run("grade", str(record), "--against", "tia-6a-channel", "--json").json
    assert "alien" not in plain

    shown = run("show", str(record))
    assert "disturbing cables 1, 4; couplings in 2 matrices" in shown.out
    assert run("show", str(record), "--json").json["disturbing_cables"] == [1, 4]
    stored = archive.read_record(record)
    archive.check_record(record)
    assert len(stored.corrected.ports) == 16
    assert [len(matrix.ports) for matrix in stored.couplings] == [32, 32]


def test_what_is_graded_without_a_bundle_is_the_same_as_for_the_specimen_alone(
    record: Path, run: Run, own_home: Path
) -> None:
    alone = [leg for leg in LEGS if leg[0] in "AB"]
    done = run(
        "import", str(write_file(own_home, alone)), "--port-map", str(write_map(own_home, alone)),
        "--specimen", "alone", "--length-m", "2", "--json",
    )  # fmt: skip
    plain, bundle = (
        run("grade", path, "--against", "tia-6a-channel", "--json").json
        for path in (done.json["record"], str(record))
    )
    assert plain["rows"] == bundle["rows"]
    assert run("show", done.json["record"], "--json").json["disturbing_cables"] == []
    undecided = run("grade", done.json["record"], "--against", "tia-6a-channel-alien", "--json")
    assert undecided.code == 3
    assert all("takes a bundle" in row["note"] for row in undecided.json["rows"])


def test_a_pair_of_a_disturbing_cable_that_is_missing_is_named(own_home: Path, run: Run) -> None:
    legs = [leg for leg in LEGS if not leg.startswith("4.B:78")]
    done = run(
        "import", str(write_file(own_home, legs)), "--port-map", str(write_map(own_home, legs)),
        "--specimen", "gap", "--length-m", "2", "--json",
    )  # fmt: skip
    graded = run("grade", done.json["record"], "--against", "tia-6a-channel-alien", "--json")
    assert graded.code == 3
    undecided = {(r["parameter"], r["end"]) for r in graded.json["rows"] if r["outcome"] == "undecided"}
    assert undecided == {("ps_anext", "B"), ("ps_anext_average", "B"), ("ps_aacr_f", "A")}
    assert any("for example from 4.B:78 into B:12" in note for note in graded.json["notes"])


@pytest.mark.parametrize(
    ("legs", "words"),
    [
        (["1.A:12.1", "1.A:12.2", "1.B:12.1", "1.B:12.2"], "none is of the specimen"),
        (["0.A:12.1", "A:12.2", "B:12.1", "B:12.2"], "not a leg label: '0.A:12.1'"),
        (["A:12.1", "A:12.2", "2.A:12.1", "2.A:12.1"], "2.A:12.1 stands at more than one port"),
    ],
)
def test_port_maps_that_make_no_bundle_are_refused(
    legs: list[str], words: str, own_home: Path, run: Run
) -> None:
    four = write_file(own_home, LEGS[:4])
    done = run("import", str(four), "--port-map", str(write_map(own_home, legs)), "--specimen", "x")
    assert done.code == 2
    assert words in done.err
    assert "Traceback" not in done.err


def test_the_shipped_map_of_two_cables(own_home: Path, run: Run) -> None:
    legs = [leg for leg in LEGS if not leg.startswith("4.")]
    contact = {leg: int(leg[-1]) for leg in legs}
    order = sorted(legs, key=lambda leg: (leg.startswith("1."), leg.rpartition(":")[0], contact[leg]))
    done = run(
        "import", str(write_file(own_home, order)), "--port-map", "two-cables",
        "--specimen", "two", "--length-m", "2", "--json",
    )  # fmt: skip
    assert done.code == 0, done.err
    assert done.json["legs"] == order
    graded = run("grade", done.json["record"], "--against", "tia-6a-channel-alien", "--json")
    # 75 dB from each of four pairs.
    values = [r["value"] for r in graded.json["rows"] if r["parameter"] == "ps_anext"]
    assert values == pytest.approx([68.979] * 8, abs=1e-3)
    lacking = run("import", str(own_home / "bundle.s32p"), "--specimen", "two")
    assert lacking.code == 2
    assert "--port-map two-cables" in lacking.err
