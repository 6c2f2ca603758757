"""What holds for every plan."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.records import Severity
from benchsweep.statistics.sampling import (
    LEVELS,
    VARIABLES_LEVELS,
    acceptance_probability,
    aqls,
    attributes_plan,
    counts_nonconformities,
    operating_curve,
    variables_aqls,
    variables_plan,
    zero_acceptance_plan,
)

LOTS = st.one_of(st.integers(2, 200), st.integers(2, 1_000_000))
NAMED = st.sampled_from(LEVELS)
AQLS = st.sampled_from(aqls())
SEVERITIES = st.sampled_from(list(Severity))


@settings(max_examples=60, deadline=None)
@given(LOTS, NAMED, AQLS, SEVERITIES)
def test_attributes(lot_size: int, level: str, aql: float, severity: Severity) -> None:
    plan = attributes_plan(lot_size, level=level, aql_percent=aql, severity=severity)
    assert 0 <= plan.accept < plan.reject
    if severity is not Severity.REDUCED:
        assert plan.reject == plan.accept + 1
    assert plan.sample_size == min(plan.table_sample_size, lot_size)
    assert plan.whole_lot == (plan.table_sample_size >= lot_size)
    if not counts_nonconformities(plan):
        assert plan.accept <= plan.sample_size
    curve = operating_curve(plan)
    assert curve.accepted[0] == 1.0
    assert np.all(np.diff(curve.accepted) <= 1e-12)
    assert np.all(np.diff(curve.lot_accepted) <= 1e-7)
    for column in (curve.accepted, curve.lot_accepted):
        assert np.all((column >= 0.0) & (column <= 1.0))
    assert curve.producer_percent <= curve.indifferent_percent <= curve.consumer_percent
    assert np.all(curve.inspected <= lot_size + 1e-6)
    assert np.all(curve.inspected >= plan.sample_size - 1e-9)
    assert np.all(curve.outgoing_percent <= curve.outgoing_limit_percent + 1e-9)


@settings(max_examples=60, deadline=None)
@given(LOTS, NAMED, AQLS)
def test_tightened_never_accepts_more_than_normal(lot_size: int, level: str, aql: float) -> None:
    normal = attributes_plan(lot_size, level=level, aql_percent=aql)
    harder = attributes_plan(lot_size, level=level, aql_percent=aql, severity=Severity.TIGHTENED)
    percent = operating_curve(normal).percent
    tightened = acceptance_probability(harder, percent)
    assert np.all(tightened <= acceptance_probability(normal, percent) + 1e-12)
    scheme = operating_curve(normal, tightened=harder).scheme_accepted
    assert scheme is not None
    assert np.all((scheme >= -1e-12) & (scheme <= 1.0 + 1e-12))


@settings(max_examples=30, deadline=None)
@given(
    st.integers(3, 1_000_000),
    st.sampled_from(VARIABLES_LEVELS),
    st.sampled_from(variables_aqls()[1:]),
    st.sampled_from(["k", "M"]),
)
def test_variables(lot_size: int, level: str, aql: float, form: str) -> None:
    plans = [
        variables_plan(
            lot_size, level=level, aql_percent=aql, severity=severity, characteristics=["next"], form=form
        )
        for severity in (Severity.NORMAL, Severity.TIGHTENED)
    ]
    normal, harder = plans
    assert normal.sample_size == min(normal.table_sample_size, lot_size)
    assert (normal.largest_percent is None) == (form == "k")
    curve = operating_curve(normal, tightened=harder)
    assert np.all(np.diff(curve.accepted) <= 1e-9)
    at = np.array([curve.producer_percent, curve.indifferent_percent])
    assert np.all(acceptance_probability(harder, at) <= acceptance_probability(normal, at) + 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 2000), st.floats(0.1, 100.0), st.floats(0.01, 0.5))
def test_zero_acceptance(lot_size: int, percent: float, risk: float) -> None:
    plan = zero_acceptance_plan(lot_size, limiting_percent=percent, consumer_risk=risk)
    assert 1 <= plan.sample_size <= lot_size
    curve = operating_curve(plan)
    worse = curve.lot_accepted[curve.lot_percent >= percent * (1.0 + 1e-9)]
    assert np.all(worse <= risk * (1.0 + 1e-6))
    fewer = zero_acceptance_plan(lot_size, limiting_percent=percent, consumer_risk=min(0.9, 1.5 * risk))
    assert fewer.sample_size <= plan.sample_size
