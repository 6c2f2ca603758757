"""What a verdict says besides its rows: doubts, and from where comes what fails."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.limits import load_requirement
from benchsweep.qualification import (
    Evaluation,
    evaluate,
    failing_origins,
    grade_evaluation,
    place_document,
    verdict_document,
)
from benchsweep.records import Measurement, Outcome, SMatrix, Specimen, balanced_ports
from benchsweep.simulator.specimen import load_specimen

GRID = np.arange(1, 501, 2) * 1e6 + 1e6  # 2, 4, 6 … MHz


def measured(name: str, length_m: float) -> Evaluation:
    legs = tuple(str(leg) for end in "AB" for number in range(1, 9) for port in balanced_ports()
                 if port.end == end for leg in port.legs if leg.contact == number)  # fmt: skip
    s = load_specimen(name, seed=1).scatter(GRID)
    corrected = SMatrix(GRID, s, legs, (50.0,) * 16)
    return evaluate(
        Measurement(Specimen("x", length_m), "2026-11-27T10:00:00+00:00", "bench", "s", "", corrected)
    )


@pytest.fixture(scope="module")
def untwisted() -> Evaluation:
    return measured("cord-2m-untwisted-b", 2.0)


def test_what_fails_comes_from_the_plug_that_is_bad(untwisted: Evaluation) -> None:
    verdict, _ = grade_evaluation(untwisted, load_requirement("tia-6a-cord"))
    assert verdict.outcome is Outcome.FAIL
    assert verdict.doubts == ()
    origins = failing_origins(untwisted, [verdict])
    assert {(origin.parameter, *origin.pairs) for origin in origins} == {("next", "36", "45")}
    assert {origin.at_end for origin in origins} == {"B"}
    places = place_document(untwisted, verdict)
    assert [(fault["kind"], fault["end"]) for fault in places["faults"]] == [("untwist", "B")]
    assert places["origins"][0]["at_end"] == "B"


def test_a_length_that_does_not_fit_is_a_doubt(untwisted: Evaluation) -> None:
    wrong = evaluate(untwisted.measurement, length_m=20.0)
    verdict, _ = grade_evaluation(wrong, load_requirement("tia-6a-cord"))
    assert any("does not fit" in doubt for doubt in verdict.doubts)
    assert set(verdict.doubts) <= set(verdict.notes)
    assert verdict_document(verdict)["doubts"] == list(verdict.doubts)


def test_where_the_wiring_is_wrong_nothing_else_is_blamed() -> None:
    split = measured("cord-2m-split", 2.0)
    verdict, _ = grade_evaluation(split, load_requirement("tia-6a-cord"))
    assert verdict.outcome is Outcome.FAIL
    assert failing_origins(split, [verdict]) == ()
    assert [fault["kind"] for fault in place_document(split, verdict)["faults"]] == ["split"]
