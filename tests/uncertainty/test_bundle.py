"""Alien crosstalk: terms against closed forms, what is independent and what may be shared, coverage."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from benchsweep.cabling import compute_alien
from benchsweep.errors import UsageError
from benchsweep.limits import Decision, grade, load_requirement
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import FOUR_PAIRS, Outcome, Parameter, SMatrix, Trace, balanced_ports
from benchsweep.uncertainty import Budget, BundleModel, Circumstances, Model, read_budget
from tests.uncertainty.conftest import LEGS

DB = 20.0 / np.log(10.0)
GRID = np.linspace(40e6, 480e6, 3)
ALL = np.arange(GRID.size)
HEAD = (
    'schema = 1\nname = "b"\ndescription = "d"\nsource = "s"\nstanding = "from-memory"\ncoverage_factor = 2\n'
)
THROUGH, ALIEN = 0.5, 1e-4
FLOOR = 'name = "floor"\nkind = "floor"\nlevel_db = -90'
LINEARITY = 'name = "tracking"\nkind = "tracking"\nlevel_db = -40'


def budget(*terms: str) -> Budget:
    return read_budget(
        HEAD + "".join(f'[[term]]\n{t}\nsource = "s"\nstanding = "from-memory"\n' for t in terms)
    )


def specimen() -> SMatrix:
    s = np.zeros((GRID.size, 16, 16), dtype=complex)
    for i in range(16):
        s[:, i, (i + 8) % 16] = THROUGH
    return SMatrix(GRID, s, LEGS, (50.0,) * 16)


def coupling(cable: int, wave: float | dict[tuple[str, str], float] = ALIEN) -> SMatrix:
    """Every positive leg of the specimen hears every positive leg of one other cable: differential `wave`."""
    ports = (*balanced_ports(), *balanced_ports(cable=cable))
    legs = tuple(str(leg) for port in ports for leg in port.legs)
    s = np.zeros((GRID.size, 32, 32), dtype=complex)
    for i, one in enumerate(ports[:8]):
        for j, other in enumerate(ports[8:], 8):
            key = (str(one), f"{other.end}:{other.pair}")
            level = wave if isinstance(wave, float) else wave.get(key, 0.0)
            s[:, 2 * i, 2 * j] = s[:, 2 * j, 2 * i] = 2.0 * level
    return SMatrix(GRID, s, legs, (50.0,) * 32)


def model_of(given: Budget, couplings: Sequence[SMatrix], own: SMatrix | None = None) -> BundleModel:
    plain = Circumstances()
    return BundleModel(given, own or specimen(), plain, [(one, plain) for one in couplings])


def traces_of(couplings: Sequence[SMatrix], own: SMatrix | None = None) -> dict[object, Trace]:
    mixed = to_mixed_mode(own or specimen())
    found = compute_alien([to_mixed_mode(one) for one in couplings], mixed)
    return {(t.parameter, t.end, t.pairs): t for t in found}


NEAR = (Parameter.PS_ANEXT, "A", ("36",))
FAR = (Parameter.PS_AACR_F, "B", ("12",))
NEAR_MEAN = (Parameter.PS_ANEXT_AVERAGE, "A", FOUR_PAIRS)
FAR_MEAN = (Parameter.PS_AACR_F_AVERAGE, "B", FOUR_PAIRS)


@pytest.mark.parametrize("cables", [1, 6])
def test_a_floor_is_independent_from_coupling_to_coupling(cables: int) -> None:
    couplings = [coupling(k + 1) for k in range(cables)]
    model, trace = model_of(budget(FLOOR), couplings), traces_of(couplings)[NEAR]
    # Each of 4 n waves of size w has an error of rms 10^(-90/20), a part 1/sqrt 2 of it along the wave:
    # d ln of the root of the sum of squares is e / (sqrt(4 n) w).
    expected = DB * 10.0 ** (-90.0 / 20.0) / np.sqrt(2.0) / ALIEN / np.sqrt(4.0 * cables)
    assert model.standard_uncertainty(trace, ALL) == pytest.approx(expected)
    (interval,) = model.intervals([(trace, ALL)])
    assert (interval.low >= 2.0 * expected * 0.8).all()
    assert (interval.high > 0.0).all()


def test_tracking_is_taken_as_shared_by_all_couplings_and_the_insertion_loss_adds_in_squares() -> None:
    few, many = [coupling(1)], [coupling(k + 1) for k in range(6)]
    for key in (NEAR, FAR, NEAR_MEAN, FAR_MEAN):
        one, six = (
            model_of(budget(LINEARITY), c).standard_uncertainty(traces_of(c)[key], ALL) for c in (few, many)
        )
        assert six == pytest.approx(one)
        assert (one > 0.0).all()
    own = Model(budget(LINEARITY), specimen(), Circumstances())
    loss = Trace(Parameter.INSERTION_LOSS, "B", ("12",), GRID, np.full(3, 6.0))
    through = own.standard_uncertainty(loss, ALL)
    near_b = (Parameter.PS_ANEXT, "B", ("12",))
    sums = model_of(budget(LINEARITY), few)
    # Near and far couplings are alike here, so PS AFEXT is as uncertain as PS ANEXT.
    assert sums.standard_uncertainty(traces_of(few)[FAR], ALL) == pytest.approx(
        np.hypot(sums.standard_uncertainty(traces_of(few)[near_b], ALL), through)
    )


def test_the_stronger_coupling_decides() -> None:
    loud, faint = coupling(1), coupling(2, ALIEN / 30.0)
    alone = model_of(budget(FLOOR), [loud]).standard_uncertainty(traces_of([loud])[NEAR], ALL)
    both = model_of(budget(FLOOR), [loud, faint]).standard_uncertainty(traces_of([loud, faint])[NEAR], ALL)
    assert both == pytest.approx(alone, rel=2e-3)


def test_the_mean_of_the_pairs_is_as_uncertain_as_the_mean_of_their_uncertainties() -> None:
    waves = {
        (f"A:{pair}", f"A:{other}"): ALIEN * (1 + k)
        for k, pair in enumerate(FOUR_PAIRS)
        for other in FOUR_PAIRS
    }
    couplings = [coupling(1, waves)]
    model, traces = model_of(budget(FLOOR, LINEARITY), couplings), traces_of(couplings)
    singles = [model.intervals([(traces[Parameter.PS_ANEXT, "A", (pair,)], ALL)])[0] for pair in FOUR_PAIRS]
    (mean,) = model.intervals([(traces[NEAR_MEAN], ALL)])
    assert mean.low == pytest.approx(np.mean([one.low for one in singles], axis=0))
    assert mean.high == pytest.approx(np.mean([one.high for one in singles], axis=0))
    assert np.ptp([one.low[0] for one in singles]) > 0.1


def test_contributions_add_up_to_the_uncertainty_and_name_their_terms() -> None:
    couplings = [coupling(1), coupling(2, 2.0 * ALIEN)]
    model, traces = model_of(budget(FLOOR, LINEARITY), couplings), traces_of(couplings)
    for key in (NEAR, FAR):
        found = model.contributions(traces[key], 1)
        assert {one.term for one in found} == {"floor", "tracking"}
        together = np.sqrt(sum(one.standard_uncertainty**2 for one in found))
        assert together == pytest.approx(model.standard_uncertainty(traces[key], np.array([1]))[0])
        assert sum(one.share for one in found) == pytest.approx(1.0)
    assert {one.term for one in model.contributions(traces[NEAR_MEAN], 0)} == {"floor", "tracking"}


def test_everything_else_is_as_without_a_bundle_in_the_order_that_was_asked() -> None:
    couplings = [coupling(1)]
    model, traces = model_of(budget(FLOOR, LINEARITY), couplings), traces_of(couplings)
    own = Model(budget(FLOOR, LINEARITY), specimen(), Circumstances())
    loss = Trace(Parameter.INSERTION_LOSS, "B", ("36",), GRID, np.full(3, 6.0))
    back = Trace(Parameter.RETURN_LOSS, "A", ("36",), GRID, np.full(3, 60.0))
    requests = [(loss, ALL), (traces[NEAR], ALL[:1]), (back, ALL[1:]), (traces[FAR], ALL[:2])]
    mixed = model.intervals(requests)
    assert [one.low.size for one in mixed] == [3, 1, 2, 2]
    for at, plain in zip((0, 2), own.intervals([requests[0], requests[2]]), strict=True):
        assert np.array_equal(mixed[at].low, plain.low)
        assert np.array_equal(mixed[at].high, plain.high)
    assert model.contributions(loss, 0) == own.contributions(loss, 0)
    assert model.intervals([]) == []


def test_what_two_couplings_hold_counts_once() -> None:
    one, twice = [coupling(1)], [coupling(1), coupling(1)]
    given = budget(LINEARITY)
    assert model_of(given, twice).standard_uncertainty(traces_of(twice)[NEAR], ALL) == pytest.approx(
        model_of(given, one).standard_uncertainty(traces_of(one)[NEAR], ALL)
    )


def test_a_sum_that_no_coupling_holds_is_refused_by_name() -> None:
    couplings = [coupling(1)]
    trace = traces_of(couplings)[NEAR]
    with pytest.raises(UsageError, match="ps_anext 36 at end A: no coupling holds it"):
        model_of(budget(FLOOR), []).intervals([(trace, ALL)])


def test_intervals_cover_drawn_errors() -> None:
    """Monte Carlo: errors of every matrix drawn on their own; a shared one is stated as larger than that."""
    rng = np.random.default_rng(11)
    waves = {
        (f"{end}:{i}", f"{other}:{j}"): ALIEN * rng.uniform(0.2, 2.0)
        for end in "AB"
        for other in "AB"
        for i in FOUR_PAIRS
        for j in FOUR_PAIRS
    }
    true = [coupling(k + 1, waves) for k in range(2)]
    given = budget('name = "floor"\nkind = "floor"\nlevel_db = -78', LINEARITY)
    truth = traces_of(true)
    drawers = [Model(given, one, Circumstances()) for one in true]
    own = Model(given, specimen(), Circumstances())
    keys = [key for key in truth if key[0] in (Parameter.PS_ANEXT, Parameter.PS_AACR_F)]
    inside = count = 0
    for _ in range(40):
        drawn, through = [one.draw(rng) for one in drawers], own.draw(rng)
        measured = traces_of(drawn, through)
        intervals = model_of(given, drawn, through).intervals([(measured[key], ALL[:1]) for key in keys])
        for key, interval in zip(keys, intervals, strict=True):
            error = truth[key].value[0] - measured[key].value[0]
            inside += bool(-interval.low[0] <= error <= interval.high[0])
            count += 1
    assert inside / count >= 0.93
    assert count == 640


REQUIREMENT = """
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "6A"
configuration = "channel"
standing = "from-memory"
[source]
document = "d"
checked = "c"
"""
LINE = """
[[lines]]
parameter = "{parameter}"
sense = "min"
standing = "from-memory"
source = "s"
[[lines.bands]]
from_mhz = 40.0
to_mhz = 480.0
limit = {{ form = "constant", level = {level} }}
"""


@pytest.mark.parametrize(
    ("floor_db", "outcome"),
    [(-120.0, Outcome.PASS), (-75.0, Outcome.CONDITIONAL_PASS), (None, Outcome.UNDECIDED)],
)
def test_alien_rows_under_a_guard_band(floor_db: float | None, outcome: Outcome, tmp_path: Path) -> None:
    """PS ANEXT 71 dB against 67 dB; PS AACR-F 6 dB less against 60 dB: 4 and 5 dB of margin."""
    path = tmp_path / "own.toml"
    lines = {"ps_anext": 67.0, "ps_anext_average": 67.0, "ps_aacr_f": 60.0, "ps_aacr_f_average": 60.0}
    text = "".join(LINE.format(parameter=name, level=level) for name, level in lines.items())
    path.write_text(REQUIREMENT + text, encoding="utf-8")
    couplings = [coupling(k + 1) for k in range(2)]
    given = None if floor_db is None else budget(f'name = "floor"\nkind = "floor"\nlevel_db = {floor_db}')
    verdict = grade(
        tuple(traces_of(couplings).values()),
        load_requirement(str(path)),
        specimen="bundle",
        decision=Decision.parse("four-way"),
        assess=None if given is None else model_of(given, couplings).intervals,
    )
    assert len(verdict.rows) == 2 * (8 + 2)
    assert {row.outcome for row in verdict.rows} == {outcome}
    margins = {row.parameter: row.worst_margin_db for row in verdict.rows}
    assert margins[Parameter.PS_ANEXT] == pytest.approx(80.0 - 10.0 * np.log10(8.0) - 67.0)
    assert margins[Parameter.PS_AACR_F] == pytest.approx(
        80.0 - 10.0 * np.log10(8.0) - 6.0206 - 60.0, abs=1e-4
    )
    if given is None:
        assert all("no uncertainty budget" in row.note for row in verdict.rows)
    else:
        assert all(row.guard_band is not None and row.guard_band > 0.0 for row in verdict.rows)


def test_a_signal_below_the_residual_floor_passes_by_as_much_as_the_floor_allows() -> None:
    """Value 111 dB, floor -100 dB: the true value may be as low as about 91 dB, and as high as any."""
    couplings = [coupling(1, 1e-6 / np.sqrt(2.0)), coupling(2, 1e-6 / np.sqrt(2.0))]
    model = model_of(budget('name = "floor"\nkind = "floor"\nlevel_db = -100'), couplings)
    trace = traces_of(couplings)[NEAR]
    (interval,) = model.intervals([(trace, ALL)])
    assert trace.value == pytest.approx(120.0 - 10.0 * np.log10(4.0))
    # Eight waves of floor of rms 1e-5 add up to 8e-10: 91 dB.
    assert trace.value - interval.low == pytest.approx(91.0, abs=4.0)
    assert np.isposinf(interval.high).all()
