"""Which hookups a job needs, in which order. Pure: nothing is measured here."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.acquisition._cover import cover
from benchsweep.errors import HookupImpossible, UsageError
from benchsweep.records import FOUR_PAIRS, BalancedPort, Hookup, Plan

__all__ = ["make_calibration_plan", "make_plan"]


def make_plan(slots: Sequence[tuple[int, int]], wanted: Sequence[BalancedPort]) -> Plan:
    """Plan the hookups during which every two of the wanted balanced ports are attached at once.

    A port that stays attached keeps its place, so that only moves count as matings.

    Parameters
    ----------
    slots
        Analyzer ports (positive leg, negative leg) of each place where a balanced port can be attached.
    wanted
        The balanced ports of the specimen.

    Returns
    -------
    One hookup when there are places enough; else a covering design: 6 hookups for eight balanced ports in
    four places, 28 in two.

    Raises
    ------
    UsageError
        A port named twice, or none wanted.
    HookupImpossible
        Fewer than two places, so that no two balanced ports can be measured together.
    """
    _check_slots(slots)
    ports = sorted(wanted, key=lambda port: (port.end, FOUR_PAIRS.index(port.pair)))
    if not ports or len(set(ports)) != len(ports):
        raise UsageError(
            f"balanced ports wanted: {', '.join(map(str, ports)) or 'none'}: give at least one, each once"
        )
    if len(slots) < 2 and len(ports) > len(slots):
        raise HookupImpossible(
            f"the bench has {len(slots)} place(s) for balanced ports, {len(ports)} are wanted: at least two "
            "must be attached at once",
            hint="A place takes two analyzer ports: use an analyzer with 4 or more, or check the fixture.",
        )
    if len(ports) <= len(slots):
        blocks: tuple[tuple[int, ...], ...] = (tuple(range(len(ports))),)
    else:
        blocks = cover(len(ports), len(slots))
    return _attach(slots, ports, blocks)


def make_calibration_plan(ports: Sequence[int], *, one_at_a_time: bool = False) -> Plan:
    """Plan a calibration: all open, all short, all load, then a thru from the lowest port to each other one.

    Parameters
    ----------
    ports
        Analyzer ports.
    one_at_a_time
        There is one open, one short and one load, which are led to one port after the other.

    Returns
    -------
    n + 2 hookups for n ports, one at a time 4 n - 1; matings count single connectors.

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
    common, *others = checked
    together = [[port] for port in checked] if one_at_a_time else [checked]
    connections = [
        dict.fromkeys(group, standard) for standard in ("open", "short", "load") for group in together
    ]
    connections += [{common: f"thru {other}", other: f"thru {common}"} for other in others]
    hookups = tuple(Hookup(number, made) for number, made in enumerate(connections, start=1))
    # Three standards on each port, both ends of the first thru, one end of each further one.
    return Plan(hookups, matings=3 * len(checked) + 1 + len(others))


def _check_slots(slots: Sequence[tuple[int, int]]) -> None:
    used = [port for slot in slots for port in slot]
    twice = sorted({port for port in used if used.count(port) > 1})
    if twice:
        raise UsageError(
            f"analyzer port {', '.join(map(str, twice))} belongs to more than one place for a balanced port",
            hint="Check the slots of the fixture.",
        )


def _attach(
    slots: Sequence[tuple[int, int]], ports: Sequence[BalancedPort], blocks: Sequence[Sequence[int]]
) -> Plan:
    attached: dict[int, int] = {}  # place -> port, by index
    hookups = []
    matings = 0
    for number, block in enumerate(blocks, start=1):
        attached = {place: port for place, port in attached.items() if port in block}
        free = [place for place in range(len(slots)) if place not in attached]
        new = [port for port in block if port not in attached.values()]
        attached.update(zip(free, new, strict=False))
        matings += len(new)
        connections = {
            analyzer_port: str(leg)
            for place, port in attached.items()
            for analyzer_port, leg in zip(slots[place], ports[port].legs, strict=True)
        }
        hookups.append(Hookup(number, connections))
    return Plan(tuple(hookups), matings)
