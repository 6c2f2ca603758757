"""What is corrected is read in place of what the record says; what was measured never changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification import check_specimen, evaluate, grade_evaluation
from benchsweep.qualification._corrections import apply_corrections
from benchsweep.records import (
    Comment,
    Correction,
    Measurement,
    Note,
    Outcome,
    SMatrix,
    Specimen,
    Verdict,
    balanced_ports,
)

GRID = np.unique(np.concatenate([np.linspace(1e6, 250e6, 40), [100e6]]))


def measured(**changes: object) -> Measurement:
    """Eight lines of 100 m, each with the loss of category 6 cable at 20 degC less 2 %, no coupling."""
    f_mhz = GRID / 1e6
    loss_db = 0.98 * (1.808 * f_mhz**0.5 + 0.017 * f_mhz + 0.2 / f_mhz**0.5)
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    s = np.zeros((GRID.size, 16, 16), complex)
    through = 10 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * GRID * 530e-9)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = through
    content = {
        "specimen": Specimen("reel 7", 100.0, "grey", "26-117"),
        "created_at": "2026-01-01T00:00:00+00:00",
        "origin": "touchstone",
        "station": "bench 2",
        "operator": "M. Lindqvist",
        "corrected": SMatrix(GRID, s, legs, (50.0,) * 16),
        "ambient": {"temperature_degc": 20.0, "humidity_percent": 40.0},
    }
    return Measurement(**(content | changes))


def correction(
    changes: Mapping[str, str | float | None] | None = None,
    *,
    withdrawn: bool | None = None,
    at: str = "2026-02-03T04:05:06+00:00",
    by: str = "R. Example",
) -> Correction:
    return Correction("ab" * 32, by, at, "wrong label", changes or {}, withdrawn)


def graded(measurement: Measurement, *notes: Note, length_m: float | None = None) -> Verdict:
    evaluation = evaluate(measurement, length_m=length_m, notes=notes)
    return grade_evaluation(evaluation, load_requirement("tia-6-cable"))[0]


@pytest.fixture(scope="module")
def recorded() -> Measurement:
    return measured()


def test_what_was_measured_stays_the_same_objects(recorded: Measurement) -> None:
    everything = correction(
        {
            "identifier": "reel 8",
            "lot": "26-118",
            "description": "blue",
            "length_m": 99.0,
            "operator": "A. Other",
            "ambient.temperature_degc": 23.0,
            "ambient.humidity_percent": None,
            "ambient.pressure_hpa": 1013.0,
        }
    )
    corrected, _ = apply_corrections(recorded, [everything])
    assert corrected.specimen == Specimen("reel 8", 99.0, "blue", "26-118")
    assert corrected.operator == "A. Other"
    assert dict(corrected.ambient) == {"temperature_degc": 23.0, "pressure_hpa": 1013.0}
    for part in fields(Measurement):
        if part.name not in ("specimen", "operator", "ambient"):
            assert getattr(corrected, part.name) is getattr(recorded, part.name), part.name
    assert dict(recorded.ambient) == {"temperature_degc": 20.0, "humidity_percent": 40.0}


def test_without_corrections_nothing_is_touched_or_told(recorded: Measurement) -> None:
    comment = Comment("ab" * 32, "x", "2026-02-03T04:05:06+00:00", "looks good")
    same, noted = apply_corrections(recorded, [comment])
    assert same is recorded
    assert (noted.words, noted.withdrawn) == ((), "")
    assert graded(recorded, comment) == graded(recorded)


@pytest.mark.parametrize(
    ("changes", "right"),
    [
        ({"ambient.temperature_degc": 35.0}, {"ambient": {"temperature_degc": 35.0}}),
        ({"ambient.temperature_degc": None}, {"ambient": {}}),
        ({"length_m": 90.0}, {"specimen": Specimen("reel 7", 90.0)}),
        ({"identifier": "reel 9"}, {"specimen": Specimen("reel 9", 100.0)}),
    ],
)
def test_a_corrected_record_is_graded_like_one_that_was_right_at_once(
    recorded: Measurement, changes: Mapping[str, str | float | None], right: Mapping[str, object]
) -> None:
    told = graded(recorded, correction(changes))
    assert told.notes[0].startswith("corrected by R. Example on 2026-02-03 (wrong label): ")
    assert replace(told, notes=told.notes[1:]) == graded(measured(**right))


def test_the_length_decides_and_is_told(recorded: Measurement) -> None:
    """The limit is for 100 m: the same loss over 90 m is 9 % above it (0.98 / 0.9), over 110 m well below."""
    assert graded(recorded).outcome is Outcome.PASS
    shorter = graded(recorded, correction({"length_m": 90.0}))
    assert (shorter.outcome, shorter.length_m) == (Outcome.FAIL, 90.0)
    assert "length 90 m instead of 100 m" in shorter.notes[0]
    unknown = graded(recorded, correction({"length_m": None}), length_m=110.0)
    assert (unknown.outcome, unknown.length_m) == (Outcome.PASS, 110.0), "what is told on grading wins"
    assert "length not known instead of 100 m" in unknown.notes[0]


def test_later_corrections_win_value_by_value_and_each_is_told_once(recorded: Measurement) -> None:
    first = correction({"lot": "1", "operator": "A", "length_m": 90.0}, by="first")
    second = correction({"lot": "2", "length_m": 100.0}, at="2026-02-04T00:00:00+00:00", by="second")
    third = correction({"lot": "3"}, at="2026-02-05T00:00:00+00:00", by="third")
    corrected, noted = apply_corrections(recorded, [first, second, third])
    assert (corrected.specimen.lot, corrected.specimen.length_m) == ("3", 100.0)
    assert corrected.operator == "A"
    assert noted.words == (
        "corrected by first on 2026-02-03 (wrong label): operator 'A' instead of 'M. Lindqvist'",
        "corrected by second on 2026-02-04 (wrong label): length 100 m, as recorded",
        "corrected by third on 2026-02-05 (wrong label): lot '3' instead of '26-117'",
    )


def test_a_withdrawn_record_is_undecided_until_it_is_used_again(recorded: Measurement) -> None:
    withdrawn = correction(withdrawn=True)
    later = correction({"lot": "2"}, at="2026-02-04T00:00:00+00:00")
    back = correction(withdrawn=False, at="2026-02-05T00:00:00+00:00")
    verdict = graded(recorded, withdrawn, later)
    assert verdict.outcome is Outcome.UNDECIDED
    words = "the record was withdrawn by R. Example on 2026-02-03: wrong label; do not use it"
    assert verdict.doubts[0] == verdict.notes[0] == words
    assert verdict.rows == graded(recorded).rows, "the rows stay for whoever wants to know"
    again = graded(recorded, withdrawn, later, back)
    assert (again.outcome, again.doubts) == (Outcome.PASS, graded(recorded).doubts)


def test_what_is_said_of_a_specimen_is_checked() -> None:
    assert check_specimen("cord 7", 2.0, lot="26-117") == Specimen("cord 7", 2.0, "", "26-117")
    with pytest.raises(UsageError, match=r"the lot .* holds control characters"):
        check_specimen("cord 7", 2.0, lot="a\nb")
    with pytest.raises(UsageError, match="makes no sense"):
        check_specimen("cord 7", float("nan"))
