"""A sweep that failed for a passing reason is repeated from its start, on a link that was opened anew."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import permutations
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchsweep.acquisition._switch import Done, Move, Switch
from benchsweep.acquisition._words import name_ports
from benchsweep.errors import InstrumentError
from benchsweep.records import Hookup, RawSweep, balanced_ports_among

__all__ = ["Repeats", "Sweeper", "describe_hookup", "overcome", "sweep_hookup"]

T = TypeVar("T")

_SHORTEST_PAUSE_S = 0.05
_LONGEST_PAUSE_S = 2.0
# A wait below this is not worth telling.
_TOLD_WAIT_S = 1.0
# What the sentence of a repeat says once already: the address of the instrument, and the hookup.
_SAID = re.compile(r"^(?:\S+::\S+: )?(?:(?:connecting )?hookup \d+(?: of \d+| again)?(?: on|:) )?")


class Sweeper(Protocol):
    """What is needed of an analyzer that has been configured."""

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """The grid, ``(n_freq,)``."""

    def sweep(self, ports: Sequence[int], *, switch_terms: Collection[tuple[int, int]] = ()) -> RawSweep:
        """Take one sweep, with the switch terms of (port, driven port)."""

    def restore(self) -> None:
        """Open the link again and make the same settings; one attempt."""


def _nothing(_: str) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Repeats:
    """How often a sweep is repeated, how long a lost link is waited for, and who is told.

    Parameters
    ----------
    retries
        How many times one hookup may be repeated; 0: never.
    wait_for_link_s
        How long after a failure the instruments may stay away before the run ends.
    progress
        Gets a line when the waiting begins.
    incident
        Gets one sentence for each repeat: which hookup, what happened, what was done.
    """

    retries: int = 2
    wait_for_link_s: float = 60.0
    progress: Callable[[str], None] = _nothing
    incident: Callable[[str], None] = _nothing


def sweep_hookup(
    hookup: Hookup,
    analyzer: Sweeper,
    switch: Switch,
    repeats: Repeats,
    *,
    total: int,
    switch_terms: bool = False,
) -> RawSweep | Move:
    """Connect one hookup and sweep it, repeating the whole sweep after a passing error.

    Nothing of a sweep that failed is kept: the data returned come from one sweep, on one link, with settings
    that were made on that link and connections that were asked for after it.

    Parameters
    ----------
    hookup
        What to connect.
    analyzer, switch
        Who sweeps, who connects.
    repeats
        The policy.
    total
        How many hookups there are in all.
    switch_terms
        Whether the analyzer measures those of joined ports, too: both of any two that a standard joins, of
        all ports where none does.

    Returns
    -------
    The sweep; or what a person wants instead of this hookup.

    Raises
    ------
    InstrumentError
        One that is not passing, the last of too many, or the instruments stayed away for too long.
    AcquisitionError
        The simulated bench has other connections.
    KeyboardInterrupt
        A person stopped.
    """
    name = f"hookup {hookup.number} of {total} ({describe_hookup(hookup)})"
    pairs = _joined(hookup) if switch_terms else ()
    connected = swept = False
    attempt = 0
    while True:
        try:
            if not connected:
                move = switch.connect(hookup, total=total)
                if not isinstance(move, Done):
                    return move
                connected = True
            swept = False
            sweep = analyzer.sweep(hookup.analyzer_ports, switch_terms=pairs)
            swept = True
            switch.confirm(hookup)
            return sweep
        except InstrumentError as error:
            attempt += 1
            if not error.passing or attempt > repeats.retries:
                raise
            failed = "analyzer" if connected and not swept else "switch"
            overcome(
                error,
                lambda: _restore(hookup, analyzer, switch),
                repeats,
                where=f"{name}: {failed}",
                again=f"the whole sweep was repeated on a fresh link (repeat {attempt} of {repeats.retries})",
            )


def overcome(
    error: InstrumentError, restore: Callable[[], T], repeats: Repeats, *, where: str, again: str
) -> T:
    """Try `restore` until the instruments answer again, and tell what happened as an incident.

    Parameters
    ----------
    error
        What happened.
    restore
        One attempt; opens links anew.
    repeats
        How long to go on trying, and who is told.
    where, again
        Where it happened and what is repeated, in words.

    Returns
    -------
    What `restore` returned.

    Raises
    ------
    InstrumentError
        One that is not passing, or the instruments stayed away for too long, which the message then says.
    """
    at, what = _now(), f"{where}: {_shortened(error)}"
    repeats.progress(f"{what}: opening the link again, for up to {repeats.wait_for_link_s:g} s")
    started = time.monotonic()
    restored = _patiently(restore, repeats.wait_for_link_s, started)
    waited_s = time.monotonic() - started
    after = f" {waited_s:.0f} s later" if waited_s >= _TOLD_WAIT_S else ""
    repeats.incident(f"{at} {what}; {again}{after}")
    return restored


_ON_PORTS = ("open", "short", "load", "reflect")


def describe_hookup(hookup: Hookup) -> str:
    """Return the things attached: balanced ports, or the standard and where it is."""
    names: dict[str, list[int]] = {}
    for port, target in hookup.connections.items():
        if target.startswith("thru "):
            name = "thru " + " - ".join(map(str, sorted((port, int(target.split()[1])))))
        elif target.startswith("check "):
            name = target.rpartition(" ")[0]
        else:
            legs = [] if "/" in target else balanced_ports_among([target])
            name = str(legs[0]) if legs else target
        names.setdefault(name, []).append(port)
    return ", ".join(
        f"{name} on {name_ports(ports)}" if name in _ON_PORTS or name.startswith("check ") else name
        for name, ports in names.items()
    )


def _joined(hookup: Hookup) -> tuple[tuple[int, int], ...]:
    """Return the pairs of ports that a standard joins, in both directions; all pairs where none does."""
    ends = ((port, target.split()) for port, target in hookup.connections.items())
    joined = [(port, int(words[1])) for port, words in ends if len(words) > 1 and words[1].isdecimal()]
    return tuple(joined or permutations(hookup.analyzer_ports, 2))


def _restore(hookup: Hookup, analyzer: Sweeper, switch: Switch) -> None:
    analyzer.restore()
    switch.restore(hookup)


def _patiently(action: Callable[[], T], longest_s: float, started: float) -> T:
    """Return what `action` returns, trying again after a passing error until the time is over."""
    pause_s = _SHORTEST_PAUSE_S
    while True:
        try:
            return action()
        except InstrumentError as error:
            waited_s = time.monotonic() - started
            left_s = longest_s - waited_s
            if error.passing and left_s <= 0.0:
                error.message = f"{error.message}; given up after {waited_s:.3g} s"
                error.args = (error.message,)
            if not error.passing or left_s <= 0.0:
                raise
        time.sleep(min(pause_s, left_s))
        pause_s = min(2.0 * pause_s, _LONGEST_PAUSE_S)


def _shortened(error: InstrumentError) -> str:
    return _SAID.sub("", error.message, count=1)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
