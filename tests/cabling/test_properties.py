"""Properties that hold for any matrix."""

from __future__ import annotations

from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.cabling import compute_traces
from benchsweep.records import Parameter, SMatrix

F = np.array([1e6, 10e6, 100e6, 250e6])
SUMS = {
    Parameter.PS_NEXT: Parameter.NEXT,
    Parameter.PS_ACR_N: Parameter.ACR_N,
    Parameter.PS_ACR_F: Parameter.ACR_F,
}


def any_matrix(rig, seed, spread_db):
    rng = np.random.default_rng(seed)
    ports = rig.mixed_of(F, {}).ports
    size = 10.0 ** (-rng.uniform(0.0, spread_db, (F.size, 16, 16)) / 20.0)
    return SMatrix(
        F, size * np.exp(2j * np.pi * rng.random((F.size, 16, 16))), ports, (100.0,) * 8 + (25.0,) * 8
    )


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), spread_db=st.floats(0.1, 120.0))
def test_a_power_sum_is_never_better_than_its_worst_part_nor_worse_than_three_of_it(rig, seed, spread_db):
    traces = compute_traces(any_matrix(rig, seed, spread_db))
    for total, part in SUMS.items():
        for t in (t for t in traces if t.parameter is total):
            parts = [
                p.value
                for p in traces
                if p.parameter is part
                and p.end == t.end
                and (t.pairs[0] == p.pairs[0] or (part is Parameter.NEXT and t.pairs[0] in p.pairs))
            ]
            assert len(parts) == 3
            worst = np.min(parts, axis=0)
            assert np.all(t.value <= worst + 1e-9)
            assert np.all(t.value >= worst - 10.0 * np.log10(3.0) - 1e-9)
            exact = -10.0 * np.log10(np.sum(10.0 ** (-np.asarray(parts) / 10.0), axis=0))
            assert np.allclose(t.value, exact, atol=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), order=st.sampled_from(list(permutations(["12", "36", "45", "78"]))))
def test_renaming_pairs_only_renames_traces(rig, seed, order):
    whole = any_matrix(rig, seed, 60.0)
    new = dict(zip(["12", "36", "45", "78"], order, strict=True))
    named = tuple(f"{p[:2]}{new[p[2:4]]}{p[4:]}" for p in whole.ports)
    renamed = SMatrix(F, whole.s, named, whole.z0_ohm)
    after = {(t.parameter, t.end, frozenset(t.pairs), t.pairs[0]): t.value for t in compute_traces(renamed)}
    for t in compute_traces(whole):
        pairs = [new[p] for p in t.pairs]
        keys = [(t.parameter, t.end, frozenset(pairs), first) for first in pairs]
        if t.parameter is not Parameter.NEXT:
            keys = keys[:1]
        found = [after[key] for key in keys if key in after]
        assert len(found) == 1
        assert np.allclose(found[0], t.value, atol=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_turning_the_specimen_round_exchanges_the_ends(rig, seed):
    whole = any_matrix(rig, seed, 60.0)
    turned = SMatrix(
        F, whole.s, tuple(("B" if p[0] == "A" else "A") + p[1:] for p in whole.ports), whole.z0_ohm
    )
    after = {(t.parameter, t.end, t.pairs): t.value for t in compute_traces(turned)}
    for t in compute_traces(whole):
        if t.end is not None:
            assert np.array_equal(after[t.parameter, "B" if t.end == "A" else "A", t.pairs], t.value)
