from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from benchsweep.limits import limit_value, load_requirement
from benchsweep.qualification import (
    check_specimen,
    evaluate,
    exit_code_of,
    grade_evaluation,
    limit_document,
    record_document,
    requirement_document,
    requirements_document,
    verdict_document,
)
from benchsweep.records import (
    FOUR_PAIRS,
    Measurement,
    Outcome,
    Parameter,
    SafetyConfirmation,
    SMatrix,
    Specimen,
    Verdict,
    balanced_ports,
)

ROW_KEYS = {"parameter", "end", "pairs", "worst_margin_db", "frequency_hz", "value", "limit"}
GRID = np.arange(1, 501) * 1e6


def ideal_cord(delay_ns: float = 10.0) -> Measurement:
    """Eight matched lines without loss or coupling: every crosstalk loss is infinite."""
    legs = [str(leg) for port in balanced_ports() for leg in port.legs]
    s = np.zeros((GRID.size, 16, 16), complex)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = np.exp(-2j * np.pi * GRID * delay_ns * 1e-9)
    matrix = SMatrix(GRID, s, tuple(legs), (50.0,) * 16)
    return Measurement(
        specimen=Specimen("ideal", 2.0),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=matrix,
    )


def verdict() -> Verdict:
    return grade_evaluation(evaluate(ideal_cord()), load_requirement("tia-6a-cord"))[0]


def test_a_verdict_document_has_every_promised_field_and_is_json() -> None:
    document = verdict_document(verdict())
    text = json.dumps(document, allow_nan=False)
    assert json.loads(text) == document
    assert document["schema"] == "benchsweep.verdict/1"
    assert {"record", "specimen", "requirement", "decision_rule", "outcome", "rows"} <= set(document)
    assert all(ROW_KEYS | {"expanded_uncertainty", "outcome"} <= set(row) for row in document["rows"])


def test_documents_tell_who_read_the_cautions_and_what_happened() -> None:
    safety = SafetyConfirmation("R. Example", "2026-01-01T00:00:00+00:00", ("Read.", "Done."))
    measurement = replace(ideal_cord(), safety=safety, incidents=("hookup 2: lost",))
    for document in (verdict_document(verdict(), measurement), record_document(measurement, record="a.h5")):
        assert document["safety"] == {
            "by": "R. Example",
            "at": "2026-01-01T00:00:00+00:00",
            "cautions": ["Read.", "Done."],
        }
        assert document["incidents"] == ["hookup 2: lost"]
    plain = verdict_document(verdict(), ideal_cord())
    assert (plain["safety"], plain["incidents"]) == (None, [])


@pytest.mark.parametrize(
    ("worst_db", "outcome"), [(-30.0, Outcome.PASS), (-27.9, Outcome.UNDECIDED), (np.nan, Outcome.UNDECIDED)]
)
def test_a_disagreement_is_judged_also_where_the_figure_is_none(worst_db: float, outcome: Outcome) -> None:
    measurement = replace(ideal_cord(), consistency_db={"A:12.1": -60.0, "A:12.2": worst_db, "B:36.3": -50.0})
    graded = grade_evaluation(evaluate(measurement), load_requirement("tia-6a-cord"))[0]
    assert graded.outcome is outcome
    assert ("leg A:12.2" in " ".join(graded.notes)) == (outcome is Outcome.UNDECIDED)


def test_an_ideal_cord_passes_with_eight_return_losses_and_twelve_crosstalks() -> None:
    document = verdict_document(verdict())
    assert document["outcome"] == "pass"
    counted = [(row["parameter"], row["end"], tuple(row["pairs"])) for row in document["rows"]]
    assert len(set(counted)) == len(counted) == 20
    assert {pairs for name, _, pairs in counted if name == "return_loss"} == {(pair,) for pair in FOUR_PAIRS}


@pytest.mark.parametrize(
    ("outcomes", "code"),
    [
        ([Outcome.PASS, Outcome.CONDITIONAL_PASS], 0),
        ([Outcome.PASS, Outcome.UNDECIDED], 3),
        ([Outcome.UNDECIDED, Outcome.FAIL], 1),
        ([Outcome.CONDITIONAL_FAIL], 1),
    ],
)
def test_the_exit_code_is_that_of_the_worst_verdict(outcomes: list[Outcome], code: int) -> None:
    assert exit_code_of([replace(verdict(), outcome=outcome) for outcome in outcomes]) == code


def test_a_length_given_later_overrides_the_noted_one() -> None:
    measurement = ideal_cord()
    assert evaluate(measurement, length_m=7.5).measurement.specimen.length_m == 7.5
    assert measurement.specimen.length_m == 2.0


def test_limit_documents_carry_their_standing_and_source() -> None:
    limit = limit_value(load_requirement("tia-6-channel"), Parameter.NEXT, 100e6, length_m=None)
    document = limit_document("tia-6-channel", "next", limit)
    promised = "schema requirement parameter frequency_hz length_m value unit sense standing source"
    assert set(document) == set(promised.split())
    # ANSI/TIA/EIA-568-B.2-1, category 6 channel table, as reprinted publicly: 39.9 dB at 100 MHz
    assert round(document["value"], 1) == 39.9


def test_every_requirement_can_be_shown_with_and_without_length() -> None:
    names = [item["requirement"] for item in requirements_document()["requirements"]]
    assert {f"tia-{c}-{k}" for c in ("5e", "6", "6a") for k in ("cord", "channel", "permanent-link")} <= set(
        names
    )
    for name in names:
        for length in (None, 2.0):
            for line in requirement_document(name, length_m=length)["lines"]:
                assert line["source"]
                # Cord NEXT, and cable parts that count by the length, have no value without one.
                needs = "L/100" in line["bands"][0]["formula"]
                assert bool(line["values"]) is not (needs and length is None)
    assert not requirement_document("tia-6-cord", length_m=None)["lines"][1]["values"]


@pytest.mark.parametrize("name", ["", "   "])
def test_a_specimen_needs_a_name(name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        check_specimen(name, 1.0)
