"""`limits list`, `show`, `value`: every number that is shipped, what is in force and why, mistakes."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
import typer.testing
from typer.testing import CliRunner, Result

from benchsweep import limits
from benchsweep.cli._app import app
from benchsweep.errors import LimitNotDefined
from benchsweep.limits import LimitLine, Requirement

NAMES = sorted(path.stem for path in (Path(limits.__file__).parent / "tables").glob("*.toml"))
LENGTH_M = 17.0
STANDINGS = ("published", "common-practice", "from-memory")


Ask = Callable[..., Result]
read_once = cache(limits.load_requirement)
built_once = cache(typer.testing._get_command)


@pytest.fixture
def ask(monkeypatch: pytest.MonkeyPatch) -> Ask:
    """The command line, in process, for thousands of questions: built once, each table read once."""
    monkeypatch.setattr(limits, "load_requirement", read_once)
    monkeypatch.setattr(typer.testing, "_get_command", built_once)
    runner = CliRunner()
    return lambda *arguments: runner.invoke(app, [str(argument) for argument in arguments])


def places_of(line: LimitLine) -> list[float]:
    """Return every edge of a band, both sides of it where a limit is set, and the middle of every band."""
    places: set[float] = set()
    for band in line.bands:
        middle = math.sqrt(band.from_mhz * band.to_mhz)
        inside = (band.from_mhz * (1.0 + 1e-6), band.to_mhz * (1.0 - 1e-6))
        places |= {band.from_mhz, middle, band.to_mhz, *inside}
    return sorted(places)


@pytest.mark.parametrize("name", NAMES)
def test_every_limit_at_every_edge_of_every_band(ask: Ask, name: str) -> None:
    requirement: Requirement = limits.load_requirement(name)
    for line in requirement.lines:
        length = ("--length-m", LENGTH_M) if line.needs_length else ()
        asked = ("limits", "value", name, line.parameter, *length, "--json", "--frequency-mhz")
        before = (0.0, 0.0)
        for mhz in places_of(line):
            answer = ask(*asked, repr(mhz))
            assert answer.exit_code == 0, (answer.exception, line.parameter, mhz)
            document = json.loads(answer.stdout)
            value = document["value"]
            assert math.isfinite(value)
            assert document == {
                "schema": "benchsweep.limit/1",
                "requirement": name,
                "parameter": str(line.parameter),
                "frequency_hz": pytest.approx(mhz * 1e6),
                "length_m": LENGTH_M if line.needs_length else None,
                "value": value,
                "unit": "ns" if line.parameter in ("delay", "skew") else "dB",
                "sense": "max" if line.parameter in ("insertion_loss", "delay", "skew") else "min",
                "standing": document["standing"],
                "source": line.source,
            }
            assert document["standing"] in STANDINGS
            assert line.cap is None or value <= line.cap
            assert line.floor is None or value >= line.floor
            if mhz < before[0] * (1.0 + 1e-5):
                assert abs(value - before[1]) < 0.05, (line.parameter, mhz)
            before = mhz, value
        for mhz in (line.from_mhz * (1.0 - 1e-6), line.to_mhz * (1.0 + 1e-6)):
            refused = ask(*asked, repr(mhz))
            assert isinstance(refused.exception, LimitNotDefined)
            assert refused.exception.exit_code == 2
            assert f"from {line.from_mhz:g} to {line.to_mhz:g} MHz" in refused.exception.message
            assert refused.stdout == ""


@pytest.mark.parametrize("name", NAMES)
def test_every_requirement_is_shown_in_words_and_numbers(ask: Ask, name: str) -> None:
    requirement: Requirement = limits.load_requirement(name)
    answer = ask("limits", "show", name, "--length-m", LENGTH_M)
    assert answer.exit_code == 0, answer.exception
    text = " ".join(answer.stdout.split())
    assert all(len(line) <= 80 or "/" in line for line in answer.stdout.splitlines()), "only paths are longer"
    for line in requirement.lines:
        assert_line_is_told(line, text)
    for item in requirement.dc:
        assert f"{item.quantity} at most {item.maximum:g} {item.unit}, not graded" in text
    if requirement.temperature is not None:
        assert "unscreened 0.4 %/K from 20" in text
    if requirement.normalise is not None:
        assert "insertion_loss, delay, skew: x 100/L" in text
    if requirement.base is not None:
        assert f"variant of {requirement.base}" in text
    assert f"{name}.toml (shipped: no file of that name lies in the working folder" in text
    assert "values need --length-m" not in text


def assert_line_is_told(line: LimitLine, text: str) -> None:
    for band in line.bands:
        assert " ".join(f"{band.from_mhz:g} to {band.to_mhz:g} MHz: {band.limit.words()}".split()) in text
    for lower in line.bands[:-1]:
        assert f"join at {lower.to_mhz:g} MHz:" in text
    if line.cap is not None:
        assert f"not above {line.cap:g} dB" in text
    if line.floor is not None:
        assert f"not below {line.floor:g} dB" in text
    if line.exempt_where is not None:
        assert f"does not count where {line.exempt_where.words()} ({line.exempt_where.standing};" in text
    assert f"{line.parameter}, at {'least' if line.sense == 'min' else 'most'}," in text
    assert line.source in text


def test_the_document_of_a_requirement(run: Callable) -> None:
    document = run("limits", "show", "tia-6a-channel", "--json").json
    assert document["schema"] == "benchsweep.requirement/1"
    assert (document["class"], document["rank"], document["origin"]) == ("6A", 30, "shipped")
    loss, reflection = document["lines"][:2]
    assert reflection["joins"][0] == {
        "frequency_hz": 10e6,
        "below": 19.0,
        "above": pytest.approx(19.0, abs=1e-5),
    }
    assert [band["formula"] for band in reflection["bands"]] == ["19", "24 - 5 log f", "32 - 10 log f", "6"]
    assert reflection["does_not_count_where"] == "insertion loss is below 3 dB"
    assert reflection["does_not_count_standing"] == "from-memory"
    assert loss["values"][-1]["frequency_hz"] == 500e6
    assert round(loss["values"][-1]["value"], 1) == 49.3
    cord = run("limits", "show", "tia-6-cord", "--json").json
    assert cord["lines"][1]["needs_length"]
    assert cord["lines"][1]["values"] == []
    assert "values need --length-m" in run("limits", "show", "tia-6-cord").out
    assert "for 2 m:" in run("limits", "show", "tia-6-cord", "--length-m", "2").out


# ---- what is in force

OWN = """
schema = 1
name = "{name}"
title = "Works' own limit"
body = "The works"
edition = "2026"
class = "6A"
configuration = "cord"
standing = "common-practice"
[source]
document = "Works instruction"
checked = "By the laboratory"
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "common-practice"
source = "Works instruction"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
limit = {{ form = "constant", level = {level} }}
"""


def put(folder: Path, name: str, *, level: str = "33.0", claims: str | None = None) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.toml"
    path.write_text(OWN.format(name=claims or name, level=level), encoding="utf-8")
    return path


@pytest.fixture
def data(own_home: Path) -> Path:
    return own_home / "xdg_data_home" / "benchsweep" / "requirements"


def entry(document: dict, name: str) -> dict:
    (found,) = [item for item in document["requirements"] if item["requirement"] == name]
    return found


def test_the_list_tells_which_file_is_in_force_and_why(own_home: Path, data: Path, run: Callable) -> None:
    shipped = entry(run("limits", "list", "--json").json, "tia-6a-cord")
    assert (shipped["origin"], shipped["overrules"]) == ("shipped", [])
    second = put(data, "tia-6a-cord", level="32.0")
    in_data = entry(run("limits", "list", "--json").json, "tia-6a-cord")
    assert (in_data["origin"], in_data["file"], in_data["overrules"]) == (
        "data folder",
        str(second),
        [shipped["file"]],
    )
    first = put(own_home / "requirements", "tia-6a-cord")
    put(own_home / "requirements", "works")
    answer = run("limits", "list", "--json")
    assert answer.code == 0
    here = entry(answer.json, "tia-6a-cord")
    assert (here["origin"], here["file"]) == ("working folder", str(first))
    assert here["overrules"] == [str(second), shipped["file"]]
    assert here["standing"] == "common-practice"
    text = " ".join(run("limits", "list").out.split())
    assert f"tia-6a-cord: {first} is in force and overrules {second}, {shipped['file']}" in text
    assert "requirements/works.toml is in force; no other file has that name" in text
    assert "common-practice working folder Works' own limit" in text
    value = run("limits", "value", "tia-6a-cord", "return_loss", "--frequency-mhz", "50", "--json").json
    assert (value["value"], value["standing"]) == (33.0, "common-practice")
    shown = " ".join(run("limits", "show", "tia-6a-cord").out.split())
    assert "(working folder: the working folder comes before the data folder and what is shipped)" in shown
    assert f"it overrules {second}, {shipped['file']}" in shown
    assert "(path: the file that was named)" in run("limits", "show", str(second)).out.replace(
        "\n            ", " "
    )


def test_a_broken_file_is_told_and_hinders_nobody_else(own_home: Path, run: Callable) -> None:
    folder = own_home / "requirements"
    broken = put(folder, "works", level='"much"')
    hiding = put(folder, "tia-6-connector", level="nan")
    answer = run("limits", "list", "--json")
    assert answer.code == 2
    found = {item["requirement"]: item for item in answer.json["broken"]}
    assert set(found) == {"works", "tia-6-connector"}
    assert "lines[0].bands[0].limit" in found["works"]["problem"]
    assert found["tia-6-connector"]["overrules"][0].endswith("tables/tia-6-connector.toml")
    assert not [item for item in answer.json["requirements"] if item["requirement"] in found]
    assert "2 requirement files are broken" in answer.err
    assert str(broken) in answer.err
    text = run("limits", "list")
    assert text.code == 2
    assert "broken, and not in force:" in text.out
    assert str(hiding) in text.out
    assert run("limits", "value", "tia-6-channel", "next", "--frequency-mhz", "1").code == 0
    for name in ("works", "tia-6-connector"):
        refused = run("limits", "show", name)
        assert refused.code == 2
        assert f"requirements/{name}.toml" in refused.err
        assert "Traceback" not in refused.err


def test_a_variant_of_a_broken_file_says_whose_mistake_it_is(own_home: Path, run: Callable) -> None:
    put(own_home / "requirements", "tia-6-cord", level="nan")
    found = {item["requirement"]: item for item in run("limits", "list", "--json").json["broken"]}
    assert set(found) == {"tia-6-cord", "tia-6-cord-divided"}
    assert all("requirements/tia-6-cord.toml" in item["problem"] for item in found.values())


def test_a_variant_has_the_standing_that_its_base_has_here(own_home: Path, run: Callable) -> None:
    """A laboratory that verified a base says so there; what a variant adds keeps its own standing."""
    shipped = Path(limits.__file__).parent / "tables" / "tia-6a-cable.toml"
    verified = shipped.read_text(encoding="utf-8").replace('"from-memory"', '"published"')
    (own_home / "requirements").mkdir()
    (own_home / "requirements" / "tia-6a-cable.toml").write_text(verified, encoding="utf-8")
    document = run("limits", "list", "--json").json
    assert document["broken"] == []
    assert entry(document, "tia-6a-cable-without-alien")["standing"] == "published"
    assert entry(document, "tia-6a-stranded-cable")["standing"] == "from-memory"
    assert entry(document, "tia-6a-cable-without-alien")["origin"] == "shipped"
    text = " ".join(run("limits", "list").out.split())
    assert "tia-6a-stranded-cable: a variant of tia-6a-cable, so it follows the file above" in text
    assert "tia-6-stranded-cable: a variant" not in text


def test_two_files_of_one_name_are_refused_with_both_named(own_home: Path, run: Callable) -> None:
    folder = own_home / "requirements"
    put(folder, "works")
    put(folder, "other", claims="works")
    answer = run("limits", "show", "works")
    assert answer.code == 2
    assert "works.toml" in answer.err
    assert "other.toml" in answer.err
    assert run("limits", "list").code == 2
    assert run("limits", "value", "tia-6-channel", "next", "--frequency-mhz", "1").code == 0


# ---- mistakes


@pytest.mark.parametrize(
    ("arguments", "words", "hint"),
    [
        ("tia-6-channel gloss --frequency-mhz 1", "no parameter named 'gloss'; there are: ", "one of these"),
        (
            "tia-6-channel tcl --frequency-mhz 1",
            "tia-6-channel sets no limit for tcl",
            "It limits: insertion",
        ),
        ("tia-6-channel next --frequency-mhz 250.1", "from 1 to 250 MHz, not at 250.1 MHz", "in that range"),
        ("tia-6-channel next --frequency-mhz 0.9", "not at 0.9 MHz", "in that range"),
        ("tia-6-channel next --frequency-mhz nan", "a frequency of nan MHz makes no sense", "positive"),
        ("tia-6-channel next --frequency-mhz -1", "a frequency of -1 MHz makes no sense", "positive"),
        ("tia-6-cord next --frequency-mhz 1", "the limit of next depends on the length", "--length-m"),
        ("tia-6-cord next --frequency-mhz 1 --length-m 0", "a length of 0 m makes no sense", "positive"),
        (
            "iso-e-permanent-link-by-length insertion_loss --frequency-mhz 1",
            "the limit of insertion_loss depends on the length",
            "--length-m",
        ),
        ("tia-7-channel next --frequency-mhz 1", "no requirement named 'tia-7-channel'", "tia-6-channel"),
        ("no/such.toml next --frequency-mhz 1", "no/such.toml: no such file", "Check the path"),
    ],
)
def test_what_makes_no_sense_is_refused(arguments: str, words: str, hint: str, run: Callable) -> None:
    answer = run("limits", "value", *arguments.split())
    assert answer.code == 2
    assert words in answer.err
    assert hint in answer.err
    assert "Traceback" not in answer.err
    assert answer.out == ""


def test_case_and_hyphens_of_a_parameter_do_not_matter(run: Callable) -> None:
    answer = run("limits", "value", "tia-6-channel", "Return-Loss", "--frequency-mhz", "100", "--json")
    assert answer.json["parameter"] == "return_loss"
    text = run("limits", "value", "tia-6-channel", "next", "--frequency-mhz", "100").out
    assert text.startswith("at least 39.93 dB (published: ANSI/TIA/EIA-568-B.2-1")
    spaced = run("limits", "value", "tia-6-channel", "return loss", "--frequency-mhz", "100", "--json")
    assert spaced.json == answer.json


def test_a_gap_between_bands_is_told(own_home: Path, run: Callable) -> None:
    path = put(own_home / "requirements", "works")
    whole = run("limits", "show", "works").out
    assert "33.0 at every frequency" in whole
    assert "no limit between" not in whole
    upper = '[[lines.bands]]\nfrom_mhz = 110.0\nto_mhz = 260.0\nlimit = { form = "constant", level = 33.0 }\n'
    path.write_text(path.read_text(encoding="utf-8") + upper, encoding="utf-8")
    text = run("limits", "show", "works").out
    below, above = text.index("1 to 100 MHz: 33"), text.index("110 to 260 MHz: 33")
    assert below < text.index("no limit between 100 and 110 MHz") < above
    assert "at every frequency" not in text
    assert "33.0 in every band" in text


def test_a_value_says_for_which_length_of_sample_it_holds(run: Callable) -> None:
    """A cable is measured on any length and brought to 100 m; near-end crosstalk only from shorter ones."""

    def text(requirement: str, parameter: str) -> str:
        at = ("--frequency-mhz", "100", "--length-m", "50")
        return " ".join(run("limits", "value", requirement, parameter, *at).out.split())

    assert text("tia-6a-cable", "insertion_loss").endswith(
        "), for 100 m; a sample of another length is brought to it"
    )
    assert text("tia-6a-cable", "next").endswith("), for 100 m; a shorter sample is brought to it")
    assert "100 m" not in text("tia-6a-cable", "return_loss")
    assert "brought" not in text("tia-6a-cord", "next")
    document = run(
        "limits", "value", "tia-6a-cable", "next", "--frequency-mhz", "100", "--length-m", "50", "--json"
    ).json
    assert document["length_m"] is None
    assert set(document) == {
        "schema", "requirement", "parameter", "frequency_hz", "length_m", "value", "unit", "sense",
        "standing", "source",
    }  # fmt: skip
