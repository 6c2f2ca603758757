"""Uncertainty along a whole trace: at the worst point it is what the verdict says, everywhere the model's."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from benchsweep.limits import Conditions
from benchsweep.qualification import (
    Evaluation,
    budget_rows,
    evaluate,
    grade_evaluation,
    load_requirements,
    uncertainty_bands,
)
from benchsweep.qualification._bands import _AT_ONCE
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.records import Measurement, Outcome, SMatrix, Specimen, SweepSettings, Verdict, balanced_ports
from benchsweep.simulator.specimen import load_specimen

LEGS = tuple(leg for port in balanced_ports() for leg in port.legs)


def evaluated(name: str, length_m: float, points: int = 60, budget: str = "simulated") -> Evaluation:
    """A simulated specimen as if it had been measured without any error, but with a budget."""
    grid = np.linspace(1e6, 500e6, points)
    specimen = load_specimen(name, seed=3)
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in LEGS]
    s = specimen.scatter(grid)[:, order][:, :, order]
    return evaluate(
        Measurement(
            specimen=Specimen(name, length_m),
            created_at="2026-01-01T00:00:00+00:00",
            origin="touchstone",
            station="",
            operator="",
            corrected=SMatrix(grid, s, tuple(map(str, LEGS)), (50.0,) * 16),
            settings=SweepSettings(1e6, 500e6, points, 1e3, 1, -5.0),
            budget_toml=budget_text(budget) if budget else "",
        )
    )


def compare(evaluation: Evaluation, verdict: Verdict, bands) -> int:
    """Compare the bands with the rows; return in how many rows."""
    rows = {(row.parameter, row.end, row.pairs): row for row in verdict.rows}
    grid = evaluation.measurement.corrected.frequency_hz
    for key, (low, high) in bands.items():
        row = rows[key]
        at = int(np.flatnonzero(grid == row.frequency_hz)[0])
        assert low.shape == high.shape == grid.shape
        np.testing.assert_allclose(
            [low[at], high[at]], [row.uncertainty_low, row.uncertainty_high], rtol=1e-9
        )
    return len(bands)


@pytest.mark.parametrize("rule", ["simple", "four-way"])
@pytest.mark.parametrize("specimen", ["cord-2m", "cord-2m-untwisted-b"])
def test_at_the_worst_margin_a_band_is_the_uncertainty_of_the_row(specimen: str, rule: str) -> None:
    evaluation = evaluated(specimen, 2.0)
    (requirement,) = load_requirements(["tia-6a-channel"])
    verdict, _ = grade_evaluation(evaluation, requirement, decision_rule=rule)
    bands = uncertainty_bands(evaluation, requirement, verdict)
    assert compare(evaluation, verdict, bands) >= 10
    # One for each parameter and end: the row with the smallest margin of those with the worst outcome.
    for parameter, end, pairs in bands:
        of_group = [row for row in verdict.rows if (row.parameter, row.end) == (parameter, end)]
        failing = [row for row in of_group if row.outcome is Outcome.FAIL] or of_group
        if all(row.outcome in (Outcome.PASS, Outcome.FAIL) for row in of_group):
            assert min(failing, key=lambda row: row.worst_margin_db).pairs == pairs
    counted = [row for row in verdict.rows if row.worst_margin_db is not None]
    assert {key[:2] for key in bands} == {(row.parameter, row.end) for row in counted}


def _key(row):
    return row.parameter, row.end, row.pairs


def test_everywhere_a_band_is_what_the_model_says_of_that_point_alone() -> None:
    evaluation = evaluated("cord-2m", 2.0, points=_AT_ONCE + 7)
    (requirement,) = load_requirements(["tia-6a-cord"])
    verdict, _ = grade_evaluation(evaluation, requirement)
    traces = {_key(trace): trace for trace in evaluation.traces}
    for key, (low, high) in uncertainty_bands(evaluation, requirement, verdict).items():
        for at in (0, 3, _AT_ONCE - 1, _AT_ONCE, _AT_ONCE + 6):
            (alone,) = evaluation.model.intervals([(traces[key], np.array([at]))])
            np.testing.assert_allclose([low[at], high[at]], [alone.low[0], alone.high[0]], rtol=1e-9)
    # The budget of the worst point tells the same once more, from its terms.
    for row in budget_rows(evaluation, verdict):
        low, _ = uncertainty_bands(evaluation, requirement, verdict)[_key(row)]
        assert low[traces[_key(row)].frequency_hz == row.frequency_hz] == pytest.approx(row.uncertainty_low)


def test_of_a_cable_brought_to_another_length_and_temperature_so_is_the_band() -> None:
    evaluation = evaluated("cord-2m", 2.0)
    (requirement,) = load_requirements(["tia-6-cable"])
    conditions = Conditions(temperature_degc=35.0, construction="unscreened")
    verdict, _ = grade_evaluation(evaluation, requirement, conditions=conditions)
    bands = uncertainty_bands(evaluation, requirement, verdict, conditions=conditions)
    compare(evaluation, verdict, bands)
    (loss,) = [key for key in bands if str(key[0]) == "insertion_loss" and key[1] in ("A", None)]
    trace = next(trace for trace in evaluation.traces if _key(trace) == loss)
    (plain,) = evaluation.model.intervals([(trace, np.arange(60))])
    gain = bands[loss][0] / plain.low
    # The insertion loss of 100 m is 50 times that of 2 m, less what it is more at 35 degC than at 20.
    assert np.ptp(gain) < 1e-9 * gain[0]
    assert 40.0 < gain[0] < 50.0


def test_without_a_budget_there_is_no_band() -> None:
    evaluation = evaluated("cord-2m", 2.0, budget="")
    (requirement,) = load_requirements(["tia-6a-cord"])
    verdict, _ = grade_evaluation(evaluation, requirement)
    assert uncertainty_bands(evaluation, requirement, verdict) == {}
    nothing = dataclasses.replace(verdict, rows=())
    assert uncertainty_bands(evaluated("cord-2m", 2.0), requirement, nothing) == {}
