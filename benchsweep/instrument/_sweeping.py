"""Run one sweep and wait for its end, never longer than it can take."""

from __future__ import annotations

import time
from contextlib import suppress

from benchsweep.errors import BadAnswer, BenchsweepError, InstrumentTimeout, PowerCycled
from benchsweep.instrument._behaviours import SWEEP
from benchsweep.instrument._family import Family
from benchsweep.instrument.links import Link

__all__ = ["COMPLETE", "ERRORS", "Events", "register", "run_sweep", "switched_on"]

# Standard event status register (IEEE 488.2): bits.
COMPLETE = 0x01
ERRORS = 0x04 | 0x08 | 0x10 | 0x20
_USER_REQUEST = 0x40
_POWER_ON = 0x80

_TIMEOUT_FACTOR = 3.0
_SHORTEST_POLL_S = 0.001
_LONGEST_POLL_S = 0.1


class Events:
    """The standard event status register of the instrument behind a link. Reading it clears it.

    Parameters
    ----------
    link
        The link.

    Attributes
    ----------
    user_request : bool
        Somebody pressed a key at the front panel since this was last set False.
    """

    def __init__(self, link: Link) -> None:
        self.link = link
        self.user_request = False

    def read(self) -> int:
        """Return the register.

        Raises
        ------
        PowerCycled
            The instrument was switched on since the register was last read.
        BadAnswer
        """
        status = register(self.link.address, self.link.query("*ESR?"))
        self.user_request = self.user_request or bool(status & _USER_REQUEST)
        if status & _POWER_ON:
            raise PowerCycled(
                f"{self.link.address}: the analyzer was switched off and on since it was set up",
                hint="Let it warm up, then start again; the calibration must be repeated.",
            )
        return status


def register(address: str, answer: str) -> int:
    """Return an answer to ``*ESR?`` as a number.

    Raises
    ------
    BadAnswer
    """
    if not answer.removeprefix("+").isdecimal() or int(answer) > 0xFF:
        raise BadAnswer(
            f"{address}: *ESR? was answered by {answer[:80]!r}, expected a whole number up to 255",
            hint="Answers are out of step, or the instrument does not follow IEEE 488.2.",
        )
    return int(answer)


def switched_on(address: str, answer: str) -> bool:
    """Tell whether an answer to ``*ESR?`` says that the instrument was switched on since the last."""
    return bool(register(address, answer) & _POWER_ON)


def run_sweep(
    events: Events, family: Family, averages: int, expected_s: float, minimum_timeout_s: float
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
    try:
        for count, commands in enumerate(steps.rounds, start=1):
            link.write(*commands, "*OPC")
            _wait(events, commands, started, expected_s * count / len(steps.rounds), expected_s, limit_s)
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
