"""Plans of bundles: what is covered, with how many hookups and matings, and what a person is told."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.acquisition import PersonSwitch, make_bundle_plan, make_plan
from benchsweep.acquisition._repeat import describe_hookup
from benchsweep.acquisition._words import describe
from benchsweep.errors import HookupImpossible, UsageError
from benchsweep.records import (
    BalancedPort,
    Hookup,
    Plan,
    balanced_ports,
    balanced_ports_among,
    parse_leg,
    parse_mode,
)


def slots(places: int) -> list[tuple[int, int]]:
    return [(2 * place + 1, 2 * place + 2) for place in range(places)]


def cables(hookup: Hookup) -> dict[int, list[BalancedPort]]:
    found: dict[int, list[BalancedPort]] = {}
    for port in balanced_ports_among(hookup.connections.values()):
        found.setdefault(port.cable, []).append(port)
    return found


def moves(plan: Plan) -> list[int]:
    """How many balanced ports each hookup attaches anew, from what is attached alone."""
    places = [
        {port: str(parse_leg(leg).port) for port, leg in hookup.connections.items() if port % 2}
        for hookup in plan.hookups
    ]
    return [
        sum(before.get(place) != port for place, port in now.items())
        for before, now in pairwise([{}, *places])
    ]


@settings(max_examples=25, deadline=None)
@given(places=st.integers(2, 17), disturbing=st.integers(1, 5))
def test_every_pair_meets_every_pair_of_every_other_cable_at_both_ends(places: int, disturbing: int) -> None:
    plan = make_bundle_plan(slots(places), disturbing)
    met: set[tuple[BalancedPort, BalancedPort]] = set()
    alone = []
    for hookup in plan.hookups:
        ports = cables(hookup)
        assert len(ports) <= 2
        assert 0 in ports
        met |= {(one, two) for one in ports[0] for key in ports if key for two in ports[key]}
        if list(ports) == [0]:
            alone.append(hookup)
    wanted = {
        (one, two)
        for one in balanced_ports()
        for cable in range(1, disturbing + 1)
        for two in balanced_ports(cable=cable)
    }
    assert met == wanted
    # The disturbed cable by itself comes first and is planned as any other specimen.
    ordinary = make_plan(slots(places), balanced_ports()).hookups
    assert [dict(h.connections) for h in plan.hookups[: len(alone)]] == [
        dict(h.connections) for h in ordinary
    ]
    assert [hookup.number for hookup in plan.hookups] == list(range(1, len(plan.hookups) + 1))
    assert sum(moves(plan)) == plan.matings


# The least: 64 couplings for each of six cables over those of one hookup (half of the places for each cable),
# after the 1, 6 or 28 hookups of the disturbed cable; one group moves each time, and two at the start.
@pytest.mark.parametrize(
    ("places", "hookups", "most_matings"),
    [
        (8, 1 + 6 * 4, 8 + 24 * 4),
        (4, 6 + 6 * 16, 14 + 96 * 2 + 2),
        (2, 28 + 6 * 64, 29 + 384 + 1),
        (16, 1 + 6, 8 + 6 * 8),
    ],
)
def test_the_usual_benches(places: int, hookups: int, most_matings: int) -> None:
    plan = make_bundle_plan(slots(places), 6)
    assert len(plan.hookups) == hookups
    assert plan.matings <= most_matings


def test_one_group_moves_at_a_time_and_cable_by_cable_is_finished() -> None:
    plan = make_bundle_plan(slots(8), 3)
    assert moves(plan) == [8] + [4] * 12
    seen = [max(cables(hookup)) for hookup in plan.hookups]
    assert seen == [0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3]
    # Both ends of both, near and far.
    ends = [
        {(port.cable, port.end) for port in balanced_ports_among(h.connections.values())}
        for h in plan.hookups
    ]
    for cable in (1, 2, 3):
        of_cable = [one for one in ends if (cable, "A") in one or (cable, "B") in one]
        assert {frozenset(one) for one in of_cable} == {
            frozenset({(0, end), (cable, other)}) for end in "AB" for other in "AB"
        }


def test_behind_baluns_modes_are_attached() -> None:
    single = make_bundle_plan([(n,) for n in range(1, 9)], 6, baluns=True)
    assert len(single.hookups) == 25
    assert dict(single.hookups[1].connections)[5] == "1.A:12/d"
    tapped = make_bundle_plan([(n, n + 1) for n in (1, 3, 5, 7)], 1, baluns=True)
    words = tapped.hookups[-1].connections.values()
    assert {parse_mode(word).mode for word in words} == {"d", "c"}
    assert len(tapped.hookups) == 6 + 16


def test_named_terminators_are_for_the_disturbed_cable_by_itself() -> None:
    names = ("T1", "T2", "T3", "T4")
    plan = make_bundle_plan(slots(4), 1, terminators=names)
    ordinary = make_plan(slots(4), balanced_ports(), terminators=names).hookups
    assert [dict(h.terminations) for h in plan.hookups[:6]] == [dict(h.terminations) for h in ordinary]
    assert all(not hookup.terminations for hookup in plan.hookups[6:])


@pytest.mark.parametrize("disturbing", [0, -1, 49])
def test_a_number_of_cables_that_is_none(disturbing: int) -> None:
    with pytest.raises(UsageError, match="there can be 1 to 48"):
        make_bundle_plan(slots(8), disturbing)


def test_one_place_is_not_enough() -> None:
    with pytest.raises(HookupImpossible, match="pairs of two cables"):
        make_bundle_plan(slots(1), 2)
    with pytest.raises(UsageError, match="more than one place"):
        make_bundle_plan([(1, 2), (2, 3)], 2)


def test_a_person_is_told_cables_and_ends() -> None:
    plan = make_bundle_plan(slots(8), 2)
    words = describe(plan.hookups[2], plan.hookups[1].connections, total=9)
    assert words.splitlines()[0] == "Hookup 3 of 9: end A of the disturbed cable, end B of disturbing cable 1"
    assert "Take analyzer ports 9 and 10 off 1.A:12 and put the terminations on 1.A:12." in words
    assert (
        "Attach analyzer port 9 to contact 1 and analyzer port 10 to contact 2 of 1.B:12 (end B of "
        "disturbing cable 1), in place of the terminations there." in words
    )
    assert (
        "Every contact of the bundle without an analyzer port carries its termination, at both ends" in words
    )
    assert "A:36.3" not in words  # what stays is not told
    baluns = make_bundle_plan([(n,) for n in range(1, 9)], 2, baluns=True)
    words = describe(baluns.hookups[1], baluns.hookups[0].connections, total=9)
    assert "Attach the balun of analyzer port 5 to 1.A:12 (end A of disturbing cable 1)" in words


def test_progress_names_the_ports() -> None:
    plan = make_bundle_plan(slots(2), 1)
    assert describe_hookup(plan.hookups[28]) == ", ".join(
        str(port) for port in balanced_ports_among(plan.hookups[28].connections.values())
    )


def test_a_reminder_comes_with_the_first_hookup() -> None:
    told: list[str] = []

    def prompt(words: str) -> str:
        told.append(words)
        return ""

    person = PersonSwitch(prompt)
    person.remind("All other cables carry terminations at both ends.")
    plan = make_bundle_plan(slots(8), 1)
    for hookup in plan.hookups[:2]:
        person.connect(hookup, total=5)
    assert "All other cables carry terminations" in told[0]
    assert "All other cables carry terminations" not in told[1]
