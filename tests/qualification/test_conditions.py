"""What reaches grading from records and commands: temperature, patterns, lengths, the highest category."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import pytest

from benchsweep.errors import DefinitionError, UnknownName, UsageError
from benchsweep.limits import Conditions, load_requirement
from benchsweep.qualification import (
    Graded,
    check_length,
    choose_requirements,
    evaluate,
    grade_evaluation,
    highest_document,
    ranked_requirements,
    requirement_document,
    requirements_document,
)
from benchsweep.records import Measurement, Outcome, Parameter, SMatrix, Specimen

GRID = np.linspace(1e6, 250e6, 40)
OWN = """
schema = 1
name = "works"
title = "t"
body = "b"
edition = "e"
class = "c"
configuration = "cable"
standing = "published"
[source]
document = "d"
checked = "c"
[temperature]
reference_degc = 20.0
tolerance_k = 3.0
standing = "published"
source = "s"
slopes = [{ construction = "unscreened", from_degc = 20.0, to_degc = 40.0, per_k = 0.004 }]
[length]
maximum_m = 90.0
standing = "common-practice"
source = "practice"
[[lines]]
parameter = "insertion_loss"
sense = "max"
standing = "published"
source = "s"
bands = [{ from_mhz = 1.0, to_mhz = 250.0, limit = { form = "constant", level = 10.0 } }]
"""


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "requirements").mkdir()
    return tmp_path / "requirements"


def attenuating(loss_db=8.0, length_m=None, delay_s=10e-9, ambient=None, grid=GRID) -> Measurement:
    """Eight wires each through to the other end, all alike, with one loss at every frequency."""
    pairs = ("12.1", "12.2", "36.3", "36.6", "45.4", "45.5", "78.7", "78.8")
    legs = tuple(f"{end}:{leg}" for end in "AB" for leg in pairs)
    s = np.zeros((grid.size, 16, 16), complex)
    through = 10.0 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * grid * delay_s)
    for wire in range(8):
        s[:, wire + 8, wire] = s[:, wire, wire + 8] = through
    return Measurement(
        specimen=Specimen("x", length_m),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(grid, s, legs, np.full(16, 50.0)),
        ambient=MappingProxyType(ambient or {}),
    )


def own(folder, text=OWN, name="works"):
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return load_requirement(name)


def loss_of(verdict):
    return next(row.value for row in verdict.rows if row.parameter is Parameter.INSERTION_LOSS)


# ---- temperature


def test_the_temperature_of_the_record_is_taken_unless_one_is_told(folder):
    requirement = own(folder)
    warm = evaluate(attenuating(ambient={"temperature_degc": 40.0, "humidity_pct": 40.0}))
    assert loss_of(grade_evaluation(warm, requirement)[0]) == pytest.approx(8.0 / 1.08)
    told = Conditions(30.0, "unscreened")
    assert loss_of(grade_evaluation(warm, requirement, conditions=told)[0]) == pytest.approx(8.0 / 1.04)
    # Telling the construction alone does not drop the temperature of the record.
    screened = Conditions(None, "screened")
    assert loss_of(grade_evaluation(warm, requirement, conditions=screened)[0]) == pytest.approx(8.0)
    unknown = grade_evaluation(evaluate(attenuating()), requirement)[0]
    assert loss_of(unknown) == pytest.approx(8.0)
    assert any("temperature was not told" in note for note in unknown.notes)


def test_a_temperature_of_a_record_that_makes_no_sense_is_named(folder):
    nonsense = evaluate(attenuating(ambient={"temperature_degc": 5000.0}))
    with pytest.raises(UsageError, match="5000"):
        grade_evaluation(nonsense, own(folder))
    # It does no harm where nothing goes by it, and a told one goes before it.
    assert grade_evaluation(nonsense, load_requirement("tia-5e-channel"))[0].rows
    assert grade_evaluation(nonsense, own(folder), conditions=Conditions(20.0))[0].outcome is Outcome.PASS


# ---- length


@pytest.mark.parametrize(
    ("length_m", "delay_s", "long"),
    [
        (2.0, 10e-9, False),
        (None, 10e-9, False),
        (95.0, 475e-9, True),  # as told
        (None, 475e-9, True),  # 475 ns at 0.67 of the velocity of light: 95.4 m
        (None, 440e-9, False),  # 88.4 m
    ],
)
def test_a_specimen_longer_than_usual_is_noted_and_nothing_else(folder, length_m, delay_s, long):
    """The usual length is common practice, no source."""
    fine = np.linspace(1e6, 250e6, 500)  # 0.5 MHz: the delay of 100 m can be told
    measurement = attenuating(length_m=length_m, delay_s=delay_s, grid=fine)
    verdict, _ = grade_evaluation(evaluate(measurement), own(folder))
    assert any("exceeds the usual 90 m" in note for note in verdict.notes) is long
    assert verdict.outcome is Outcome.PASS


def test_a_pattern_chooses_and_what_it_chose_may_lack_the_length():
    chosen = choose_requirements(["tia-6-cord", "tia-*-cord"])
    names = [item.name for item in chosen.requirements]
    assert names[0] == "tia-6-cord"
    assert sorted(names) == ["tia-5e-cord", "tia-6-cord", "tia-6a-cord"]
    assert chosen.by_pattern == {"tia-5e-cord", "tia-6a-cord"}
    with pytest.raises(UsageError, match="tia-6-cord"):
        check_length(chosen.requirements, None, by_pattern=chosen.by_pattern)
    check_length(chosen.requirements[1:], None, by_pattern=chosen.by_pattern)
    check_length(chosen.requirements, 2.0)
    evaluation = evaluate(attenuating())
    verdict, curves = grade_evaluation(evaluation, chosen.requirements[1], missing_length="undecided")
    assert verdict.outcome is not Outcome.PASS
    assert any("depends on the length" in row.note for row in verdict.rows)
    assert Parameter.NEXT not in curves
    assert Parameter.RETURN_LOSS in curves
    with pytest.raises(UsageError):
        grade_evaluation(evaluation, chosen.requirements[1])


def test_patterns_that_fit_nothing_and_names_and_files(folder):
    with pytest.raises(
        UnknownName, match=r"no requirement fits 'xyz-\*', of the \d+ that there are$"
    ) as caught:
        choose_requirements(["xyz-*"])
    assert "tia-" not in caught.value.message + caught.value.hint
    own(folder)
    chosen = choose_requirements(["works", "requirements/works.toml", "works"])
    assert [item.name for item in chosen.requirements] == ["works", "works"]
    assert chosen.by_pattern == frozenset()


def test_a_broken_table_matters_only_to_patterns_that_fit_it(folder):
    (folder / "tia-broken.toml").write_text("[[", encoding="utf-8")
    assert choose_requirements(["iso-*-channel"]).requirements
    with pytest.raises(DefinitionError, match="tia-broken"):
        choose_requirements(["tia-*"])


# ---- documents


def test_the_list_says_what_is_in_force_and_why(folder):
    own(folder, OWN.replace('"works"', '"tia-6-cord"'), "tia-6-cord")
    (folder / "broken.toml").write_text("[[", encoding="utf-8")
    document = requirements_document()
    found = {item["requirement"]: item for item in document["requirements"]}
    mine = found["tia-6-cord"]
    assert (mine["origin"], mine["file"]) == ("working folder", str(folder / "tia-6-cord.toml"))
    assert [path.endswith("tables/tia-6-cord.toml") for path in mine["overrules"]] == [True]
    assert (found["tia-5e-cord"]["origin"], found["tia-5e-cord"]["overrules"]) == ("shipped", [])
    (broken,) = document["broken"]
    assert (broken["requirement"], broken["origin"]) == ("broken", "working folder")
    assert "not valid TOML" in broken["problem"]


def test_a_requirement_is_shown_with_its_rules(folder):
    own(folder)
    document = requirement_document("works", length_m=None)
    assert document["temperature"]["slopes"][0]["per_k"] == 0.004
    assert document["length"]["maximum_m"] == 90.0
    assert (document["normalise"], document["dc"], document["base"]) == (None, [], None)
    (line,) = document["lines"]
    assert line["bands"] == [
        {"from_mhz": 1.0, "to_mhz": 250.0, "formula": "10", "standing": "published", "step": None}
    ]
    assert {1e6, 250e6} <= {value["frequency_hz"] for value in line["values"]}


def test_the_highest_category_as_a_document(folder):
    ranked = ranked_requirements()
    (folder / "broken.toml").write_text("[[", encoding="utf-8")
    with_broken = ranked_requirements()
    assert with_broken.requirements == ranked.requirements
    assert (ranked.broken, with_broken.broken) == ((), (str(folder / "broken.toml"),))
    assert all(item.rank is not None for item in ranked.requirements)
    few = [load_requirement(name) for name in ("tia-5e-channel", "tia-6-channel")]
    evaluation = evaluate(attenuating(loss_db=0.5))
    graded = [Graded(*grade_evaluation(evaluation, item, record="r")) for item in few]
    document = highest_document(few, graded)
    assert (document["schema"], document["record"], document["specimen"]) == (
        "benchsweep.highest/1",
        "r",
        "x",
    )
    (found,) = document["highest"]
    assert (found["body"], found["configuration"]) == ("TIA", "channel")
    assert [item["requirement"] for item in found["ranked"]] == ["tia-6-channel", "tia-5e-channel"]
    # No crosstalk, no reflection, little loss and delay: everything that can be graded passes.
    assert (found["requirement"], found["outcome"]) == ("tia-6-channel", "pass")
