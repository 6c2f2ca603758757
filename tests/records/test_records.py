from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.records import (
    CONTACTS_OF_PAIR,
    BalancedPort,
    Hookup,
    Parameter,
    SMatrix,
    Trace,
    balanced_ports,
    parse_leg,
)

GRID = np.array([1e6, 2e6, 3e6])


def matrix(ports: tuple[str, ...] = ("A:12.1", "A:12.2")) -> SMatrix:
    n = len(ports)
    s = np.arange(GRID.size * n * n).reshape(GRID.size, n, n) + 0j
    return SMatrix(GRID, s, ports, (50.0,) * n)


def test_entries_are_found_by_label_row_out_column_in() -> None:
    m = matrix()
    assert np.array_equal(m.at(out="A:12.2", into="A:12.1"), m.s[:, 1, 0])


def test_an_unknown_label_names_what_there_is() -> None:
    with pytest.raises(KeyError, match=r"A:12\.1"):
        matrix().at(out="B:12.1", into="A:12.1")


def test_arrays_cannot_be_changed() -> None:
    m = matrix()
    with pytest.raises(ValueError, match="read-only"):
        m.s[0, 0, 0] = 1


@pytest.mark.parametrize("grid", [[1e6, 1e6], [2e6, 1e6], [0.0, 1e6], [float("nan"), 1e6], []])
def test_a_grid_that_does_not_rise_is_refused(grid: list[float]) -> None:
    with pytest.raises(ValueError, match="rising"):
        SMatrix(np.array(grid), np.zeros((len(grid), 1, 1)), ("A:12.1",), (50.0,))


def test_a_wrong_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        SMatrix(GRID, np.zeros((3, 2, 3)), ("a", "b"), (50.0, 50.0))
    with pytest.raises(ValueError, match="label"):
        SMatrix(GRID, np.zeros((3, 2, 2)), ("a", "a"), (50.0, 50.0))


def test_a_trace_may_be_infinite_but_not_nan() -> None:
    assert Trace(Parameter.FEXT, "B", ("12", "36"), GRID, np.full(3, np.inf)).value[0] == np.inf
    with pytest.raises(ValueError, match="NaN"):
        Trace(Parameter.FEXT, "B", ("12", "36"), GRID, np.full(3, np.nan))


@given(st.sampled_from(balanced_ports()), st.sampled_from([0, 1]))
def test_leg_labels_are_read_back(port: BalancedPort, which: int) -> None:
    leg = port.legs[which]
    assert parse_leg(str(leg)) == leg
    assert leg.contact == CONTACTS_OF_PAIR[port.pair][which]


@given(st.text(max_size=12))
def test_no_text_is_taken_for_a_leg_that_is_none(text: str) -> None:
    try:
        leg = parse_leg(text)
    except ValueError:
        return
    assert str(leg) == text


def test_the_eight_contacts_are_each_in_one_pair() -> None:
    contacts = sorted(c for pair in CONTACTS_OF_PAIR.values() for c in pair)
    assert contacts == list(range(1, 9))


def test_hookup_ports_are_rising_and_fixed() -> None:
    hookup = Hookup(1, {3: "A:12.2", 1: "A:12.1"})
    assert hookup.analyzer_ports == (1, 3)
    with pytest.raises(TypeError):
        hookup.connections[5] = "open"  # type: ignore[index]
