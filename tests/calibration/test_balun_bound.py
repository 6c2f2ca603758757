"""Calibrating the differential mode through baluns: what is left, derived, found, and compared with a table.

`TABLE` was computed by others with a network whose details are not known. Theirs and here: the balun is a
three-port with return loss 20 dB, 0.8 dB of loss, both conversions at -OSB (output signal balance) and a
common-mode return loss; standards are open, short, 100 ohm and flush thru, alike for both modes. Here
analyzer, baluns and device are one network of all waves (`balun_network`); its raw readings are solved and
corrected by the package; the truth is the differential part of the device.

Condition of the table: two of the eight balanced ports behind baluns (28 hookups of a two-port analyzer),
the other six ended in 100 ohm and 25 ohm. `test_eight_baluns_at_once...` has all of them behind baluns.

The bound is derived in `balun_prediction`.

What is found
-------------
* What comes through `solve` and `apply` is the prediction within 0.03 dB in each of the 96 figures.
* Baluns with drawn delays stay below the bound. Baluns with the worst phases reach it within 1 dB in 82 of
  the 96 figures; in the others (devices that convert so little that the balance squared is a tenth of the
  bound or more) within 1 dB and the second order.
* Against the table: differences between its rows agree with a median of 1.1 dB, with perfect taps within
  1.1 dB. Absolute figures agree within 6 dB but for the 29 listed in `APART`. The device here is the one
  that reproduces the table of terminations (`tests/fixture`); nothing of it was fitted to this table. It
  converts more in 2 m (RL and NEXT where the tap decides) and less from end to end of 90 m (IL). Behind
  open taps the balance squared is in resonance with open and short standards, as far as loss allows, and no
  loss of the tap is stated.
* The table's largest errors of NEXT in dB (0.56, 0.18, 0.06 for perfect taps) come out half as large (0.28,
  0.09, 0.03), behind open taps at 90 m a seventh (0.6 for 3.9): a device with deeper minima of NEXT has
  such errors. Only the ratios of the former and 0.28 are held here.
* Not as stated with the table: a floating load standard is visible (up to 4.3 dB of RL) where the device is
  as balanced as the baluns, because it leaves OSB squared as directivity; and short-open-load-thru and
  unknown thru differ by up to 2 dB of IL there. Elsewhere 0.3 dB for the methods; 0.5 dB for the load, save
  1.1 dB for the severe device at 40 dB behind perfect taps.
"""

from __future__ import annotations

from dataclasses import fields
from functools import lru_cache
from itertools import combinations

import numpy as np
import pytest

from benchsweep.calibration import Method, apply, load_kit, solve
from benchsweep.records import ErrorTerms, SweepSettings
from tests.calibration.balun_network import (
    GRID,
    LOSS,
    PORTS,
    Analyzer,
    Baluns,
    common_mode_reflection,
    readings,
    standards_measured,
    sweep_of,
)
from tests.calibration.balun_prediction import bound, of_the_standards, orders, worst_placed
from tests.fixture.conftest import PAIR_LEGS, Conductors

PAIRS = tuple(combinations(range(PORTS), 2))
KINDS = ("RL", "IL", "NEXT", "FEXT")
ANALYZER = Analyzer.drawn()

Tap = float | None
"""Common-mode return loss in dB; inf: perfect, None: the tap is open."""
PERFECT = float("inf")
Cell = tuple[str, Tap, int]

TABLE: dict[Cell, tuple[float, ...]] = {
    ("severe 2 m", PERFECT, 40): (-58, -60, -62, -68, 0.56),
    ("severe 2 m", PERFECT, 50): (-69, -70, -72, -78, 0.18),
    ("severe 2 m", PERFECT, 60): (-79, -80, -82, -88, 0.06),
    ("severe 2 m", 20, 40): (-58, -59, -62, -67, 0.61),
    ("severe 2 m", 20, 50): (-66, -68, -69, -74, 0.22),
    ("severe 2 m", 20, 60): (-72, -73, -73, -78, 0.12),
    ("severe 2 m", 10, 40): (-55, -56, -59, -64, 0.73),
    ("severe 2 m", 10, 50): (-61, -62, -63, -68, 0.39),
    ("severe 2 m", 10, 60): (-64, -65, -64, -69, 0.34),
    ("severe 2 m", None, 40): (-39, -42, -51, -54, 1.7),
    ("severe 2 m", None, 50): (-43, -46, -53, -55, 1.2),
    ("severe 2 m", None, 60): (-44, -48, -53, -55, 1.0),
    ("severe 90 m", 20, 40): (-54, -57, -59, -66, 1.7),
    ("severe 90 m", 20, 50): (-60, -64, -67, -73, 0.37),
    ("severe 90 m", 20, 60): (-62, -66, -69, -77, 0.27),
    ("severe 90 m", None, 40): (-41, -43, -47, -55, 3.9),
    ("severe 90 m", None, 50): (-42, -44, -49, -57, 3.4),
    ("severe 90 m", None, 60): (-42, -44, -49, -58, 3.3),
    ("soft 2 m", 20, 40): (-74, -71, -79, -85, 0.24),
    ("soft 2 m", 20, 50): (-88, -88, -91, -97, 0.03),
    ("soft 2 m", 20, 60): (-98, -99, -102, -107, 0.006),
    ("soft 2 m", None, 40): (-48, -48, -76, -80, 0.28),
    ("soft 2 m", None, 50): (-68, -68, -86, -90, 0.03),
    ("soft 2 m", None, 60): (-79, -82, -91, -94, 0.02),
}
"""RL, IL, NEXT, FEXT: largest residual in dB; largest error of NEXT in dB."""
CELLS = tuple(TABLE)

APART: dict[tuple[str, Tap, int, str], float] = {
    ("severe 2 m", 20, 40, "NEXT"): 6.9,
    ("severe 2 m", 20, 50, "RL"): 7.4,
    ("severe 2 m", 20, 50, "NEXT"): 7.2,
    ("severe 2 m", 20, 60, "RL"): 11.2,
    ("severe 2 m", 20, 60, "NEXT"): 8.0,
    ("severe 2 m", 20, 60, "FEXT"): 7.1,
    ("severe 2 m", 10, 40, "RL"): 7.1,
    ("severe 2 m", 10, 40, "NEXT"): 7.3,
    ("severe 2 m", 10, 50, "RL"): 10.8,
    ("severe 2 m", 10, 50, "NEXT"): 8.5,
    ("severe 2 m", 10, 50, "FEXT"): 7.4,
    ("severe 2 m", 10, 60, "RL"): 13.4,
    ("severe 2 m", 10, 60, "NEXT"): 8.5,
    ("severe 2 m", 10, 60, "FEXT"): 7.6,
    ("severe 2 m", None, 40, "NEXT"): 6.3,
    ("severe 2 m", None, 50, "NEXT"): 8.0,
    ("severe 2 m", None, 60, "RL"): 6.1,
    ("severe 2 m", None, 60, "NEXT"): 8.6,
    ("severe 90 m", 20, 50, "IL"): -8.8,
    ("severe 90 m", 20, 60, "IL"): -13.0,
    ("severe 90 m", None, 40, "IL"): -8.5,
    ("severe 90 m", None, 50, "IL"): -10.8,
    ("severe 90 m", None, 60, "IL"): -11.1,
    ("soft 2 m", 20, 60, "NEXT"): 6.5,
    ("soft 2 m", None, 40, "RL"): -8.5,
    ("soft 2 m", None, 40, "IL"): -7.8,
    ("soft 2 m", None, 50, "RL"): -7.9,
    ("soft 2 m", None, 50, "IL"): -7.7,
    ("soft 2 m", None, 60, "NEXT"): 6.4,
}
"""Found minus tabled in dB, where it is more than 6 dB."""

SEVERE = Conductors(
    mismatch=0.289, dd=0.107, dc=0.098, cc=0.996, spread_dd=0.000255, spread_dc=8.55e-06, spread_cc=0.000466,
    loss_db_per_m=0.0862,
)  # fmt: skip
SEED = 371


@lru_cache
def device(name: str) -> np.ndarray:
    """Modes of the sixteen conductors' ends, d and c of each balanced port, ``(n_freq, 16, 16)``."""
    severe = SEVERE.scatter(GRID, 90.0 if name == "severe 90 m" else 2.0, SEED)
    modes = np.asarray(PAIR_LEGS @ severe @ PAIR_LEGS.T)
    if name.startswith("soft"):
        pair, mode = np.divmod(np.arange(2 * PORTS), 2)
        crosstalk = (mode[:, None] == 0) & (mode == 0) & (pair[:, None] % 4 != pair % 4)
        modes[:, (mode[:, None] != mode) | crosstalk] *= 0.1
    return modes


def of_ports(matrix: np.ndarray, ports: tuple[int, ...]) -> np.ndarray:
    at = [mode for port in ports for mode in (2 * port, 2 * port + 1)]
    return matrix[:, at][:, :, at]


def differential(matrix: np.ndarray) -> np.ndarray:
    return matrix[:, 0::2][:, :, 0::2]


def solved(
    analyzer: Analyzer, baluns: Baluns, ports: tuple[int, ...], method: Method, *, floating_load: bool = False
) -> ErrorTerms:
    return solve(
        load_kit("ideal"),
        standards_measured(analyzer, baluns, ports, floating_load=floating_load),
        method=method,
        identifier="baluns",
        created_at="2026-01-05T08:00:00+00:00",
        idn="bench 1",
        settings=SweepSettings(None, None, None, 1e3),
    ).terms


@lru_cache
def bench(
    tap: Tap, balance_db: int, method: Method = "short-open-load-thru", floating_load: bool = False
) -> tuple[Baluns, ErrorTerms]:
    baluns = Baluns.drawn(balance_db, tap)
    return baluns, solved(ANALYZER, baluns, tuple(range(PORTS)), method, floating_load=floating_load)


@lru_cache
def raw_of(name: str, tap: Tap, balance_db: int) -> np.ndarray:
    whole = device(name)
    return readings(
        ANALYZER, Baluns.drawn(balance_db, tap), np.stack([of_ports(whole, pair) for pair in PAIRS]), PAIRS
    )


@lru_cache
def found(
    name: str,
    tap: Tap,
    balance_db: int,
    method: Method = "short-open-load-thru",
    floating_load: bool = False,
) -> np.ndarray:
    """Corrected minus true in the 28 hookups, ``(28, n_freq, 2, 2)``."""
    _, terms = bench(tap, balance_db, method, floating_load)
    raw = raw_of(name, tap, balance_db)
    return np.stack(
        [
            apply(terms, sweep_of(ANALYZER, raw[h], pair)) - differential(of_ports(device(name), pair))
            for h, pair in enumerate(PAIRS)
        ]
    )


def kind_of(pair: tuple[int, int]) -> str:
    """What is transmitted between two balanced ports: 0-3 are end A of the pairs, 4-7 end B."""
    if pair[0] % 4 == pair[1] % 4:
        return "IL"
    return "NEXT" if pair[0] // 4 == pair[1] // 4 else "FEXT"


def figures_db(errors: np.ndarray) -> np.ndarray:
    """Largest residual of RL, IL, NEXT, FEXT."""
    return np.asarray([20 * np.log10((np.abs(errors) * _entries(kind)).max()) for kind in KINDS])


@lru_cache
def predicted(name: str, tap: Tap, balance_db: int) -> tuple[np.ndarray, np.ndarray]:
    """E0 + E1 + E2 + Ec, and of that E2 + Ec, in the 28 hookups."""
    baluns = Baluns.drawn(balance_db, tap)
    whole, second = [], []
    for pair in PAIRS:
        matrix = of_ports(device(name), pair)
        zeroth, first, square = orders(baluns, pair, matrix)
        square = square + of_the_standards(baluns, pair, differential(matrix) + zeroth)
        whole.append(zeroth + first + square)
        second.append(square)
    return np.stack(whole), np.stack(second)


@lru_cache
def bounds(name: str, tap: Tap, balance_db: int) -> np.ndarray:
    baluns = Baluns.drawn(balance_db, tap)
    matrices = [of_ports(device(name), pair) for pair in PAIRS]
    return np.stack(
        [bound(baluns, pair, m, balance_db).size for pair, m in zip(PAIRS, matrices, strict=True)]
    )


# -- tests -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["short-open-load-thru", "unknown-thru"])
def test_through_baluns_of_infinite_balance_that_end_the_common_mode_the_device_comes_back(
    method: Method,
) -> None:
    baluns = Baluns.drawn(400.0, PERFECT)
    terms = solved(ANALYZER, baluns, tuple(range(PORTS)), method)
    for name in ("severe 2 m", "soft 2 m"):
        truth = differential(device(name))
        raw = readings(ANALYZER, baluns, device(name)[None], [range(PORTS)])[0]
        assert np.abs(apply(terms, sweep_of(ANALYZER, raw, range(PORTS))) - truth).max() < 1e-9


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_what_is_left_is_the_prediction(cell: Cell) -> None:
    """Cell by cell and figure by figure within 0.1 dB, where 1 dB is asked for."""
    errors = found(*cell, "unknown-thru")
    expected, _ = predicted(*cell)
    np.testing.assert_allclose(figures_db(errors), figures_db(expected), atol=0.1)
    # Not only the largest: every entry of every hookup, by terms of the third order.
    assert np.abs(errors - expected).max() < 0.004 * np.abs(errors).max()


def test_eight_baluns_at_once_leave_the_prediction_too() -> None:
    every = tuple(range(PORTS))
    for cell in (("severe 2 m", None, 40), ("severe 90 m", 20, 60), ("soft 2 m", 20, 40)):
        name, tap, balance_db = cell
        baluns, terms = bench(tap, balance_db, "unknown-thru")
        raw = readings(ANALYZER, baluns, device(name)[None], [every])[0]
        errors = apply(terms, sweep_of(ANALYZER, raw, every)) - differential(device(name))
        zeroth, first, second = orders(baluns, every, device(name))
        expected = zeroth + first + second
        expected += of_the_standards(baluns, every, differential(device(name)) + zeroth)
        assert np.abs(errors - expected).max() < 0.01 * np.abs(errors).max()


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_no_phases_exceed_the_bound(cell: Cell) -> None:
    second = np.abs(predicted(*cell)[1])
    assert np.all(np.abs(found(*cell, "unknown-thru")) < 1.02 * bounds(*cell) + 1.1 * second)


def test_the_worst_phases_reach_the_bound_in_every_cell_and_figure() -> None:
    """All cases in one sweep: a calibration knows no frequency, so each point may be a bench of its own."""
    cases, boxes, devices, limits = [], [], [], []
    for cell in CELLS:
        drawn = Baluns.drawn(cell[2], cell[1])
        for kind in KINDS:
            where = bounds(*cell) * _entries(kind)
            h, point, i, j = (int(at) for at in np.unravel_index(int(np.argmax(where)), where.shape))
            pair, matrix = PAIRS[h], of_ports(device(cell[0]), PAIRS[h])
            worst = worst_placed(drawn, pair, bound(drawn, pair, matrix, cell[2]), point, (i, j))
            cases.append((cell, kind, i, j))
            boxes.append([getattr(worst, field.name)[point, list(pair)] for field in fields(Baluns)])
            devices.append(matrix[point])
            limits.append(where[h, point, i, j])
    baluns = Baluns(*np.moveaxis(np.array(boxes), 1, 0))  # of ports 0 and 1
    at = np.arange(len(cases)) % GRID.size
    grid = np.linspace(100e6, 500e6, len(cases))
    analyzer = Analyzer(grid, ANALYZER.box[at, :2], ANALYZER.switch[at, :2])
    terms = solved(analyzer, baluns, (0, 1), "unknown-thru")
    matrices = np.array(devices)
    raw = readings(analyzer, baluns, matrices[None], [(0, 1)])[0]
    left = apply(terms, sweep_of(analyzer, raw, (0, 1))) - differential(matrices)
    zeroth, _, second = orders(baluns, (0, 1), matrices)
    second = second + of_the_standards(baluns, (0, 1), differential(matrices) + zeroth)
    within = 0
    for n, (cell, kind, i, j) in enumerate(cases):
        ratio_db = 20 * np.log10(np.abs(left[n, i, j]) / limits[n])
        # What is of the second order in the balance is not in the bound, and lies as it lies.
        beyond = np.abs(second[n, i, j]) / limits[n]
        assert ratio_db < 20 * np.log10(1 + beyond) + 1.0, (cell, kind)
        assert ratio_db > 20 * np.log10(max(1 - beyond, 1e-9)) - 1.0, (cell, kind)
        assert abs(ratio_db) < 1.0 or beyond > 0.1, (cell, kind)
        within += abs(ratio_db) < 1.0
    assert within >= 82  # of 96


def _entries(kind: str) -> np.ndarray:
    """1 where an entry of a hookup is of that kind, ``(28, 1, 2, 2)``."""
    of_kind = [np.eye(2) if kind == "RL" else (1 - np.eye(2)) * (kind_of(pair) == kind) for pair in PAIRS]
    return np.stack(of_kind)[:, None]


# -- against the table -------------------------------------------------------------------------------------


def tabled(cell: Cell) -> np.ndarray:
    return np.array(TABLE[cell][:4], dtype=float)


def gain_db(name: str, tap: Tap, balance_db: int) -> tuple[np.ndarray, np.ndarray]:
    """By how much 10 dB more of balance lower the figures: here and in the table."""
    before, after = (name, tap, balance_db), (name, tap, balance_db + 10)
    here = figures_db(found(*before)) - figures_db(found(*after))
    return here, tabled(before) - tabled(after)


def test_the_levels_are_those_of_the_table_but_where_said() -> None:
    apart_db = {cell: figures_db(found(*cell)) - tabled(cell) for cell in CELLS}
    for cell, each in apart_db.items():
        for kind, value in zip(KINDS, each, strict=True):
            if (*cell, kind) in APART:
                assert value == pytest.approx(APART[(*cell, kind)], abs=0.3)
            else:
                assert abs(value) < 6.0, (*cell, kind)
    every = np.abs(np.stack(list(apart_db.values())))
    assert np.median(every) < 4.5
    assert every.max() < 13.5


def test_balance_gains_what_it_gains_in_the_table() -> None:
    apart = []
    for name, tap, balance_db in CELLS:
        if balance_db < 60:
            here, there = gain_db(name, tap, balance_db)
            apart.append(here - there)
    every = np.abs(np.stack(apart))
    assert np.median(every) < 1.1
    assert np.sum(every < 2.0) >= 48  # of 64
    assert every.max() < 7.1


def test_with_ended_taps_ten_db_of_balance_are_ten_db() -> None:
    for balance_db in (40, 50):
        here, there = gain_db("severe 2 m", PERFECT, balance_db)
        np.testing.assert_allclose(here, there, atol=1.1)
        np.testing.assert_allclose(here, 10.0, atol=1.1)
    # The largest error of NEXT in dB goes with it.
    errors_db = [largest_next_error_db(("severe 2 m", PERFECT, level)) for level in (40, 50, 60)]
    ratios = np.array(errors_db)[:-1] / errors_db[1:]
    np.testing.assert_allclose(ratios, [0.56 / 0.18, 0.18 / 0.06], rtol=0.1)
    assert errors_db[0] == pytest.approx(0.28, abs=0.01)  # the table has 0.56


def largest_next_error_db(cell: Cell) -> float:
    worst = 0.0
    for h, pair in enumerate(PAIRS):
        if kind_of(pair) == "NEXT":
            true = differential(of_ports(device(cell[0]), pair))[:, [0, 1], [1, 0]]
            measured = true + found(*cell)[h][:, [0, 1], [1, 0]]
            worst = max(worst, float(np.abs(20 * np.log10(np.abs(measured / true))).max()))
    return worst


def test_behind_open_taps_the_balance_squared_decides_for_a_device_that_hardly_converts() -> None:
    here, there = gain_db("soft 2 m", None, 40)
    np.testing.assert_allclose(here[:2], there[:2], atol=1.0)
    np.testing.assert_allclose(here[:2], 20.0, atol=1.0)


@pytest.mark.parametrize(("tap", "most_db"), [(20, 7.0), (10, 3.1), (None, 2.1)])
def test_above_fifty_db_of_balance_the_tap_decides(tap: Tap, most_db: float) -> None:
    """For the device that converts: 10 dB more of balance gain little, as in the table."""
    for gained in gain_db("severe 2 m", tap, 50):
        assert np.all(gained < most_db)
    share = predicted("severe 2 m", tap, 60)[0]
    perfect = predicted("severe 2 m", PERFECT, 60)[0]
    assert np.all(figures_db(share) > figures_db(perfect) + 5.0)


@pytest.mark.parametrize("name", ["severe 2 m", "severe 90 m"])
def test_an_open_tap_is_worse_than_a_balun_of_forty_db(name: str) -> None:
    here = figures_db(found(name, None, 60)) - figures_db(found(name, 20, 40))
    there = tabled((name, None, 60)) - tabled((name, 20, 40))
    assert np.all(here > 5.0)
    assert np.all(there > 5.0)


@pytest.mark.parametrize("cell", CELLS, ids=str)
def test_both_methods_leave_the_same_but_where_the_balance_squared_decides(cell: Cell) -> None:
    known, unknown = (figures_db(found(*cell, method)) for method in ("short-open-load-thru", "unknown-thru"))
    first_order = figures_db(predicted(*cell)[1]) < known - 13.0
    assert np.all(np.abs(known - unknown)[first_order] < 0.3)
    assert np.all(np.abs(known - unknown) < 2.1)
    # Of the severe device only IL at 40 dB behind open taps is not among them.
    assert np.abs(known - unknown).max() < (0.3 if cell[0] != "soft 2 m" and cell[1:] != (None, 40) else 2.1)


@pytest.mark.parametrize("cell", [*(c for c in CELLS if c[2] == 40), ("soft 2 m", 20, 50)], ids=str)
def test_a_floating_load_leaves_no_more_than_the_balance_squared(cell: Cell) -> None:
    grounded, floating = found(*cell), found(*cell, "short-open-load-thru", True)
    balance = 10 ** (-cell[2] / 20)
    rise = 1.0 / (1.0 - common_mode_reflection(cell[1]))
    assert np.abs(floating - grounded).max() < 3.0 * (balance / LOSS) ** 2 * rise
    changed_db = np.abs(figures_db(floating) - figures_db(grounded))
    assert np.all(changed_db[2:] < 0.15)  # NEXT, FEXT
    if cell[0] != "soft 2 m":
        assert np.all(changed_db < (1.2 if cell[1:] == (PERFECT, 40) else 0.55))
    elif cell[1] == 20:
        assert changed_db[0] > 3.0
