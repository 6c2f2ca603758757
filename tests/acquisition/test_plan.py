"""Plans of hookups: what is attached where, and how much has to be moved."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.acquisition import make_calibration_plan, make_plan
from benchsweep.errors import HookupImpossible, UsageError
from benchsweep.records import BalancedPort, Plan, balanced_ports, parse_leg


def slots(places: int) -> list[tuple[int, int]]:
    return [(2 * place + 1, 2 * place + 2) for place in range(places)]


def attached(plan: Plan) -> list[dict[int, str]]:
    """For each hookup: first analyzer port of a place -> balanced port."""
    return [
        {port: str(parse_leg(leg).port) for port, leg in hookup.connections.items() if port % 2}
        for hookup in plan.hookups
    ]


def moves(plan: Plan) -> int:
    """Count what has to be attached anew, from what is attached alone."""
    total = 0
    before: dict[int, str] = {}
    for now in attached(plan):
        total += sum(before.get(place) != port for place, port in now.items())
        before = now
    return total


@pytest.mark.parametrize(("places", "hookups", "matings"), [(2, 28, 29), (4, 6, 14), (8, 1, 8), (9, 1, 8)])
def test_the_usual_benches(places: int, hookups: int, matings: int) -> None:
    plan = make_plan(slots(places), balanced_ports())
    assert len(plan.hookups) == hookups
    assert plan.matings == matings == moves(plan)
    assert [hookup.number for hookup in plan.hookups] == list(range(1, hookups + 1))


@given(
    places=st.integers(2, 8),
    wanted=st.lists(st.sampled_from(balanced_ports()), min_size=1, max_size=8, unique=True),
)
def test_every_two_wanted_ports_meet(places: int, wanted: list[BalancedPort]) -> None:
    plan = make_plan(slots(places), wanted)
    names = {str(port) for port in wanted}
    met = {pair for now in attached(plan) for pair in combinations(sorted(now.values()), 2)}
    assert met == set(combinations(sorted(names), 2))
    assert set().union(*(now.values() for now in attached(plan))) == names
    assert plan.matings == moves(plan)
    if len(wanted) <= places:
        assert len(plan.hookups) == 1


def test_sixteen_ports_leg_by_leg() -> None:
    (hookup,) = make_plan(slots(8), balanced_ports()).hookups
    assert list(hookup.connections.values()) == [
        "A:12.1", "A:12.2", "A:36.3", "A:36.6", "A:45.4", "A:45.5", "A:78.7", "A:78.8",
        "B:12.1", "B:12.2", "B:36.3", "B:36.6", "B:45.4", "B:45.5", "B:78.7", "B:78.8",
    ]  # fmt: skip


def test_positive_leg_is_on_the_first_port_of_its_place() -> None:
    plan = make_plan([(7, 2), (5, 9)], [BalancedPort("A", "36"), BalancedPort("B", "45")])
    assert dict(plan.hookups[0].connections) == {7: "A:36.3", 2: "A:36.6", 5: "B:45.4", 9: "B:45.5"}


def test_order_of_the_wanted_ports_does_not_matter() -> None:
    one = make_plan(slots(4), balanced_ports())
    other = make_plan(slots(4), tuple(reversed(balanced_ports())))
    assert attached(one) == attached(other)


@pytest.mark.parametrize("places", [0, 1])
def test_too_few_places(places: int) -> None:
    with pytest.raises(HookupImpossible, match="at least two") as caught:
        make_plan(slots(places), balanced_ports())
    assert caught.value.exit_code == 2
    assert "4" in caught.value.hint


@pytest.mark.parametrize(
    ("places", "wanted"),
    [
        ([(1, 2), (2, 3)], balanced_ports()),
        ([(1, 1), (2, 3)], balanced_ports()),
        ([(1, 2), (3, 4)], ()),
        ([(1, 2), (3, 4)], (BalancedPort("A", "12"), BalancedPort("A", "12"))),
    ],
)
def test_named_twice_or_nothing(places: list[tuple[int, int]], wanted: tuple[BalancedPort, ...]) -> None:
    with pytest.raises(UsageError):
        make_plan(places, wanted)


def test_calibration_plan() -> None:
    plan = make_calibration_plan((5, 3, 8))
    assert [dict(hookup.connections) for hookup in plan.hookups] == [
        {3: "open", 5: "open", 8: "open"},
        {3: "short", 5: "short", 8: "short"},
        {3: "load", 5: "load", 8: "load"},
        {3: "thru 5", 5: "thru 3"},
        {3: "thru 8", 8: "thru 3"},
    ]
    # Three standards at each of three ports, two ends of the first thru, one end of the second.
    assert plan.matings == 9 + 2 + 1


@pytest.mark.parametrize("ports", [16, 8, 4, 2])
def test_a_calibration_takes_three_standards_and_a_thru_less_than_ports(ports: int) -> None:
    plan = make_calibration_plan(range(1, ports + 1))
    assert len(plan.hookups) == 3 + ports - 1
    assert plan.matings == 4 * ports


def test_calibration_of_one_port_or_twice_the_same() -> None:
    with pytest.raises(HookupImpossible):
        make_calibration_plan((1,))
    with pytest.raises(UsageError):
        make_calibration_plan((1, 2, 2))


@pytest.mark.parametrize(("ports", "hookups"), [(2, 28), (4, 6), (8, 1)])
def test_baluns_take_one_analyzer_port_each(ports: int, hookups: int) -> None:
    plan = make_plan([(port,) for port in range(1, ports + 1)], balanced_ports(), baluns=True)
    assert len(plan.hookups) == hookups
    words = {word for hookup in plan.hookups for word in hookup.connections.values()}
    assert words == {f"{port}/d" for port in balanced_ports()}


def test_a_tapped_balun_brings_both_modes() -> None:
    plan = make_plan([(1, 2), (3, 4)], [BalancedPort("A", "12"), BalancedPort("B", "12")], baluns=True)
    assert [dict(hookup.connections) for hookup in plan.hookups] == [
        {1: "A:12/d", 2: "A:12/c", 3: "B:12/d", 4: "B:12/c"}
    ]


def test_calibration_behind_tapped_baluns() -> None:
    plan = make_calibration_plan(
        (1, 2, 3, 4), one_port=("open", "load"), two_port=("thru", "exchange"), taps={1: 2, 3: 4}
    )
    assert [dict(hookup.connections) for hookup in plan.hookups] == [
        dict.fromkeys((1, 2, 3, 4), "open"),
        dict.fromkeys((1, 2, 3, 4), "load"),
        {1: "thru 3", 3: "thru 1", 2: "thru 4", 4: "thru 2"},
        {1: "exchange 2", 2: "exchange 1"},
        {3: "exchange 4", 4: "exchange 3"},
    ]
    # Two standards on two baluns, both ends of one thru, the exchange standard on each balun.
    assert plan.matings == 4 + 2 + 2


def test_every_two_port_standard_joins_the_lowest_port_with_each_other() -> None:
    plan = make_calibration_plan((1, 2, 3), one_port=("reflect",), two_port=("thru", "line-1"))
    assert [dict(hookup.connections) for hookup in plan.hookups] == [
        dict.fromkeys((1, 2, 3), "reflect"),
        {1: "thru 2", 2: "thru 1"},
        {1: "thru 3", 3: "thru 1"},
        {1: "line-1 2", 2: "line-1 1"},
        {1: "line-1 3", 3: "line-1 1"},
    ]


def test_terminators_with_names_sit_on_every_port_that_is_not_attached() -> None:
    names = ("T1", "T2", "T3", "T4")
    plan = make_plan(slots(4), balanced_ports(), terminators=names)
    everything = {str(port) for port in balanced_ports()}
    before: dict[str, str] = {}
    for hookup, now in zip(plan.hookups, attached(plan), strict=True):
        assert set(hookup.terminations) == everything - set(now.values())
        assert sorted(hookup.terminations.values()) == list(names)
        stays = set(before) & set(hookup.terminations)
        assert all(before[port] == hookup.terminations[port] for port in stays)
        before = dict(hookup.terminations)
    with pytest.raises(UsageError, match="3 named terminators"):
        make_plan(slots(4), balanced_ports(), terminators=names[:3])
