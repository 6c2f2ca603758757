"""Which hookups a bundle needs: those of the disturbed cable, then each disturbing cable beside it.

Alien crosstalk is read between a pair of the disturbed cable and a pair of one other, at either end of each,
so every balanced port of the one must be attached together with every one of the other. Two of a disturbing
cable need not meet, nor two disturbing cables. With k places a hookup of i places for the disturbed cable and
k - i for the other covers i (k - i) of the 64 couplings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from benchsweep.acquisition._plan import Slots, attach, blocks_for, check_slots, terminated
from benchsweep.errors import HookupImpossible, UsageError
from benchsweep.records import BalancedPort, Plan, balanced_ports

__all__ = ["check_disturbing", "make_bundle_plan"]

_MOST_DISTURBING = 48  # more than lie in three rings around the one in the middle
_PORTS = 8

Group = tuple[BalancedPort, ...]


def check_disturbing(disturbing: int) -> None:
    """Refuse a number of disturbing cables that is none.

    Raises
    ------
    UsageError
    """
    if not 1 <= disturbing <= _MOST_DISTURBING:
        raise UsageError(
            f"{disturbing} disturbing cables: there can be 1 to {_MOST_DISTURBING}",
            hint="Give how many cables lie beside the disturbed one; in a bundle of seven six do.",
        )


def make_bundle_plan(
    slots: Slots,
    disturbing: int,
    *,
    baluns: bool = False,
    terminators: Sequence[str] = (),
) -> Plan:
    """Plan the hookups of a bundle: from one to the next one group moves, and cable by cable is finished.

    Parameters
    ----------
    slots, baluns, terminators
        See `make_plan`. Terminators that have names are for the disturbed cable while it is measured by
        itself: in all other hookups every contact of the bundle sits on the usual termination.
    disturbing
        How many cables lie beside the disturbed one.

    Returns
    -------
    The hookups of `make_plan` for the disturbed cable (``A:12`` … ``B:78``), then those with disturbing cable
    1 (``1.A:12`` …), 2 and so on: 4 for each with eight places, 16 with four, 64 with two.

    Raises
    ------
    UsageError
        A number of disturbing cables that is none, or as `make_plan`.
    HookupImpossible
        Fewer than two places.
    """
    check_disturbing(disturbing)
    check_slots(slots)
    if len(slots) < 2:
        raise HookupImpossible(
            f"the bench has {len(slots)} place(s) for balanced ports: pairs of two cables cannot be attached "
            "at once",
            hint="A place takes two analyzer ports, behind a balun one: use an analyzer with more ports.",
        )
    disturbed = balanced_ports()
    alone = blocks_for(slots, disturbed)
    made = (
        attach(slots, (*alone, *_beside(own, len(slots) - own, disturbing, turned)), baluns=baluns)
        for own in _shares(len(slots))
        for turned in (False, True)
    )
    plan = min(made, key=lambda one: one.matings)
    if not terminators:
        return plan
    first = Plan(plan.hookups[: len(alone)], plan.matings)
    own_hookups = terminated(first, disturbed, terminators).hookups
    return replace(plan, hookups=(*own_hookups, *plan.hookups[len(alone) :]))


def _shares(places: int) -> list[int]:
    """Return with how many places for the disturbed cable the hookups are fewest; even shares first."""

    def hookups(own: int) -> int:
        return -(-_PORTS // min(own, _PORTS)) * -(-_PORTS // min(places - own, _PORTS))

    fewest = min(map(hookups, range(1, places)))
    best = [own for own in range(1, min(places, _PORTS + 1)) if hookups(own) == fewest]
    return sorted(best, key=lambda own: abs(2 * own - places))


def _beside(own: int, of_other: int, disturbing: int, turned: bool) -> Iterator[Group]:
    """Return what is attached together for each disturbing cable; `turned`: begin with the other end."""
    rows = _groups(balanced_ports(), own)
    rows = rows[::-1] if turned else rows
    for cable in range(1, disturbing + 1):
        columns = _groups(balanced_ports(cable=cable), of_other)
        # The smaller group moves more often; of two alike the disturbed cable stays.
        if own < of_other:
            order = [(row, column) for column, row in _in_turns(columns, rows)]
        else:
            order = _in_turns(rows, columns)
        yield from ((*row, *column) for row, column in order)
        # The disturbed cable stays as it is while the next one takes the place of this.
        rows = rows[::-1] if order[-1][0] == rows[-1] else rows


def _in_turns(outer: Sequence[Group], inner: Sequence[Group]) -> list[tuple[Group, Group]]:
    """Return every one of `outer` with every one of `inner`; from one to the next a single group changes."""
    return [
        (slow, fast) for number, slow in enumerate(outer) for fast in (inner[::-1] if number % 2 else inner)
    ]


def _groups(ports: Sequence[BalancedPort], size: int) -> list[Group]:
    """Return `ports` in as few groups as there must be, about as large as each other."""
    count = -(-len(ports) // size)
    bounds = [round(at * len(ports) / count) for at in range(count + 1)]
    return [tuple(ports[low:high]) for low, high in pairwise(bounds)]
