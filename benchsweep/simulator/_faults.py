"""What can be made to go wrong on the bench, what a person would see of it, and how a fault is armed.

One fault is armed at a time. It strikes at the first occasion that fits it once the number of further
messages given with it has passed; messages to the bench itself (``BENCh:…``) do not count, nor does the error
queue that the arming connection reads right behind the arming. A fault that has struck is no longer armed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["ANALYZER_FAULTS", "NO_FAULT", "RELAY_FAULTS", "FaultBox", "FaultKind"]

NO_FAULT = "none"
_ERROR_QUERIES = ("SYST:ERR?", "SYSTEM:ERROR?", "SYST:ERR:NEXT?", "SYSTEM:ERROR:NEXT?", "SYST:ERR:COUN?")


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One thing that can go wrong.

    Parameters
    ----------
    strikes
        The occasion that it waits for.
    seen
        What a person at a real bench would see.
    seconds
        How long it lasts when nobody says; 0: it has no length.
    """

    strikes: str
    seen: str
    seconds: float = 0.0


_DROP_LINK = FaultKind(
    "any message: carried out, half of its answer sent, then the link is cut",
    "The network cable comes out in the middle of an answer. Opening again works at once.",
)

ANALYZER_FAULTS: Mapping[str, FaultKind] = {
    "setting-refused": FaultKind(
        "a command with a value",
        "The setting is not taken. Nothing shows it but -221 in the error queue.",
    ),
    "option-missing": FaultKind(
        "a command with a value",
        "The analyzer lacks the option that the setting needs: -241 in the error queue, nothing else.",
    ),
    "rounded-setting": FaultKind(
        "a frequency that is set",
        "The hardware cannot tune to the frequency asked for and silently takes one 0.01 % above it.",
    ),
    "late-answer": FaultKind(
        "an answer",
        "The analyzer is busy with itself; the answer comes when nobody waits for it any more, and behind it "
        "the answers to what was asked meanwhile.",
        0.6,
    ),
    "no-answer": FaultKind("an answer", "The analyzer swallows the question; its answer never comes."),
    "missing-newline": FaultKind(
        "an answer",
        "The answer comes without the line feed behind it: on a stream its reader goes on waiting, where "
        "messages have ends nobody notices.",
    ),
    "sweep-never-ends": FaultKind(
        "a sweep", "The trigger is lost: the sweep hangs, and only ABORt or a reset ends it."
    ),
    "drop-link": _DROP_LINK,
    "truncate-block": FaultKind(
        "a data block", "Half of a block arrives and then nothing; the link stays open."
    ),
    "garbage-before-block": FaultKind(
        "a data block", "Characters left over in the output buffer come before the block."
    ),
    "garbage-after-block": FaultKind(
        "a data block", "Characters come between the last byte of the block and the end of the answer."
    ),
    "wrong-count": FaultKind("data", "The analyzer hands out one point less than was swept."),
    "swapped-bytes": FaultKind("a binary data block", "The byte order is not the one that was set."),
    "invalid-points": FaultKind("a sweep", "Some points are not a number: 9.91e37."),
    "overload": FaultKind(
        "a sweep",
        "A receiver is overdriven: points of 9.9e37 or far above 1, and a bit in the questionable status "
        "that goes with the next good sweep.",
    ),
    "stale-data": FaultKind(
        "a sweep", "Completion is reported though nothing was swept: the data are those of the sweep before."
    ),
    "port-not-driven": FaultKind(
        "a sweep", "The source switch fails for one port: its column is zero or left over from before."
    ),
    "instrument-error": FaultKind(
        "a sweep", "The sweep ends and its data look good, but a receiver reported a failure: -300."
    ),
    "hung-until-clear": FaultKind(
        "any message",
        "The remote interface of this connection hangs and swallows everything until a device clear, or "
        "until the connection is opened anew.",
    ),
    "front-panel": FaultKind(
        "any message",
        "Somebody turns the knob: the IF bandwidth, the number of points or the start frequency is another, "
        "and the user request bit of the event status register is set.",
    ),
    "second-controller": FaultKind(
        "an answer",
        "Another program uses the analyzer too: it changes the stop frequency or the points, and it takes "
        "the answer to somebody else's question.",
    ),
    "power-cycle": FaultKind(
        "any message",
        "The mains fail for a moment: every link ends, nobody is let in while the analyzer starts, and then "
        "all settings are those of the preset and the power-on bit is set.",
        0.3,
    ),
    "queue-overflow": FaultKind(
        "any message", "So many errors at once that the queue ends in -350 and the rest is lost."
    ),
    "correction-on": FaultKind(
        "any message while nothing is swept", "The analyzer's own correction has been switched on."
    ),
    "extension-on": FaultKind(
        "any message while nothing is swept",
        "A port extension of 20 to 100 ps at every port has been switched on.",
    ),
}

RELAY_FAULTS: Mapping[str, FaultKind] = {
    "relay-stuck-open": FaultKind(
        "a relay that is told to close",
        "Its coil or contact has failed: it stays open from then on. The read-back says so.",
    ),
    "relay-stuck-closed": FaultKind(
        "a closed relay that is told to open",
        "Its contact has welded: it stays closed from then on. The read-back says so.",
    ),
    "drop-link": _DROP_LINK,
}


class FaultBox:
    """The armed fault of a device.

    Parameters
    ----------
    kinds
        The faults that this device knows.
    """

    def __init__(self, kinds: Mapping[str, FaultKind]) -> None:
        self.kinds = kinds
        self.armed = NO_FAULT
        self.seconds = 0.0
        self.struck = 0
        self._to_pass = 0
        self._live = False
        self._armed_by: object = None

    def arm(self, name: str, after: int, seconds: float | None, session: object) -> None:
        """Arm a fault of `kinds`, or none.

        Parameters
        ----------
        after
            How many messages pass before it may strike.
        seconds
            How long it lasts; None: as long as usual.
        session
            Whoever arms it.
        """
        self.armed = name
        self._to_pass = after
        self._live = after == 0
        self._armed_by = session
        if name != NO_FAULT:
            self.seconds = self.kinds[name].seconds if seconds is None else seconds

    def count(self, message: str, session: object, *, bench: bool) -> bool:
        """Take note of a message, and return whether a fault may strike it.

        Parameters
        ----------
        bench
            True for a message to the bench itself.
        """
        if self.armed == NO_FAULT or bench or not message.strip():
            return False
        if session is self._armed_by:
            if message.strip().lstrip(":").upper() in _ERROR_QUERIES:
                return False
            self._armed_by = None
        if self._to_pass > 0:
            self._to_pass -= 1
            return False
        self._live = True
        return True

    def take(self, *names: str) -> str:
        """Return and disarm the armed fault when it is one of `names` and its time has come, else ``""``."""
        if not self._live or self.armed not in names:
            return ""
        name, self.armed = self.armed, NO_FAULT
        self._live = False
        self.struck += 1
        return name
