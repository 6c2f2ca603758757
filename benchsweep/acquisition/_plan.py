"""Which hookups a job needs, in which order. Pure: nothing is measured here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import get_args

from benchsweep.acquisition._cover import cover
from benchsweep.errors import HookupImpossible, UsageError
from benchsweep.records import FOUR_PAIRS, BalancedPort, Hookup, Mode, ModePort, Plan

__all__ = [
    "Slots",
    "attach",
    "blocks_for",
    "check_slots",
    "make_calibration_plan",
    "make_plan",
    "terminated",
]

EXCHANGE = "exchange"
"""The standard that turns the differential into the common mode: joins the two ports of one tapped balun."""


Slots = Sequence[Sequence[int]]
"""Analyzer ports of each place where a balanced port can be attached."""


def make_plan(
    slots: Slots,
    wanted: Sequence[BalancedPort],
    *,
    baluns: bool = False,
    terminators: Sequence[str] = (),
) -> Plan:
    """Plan the hookups during which every two of the wanted balanced ports are attached at once.

    A port that stays attached keeps its place, so that only moves count as matings.

    Parameters
    ----------
    slots
        Analyzer ports of each place where a balanced port can be attached: positive leg, negative leg; behind
        a balun the differential port and, where it has a tap, the common-mode port.
    wanted
        The balanced ports of the specimen.
    baluns
        The places are baluns.
    terminators
        Names of the terminators that balanced ports sit on while they are attached to no place; one stays
        where it is for as long as its port is not attached. Without names every port has one of its own.

    Returns
    -------
    One hookup when there are places enough; else a covering design: 6 hookups for eight balanced ports in
    four places, 28 in two.

    Raises
    ------
    UsageError
        A port named twice, none wanted, or fewer named terminators than ports that need one.
    HookupImpossible
        Fewer than two places, so that no two balanced ports can be measured together.
    """
    check_slots(slots)
    ports = sorted(wanted, key=lambda port: (port.end, FOUR_PAIRS.index(port.pair)))
    if not ports or len(set(ports)) != len(ports):
        raise UsageError(
            f"balanced ports wanted: {', '.join(map(str, ports)) or 'none'}: give at least one, each once"
        )
    plan = attach(slots, blocks_for(slots, ports), baluns=baluns)
    return terminated(plan, ports, terminators) if terminators else plan


def blocks_for(slots: Slots, ports: Sequence[BalancedPort]) -> tuple[tuple[BalancedPort, ...], ...]:
    """Return the ports that are attached together, hookup by hookup, so that every two are in one of them.

    Raises
    ------
    HookupImpossible
        Fewer than two places, so that no two balanced ports can be measured together.
    """
    if len(slots) < 2 and len(ports) > len(slots):
        raise HookupImpossible(
            f"the bench has {len(slots)} place(s) for balanced ports, {len(ports)} are wanted: at least two "
            "must be attached at once",
            hint="A place takes two analyzer ports, behind a balun one: use an analyzer with 4 or more, or "
            "baluns, or check the fixture.",
        )
    if len(ports) <= len(slots):
        return (tuple(ports),)
    return tuple(tuple(ports[at] for at in block) for block in cover(len(ports), len(slots)))


def make_calibration_plan(
    ports: Sequence[int],
    *,
    one_port: Sequence[str] = ("open", "short", "load"),
    two_port: Sequence[str] = ("thru",),
    taps: Mapping[int, int] | None = None,
    one_at_a_time: bool = False,
) -> Plan:
    """Plan a calibration: each one-port standard at all ports, then each two-port one between ports.

    A two-port standard joins the lowest port with each other one. Behind baluns with a tap it joins the
    balanced terminals, so that the differential ports are joined and with them the common-mode ports; only
    the standard ``exchange`` joins the two ports of one balun.

    Parameters
    ----------
    ports
        Analyzer ports.
    one_port, two_port
        Names of the standards, in the order of measuring.
    taps
        Differential port -> common-mode port of the same balun; empty without taps.
    one_at_a_time
        There is one piece of each one-port standard, which is led to one port after the other.

    Returns
    -------
    n + 2 hookups for n ports with open, short, load and thru, one at a time 4 n - 1; matings count single
    connectors.

    Raises
    ------
    UsageError
        A port named twice.
    HookupImpossible
        Fewer than two ports.
    """
    checked = sorted(ports)
    if len(set(checked)) != len(checked):
        raise UsageError(f"calibration of ports {list(ports)}: each port once")
    if len(checked) < 2:
        raise HookupImpossible(
            f"a calibration needs at least two analyzer ports, given {len(checked)}",
            hint="Check the ports of the fixture.",
        )
    tapped = {} if taps is None else dict(taps)
    common, *others = [port for port in checked if port not in tapped.values()]
    places = [[port, *([tapped[port]] if port in tapped else [])] for port in (common, *others)]
    together = places if one_at_a_time else [checked]
    connections = [dict.fromkeys(group, standard) for standard in one_port for group in together]
    for standard in two_port:
        if standard == EXCHANGE:
            connections += [_joined(standard, port, tap) for port, tap in tapped.items()]
            continue
        for other in others:
            made = _joined(standard, common, other)
            if common in tapped and other in tapped:
                made |= _joined(standard, tapped[common], tapped[other])
            connections.append(made)
    hookups = tuple(Hookup(number, made) for number, made in enumerate(connections, start=1))
    # A one-port standard on each place; both ends of the first two-port one, one end of each further one.
    once = sum(standard != EXCHANGE for standard in two_port)
    matings = len(one_port) * len(places) + once * (1 + len(others)) + (len(two_port) - once) * len(tapped)
    return Plan(hookups, matings)


def _joined(standard: str, one: int, other: int) -> dict[int, str]:
    return {one: f"{standard} {other}", other: f"{standard} {one}"}


def check_slots(slots: Slots) -> None:
    """Raise UsageError where an analyzer port belongs to two places."""
    used = [port for slot in slots for port in slot]
    twice = sorted({port for port in used if used.count(port) > 1})
    if twice:
        raise UsageError(
            f"analyzer port {', '.join(map(str, twice))} belongs to more than one place for a balanced port",
            hint="Check the slots of the fixture.",
        )


def _words_of_legs(port: BalancedPort) -> tuple[str, ...]:
    return tuple(map(str, port.legs))


def _words_behind_baluns(port: BalancedPort) -> tuple[str, ...]:
    return tuple(str(ModePort(port, mode)) for mode in get_args(Mode))


def attach(slots: Slots, blocks: Sequence[Sequence[BalancedPort]], *, baluns: bool) -> Plan:
    """Return a hookup for each block of ports; a port that stays attached keeps its place."""
    words = _words_behind_baluns if baluns else _words_of_legs
    attached: dict[int, BalancedPort] = {}  # by number of the place
    hookups = []
    matings = 0
    for number, block in enumerate(blocks, start=1):
        attached = {place: port for place, port in attached.items() if port in block}
        free = [place for place in range(len(slots)) if place not in attached]
        new = [port for port in block if port not in attached.values()]
        attached.update(zip(free, new, strict=False))
        matings += len(new)
        connections = {
            analyzer_port: word
            for place, port in attached.items()
            # A balun without a tap has no port for the second mode.
            for analyzer_port, word in zip(slots[place], words(port), strict=False)
        }
        hookups.append(Hookup(number, connections))
    return Plan(tuple(hookups), matings)


def terminated(plan: Plan, ports: Sequence[BalancedPort], terminators: Sequence[str]) -> Plan:
    """Put a terminator on every port that a hookup does not attach; none moves without need."""
    placed: dict[str, str] = {}
    hookups = []
    for hookup in plan.hookups:
        attached = {word.partition("/")[0].partition(".")[0] for word in hookup.connections.values()}
        bare = [str(port) for port in ports if str(port) not in attached]
        placed = {port: name for port, name in placed.items() if port in bare}
        spare = [name for name in terminators if name not in placed.values()]
        new = [port for port in bare if port not in placed]
        if len(new) > len(spare):
            raise UsageError(
                f"hookup {hookup.number} leaves {len(bare)} balanced ports unattached, and there are "
                f"{len(terminators)} named terminators",
                hint="Name more terminators in the fixture, or none, so that every port has its own.",
            )
        placed |= dict(zip(new, spare, strict=False))
        hookups.append(replace(hookup, terminations=placed))
    return Plan(tuple(hookups), plan.matings)
