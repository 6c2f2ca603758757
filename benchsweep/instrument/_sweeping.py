"""Run one sweep and wait for its end, never longer than it can take."""

from __future__ import annotations

import time
from contextlib import suppress

from benchsweep.errors import BenchsweepError, InstrumentTimeout
from benchsweep.instrument._status import COMPLETE, ERRORS, Events
from benchsweep.instrument.families import SWEEP, Family

__all__ = ["run_sweep"]

_TIMEOUT_FACTOR = 3.0
_SHORTEST_POLL_S = 0.001
_LONGEST_POLL_S = 0.1
# The end is looked for this much before it was seen last time, so that one slow sweep does not make all
# later ones seem as slow.
_EARLY_S = 0.005
_EARLY_SHARE = 0.1


def run_sweep(
    events: Events,
    family: Family,
    averages: int,
    expected_s: float,
    minimum_timeout_s: float,
    usual_s: float | None = None,
) -> None:
    """Take one sweep, averages included, and leave the analyzer in hold.

    Parameters
    ----------
    events
        The status register of the instrument.
    expected_s
        How long the whole must take.
    minimum_timeout_s
        It may take three times as long and this.
    usual_s
        How long the same took last time; the end is looked for most closely around then.

    Raises
    ------
    InstrumentTimeout
        The sweep did not end; it has been aborted.
    NotSupported, ScpiError, PowerCycled, BadAnswer, LinkLost
    """
    link = events.link
    steps = SWEEP[family.behaviours.sweep](family, averages)
    started = time.monotonic()
    limit_s = _TIMEOUT_FACTOR * expected_s + minimum_timeout_s
    whole_s = expected_s
    if usual_s is not None:
        whole_s = min(expected_s, usual_s - min(_EARLY_S, _EARLY_SHARE * usual_s))
    try:
        for count, commands in enumerate(steps.rounds, start=1):
            link.write(*commands, "*OPC")
            _wait(events, commands, started, whole_s * count / len(steps.rounds), expected_s, limit_s)
        if steps.rest:
            link.write(*steps.rest)
            if events.read() & ERRORS:
                link.check("going back into hold", steps.rest)
    except BaseException:
        # Whatever ended the waiting, the keyboard included: the analyzer must not go on sweeping.
        with suppress(BenchsweepError):
            link.write(*family.fill("abort"), *family.fill("hold"))
            link.errors()
        raise


def _wait(
    events: Events, commands: tuple[str, ...], started: float, due_s: float, expected_s: float, limit_s: float
) -> None:
    pause = _SHORTEST_POLL_S
    while True:
        status = events.read()
        if status & ERRORS:
            events.link.check("sweeping", commands)
        elapsed = time.monotonic() - started
        if status & COMPLETE:
            return
        if elapsed > limit_s:
            raise InstrumentTimeout(
                f"{events.link.address}: the sweep did not end: {elapsed:.1f} s passed, "
                f"{expected_s:.3g} s were expected",
                hint="The sweep was aborted. Check the trigger, then measure again.",
            )
        # Ever more rarely while the sweep must be running, then often again from its expected end on.
        if elapsed < due_s:
            pause = min(2.0 * pause, _LONGEST_POLL_S, due_s - elapsed)
        else:
            pause = min(0.2 * (elapsed - due_s), _LONGEST_POLL_S)
        time.sleep(max(pause, _SHORTEST_POLL_S))
