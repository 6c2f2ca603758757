"""Monte Carlo: exact draws through mixed mode and the parameters against the propagated uncertainty."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import compute_traces
from benchsweep.definitions import find_definition
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import Hookup, Parameter, SMatrix, SweepSettings
from benchsweep.uncertainty import Circumstances, Model, read_budget
from tests.uncertainty.conftest import GRID, cord, modes, partial_hookups, standard_terms, whole_hookup

DRAWS, MANY_DRAWS = 150, 2000
# The law of propagation is linear; above that the asymmetry shows.
LARGEST_DB = 0.8

LEVELS = {
    "directivity": -55, "source-match": -55, "load-match": -50,
    "tracking": -60, "crosstalk": -75, "floor": -80,
}  # fmt: skip
BALANCE = {
    "output_signal_balance": -50, "common_mode_rejection": -50, "common_mode_reflection": -20,
    "assumed_tcl": -40, "assumed_tctl": -40, "assumed_crosstalk_conversion": -50,
}  # fmt: skip


def every_kind() -> str:
    """The simulated bench with one term of every other kind."""
    text = find_definition("budgets", "simulated").read_text(encoding="utf-8")
    head = '[[term]]\nname = "{0}"\nkind = "{0}"\nsource = "test"\nstanding = "from-memory"\n'
    for kind, level in LEVELS.items():
        text += head.format(kind) + f"level_db = {level}\n"
    text += head.format("balance")
    return text + "".join(f"{name}_db = {level}\n" for name, level in BALANCE.items())


def values(matrix: SMatrix) -> np.ndarray:
    mixed = matrix if "/" in matrix.ports[0] else to_mixed_mode(matrix)
    return np.array([trace.value for trace in compute_traces(mixed, length_m=2.0)])


def setup(name: str) -> tuple[SMatrix, tuple[Hookup, ...]]:
    legs = cord()
    if name == "one hookup":
        return legs, whole_hookup()
    if name == "six hookups":
        return legs, partial_hookups()
    behind = modes(legs, tapped=name == "tapped baluns")
    return behind, whole_hookup(behind.ports)


@pytest.mark.parametrize("name", ["one hookup", "six hookups", "baluns", "tapped baluns"])
@pytest.mark.timeout(1200)
def test_draws_scatter_as_the_propagated_uncertainty_says(name: str, request: pytest.FixtureRequest) -> None:
    """Root mean square about the value without errors: for the larger of two noisy directions, which is
    larger than either on average, that is the standard uncertainty of one of them (exactly so for
    independent normal errors: the squares of the larger and the smaller add up to those of both).
    """
    matrix, hookups = setup(name)
    settings = SweepSettings(1e6, 5e8, GRID.size, 1000.0)
    given = Circumstances(hookups, (0.2,) * len(hookups), settings, standard_terms())
    model = Model(read_budget(every_kind()), matrix, given)
    mixed = matrix if "/" in matrix.ports[0] else to_mixed_mode(matrix)
    traces = compute_traces(mixed, length_m=2.0)
    rng = np.random.default_rng(7)
    squares = np.zeros((len(traces), GRID.size))
    base = np.array([trace.value for trace in traces])
    draws = MANY_DRAWS if request.config.getoption("--thorough") else DRAWS
    for _ in range(draws):
        squares += (values(model.draw(rng)) - base) ** 2
    drawn = np.sqrt(squares / draws)
    ratios: dict[Parameter, list[float]] = {}
    for trace, scatter in zip(traces, drawn, strict=True):
        stated = model.standard_uncertainty(trace, np.arange(GRID.size))
        linear = stated < LARGEST_DB
        ratios.setdefault(trace.parameter, []).extend((scatter[linear] / stated[linear]).tolist())
    checked = {parameter: found for parameter, found in ratios.items() if found}
    assert len(checked) >= 11
    for parameter, found in checked.items():
        assert np.sqrt(np.mean(np.square(found))) == pytest.approx(1.0, abs=0.1), parameter
        # n draws tell a standard deviation to 1/sqrt(2 n): 6 % or 1.6 %; the extremes of some hundred points
        # go four times as far.
        assert np.abs(np.log(found)).max() < 0.06 + 4.0 / np.sqrt(2.0 * draws), parameter


def test_a_draw_is_repeatable_and_changes_nothing_without_errors() -> None:
    text = every_kind()
    one, other = (
        Model(read_budget(text), cord(), Circumstances()).draw(np.random.default_rng(3)) for _ in range(2)
    )
    assert np.array_equal(one.s, other.s)
    assert np.abs(one.s - cord().s).max() > 1e-4
    quiet = text[: text.index("[[term]]")] + (
        '[[term]]\nname = "none"\nkind = "contact"\nsource = "test"\nstanding = "from-memory"\n'
    )
    same = Model(read_budget(quiet), cord(), Circumstances(partial_hookups())).draw(np.random.default_rng(3))
    assert np.abs(same.s - cord().s).max() < 1e-12


def test_a_drawn_contact_is_the_network_of_a_series_resistor() -> None:
    """A straight wire of no length, R in all at its ends: s11 = R / (100 + R), s21 = 100 / (100 + R)."""
    wire = np.tile(np.array([[0.0, 1.0], [1.0, 0.0]], dtype=complex), (1, 1, 1))
    matrix = SMatrix(np.array([1e8]), wire, ("A:12.1", "B:12.1"), (50.0, 50.0))
    text = every_kind()
    only = text[: text.index("[[term]]")] + (
        '[[term]]\nname = "r"\nkind = "contact"\nsource = "test"\nstanding = "from-memory"\n'
        "resistance_ohm = 20.0\nat_calibration = false\n"
    )
    drawn = Model(read_budget(only), matrix, Circumstances()).draw(np.random.default_rng(1)).s[0]
    ohm = 20.0 * np.random.default_rng(1).standard_normal((2, 2))[0].sum()
    assert drawn[0, 0] == pytest.approx(ohm / (100.0 + ohm))
    assert drawn[1, 1] == pytest.approx(ohm / (100.0 + ohm))
    assert drawn[1, 0] == pytest.approx(100.0 / (100.0 + ohm))
