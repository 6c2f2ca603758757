"""How a fault is armed and when it strikes; which faults there are stands with each device.

One fault is armed at a time. It strikes at the first occasion that fits it once the number of further
messages given with it has passed; messages to the bench itself (``BENCh:…``) do not count, nor does the error
queue that the arming connection reads right behind the arming. A fault that has struck is no longer armed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["DROP_LINK", "NO_FAULT", "FaultBox", "FaultKind"]

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


DROP_LINK = FaultKind(
    "any message: carried out, half of its answer sent, then the link is cut",
    "The network cable comes out in the middle of an answer. Opening again works at once.",
)


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
