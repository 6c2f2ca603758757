"""The standard event status register: done, failed, switched on, a key pressed at the front panel."""

from __future__ import annotations

from benchsweep.errors import BadAnswer, PowerCycled
from benchsweep.instrument.links import Link

__all__ = ["COMPLETE", "ERRORS", "Events", "register"]

# Standard event status register (IEEE 488.2): bits.
COMPLETE = 0x01
ERRORS = 0x04 | 0x08 | 0x10 | 0x20
_USER_REQUEST = 0x40
_POWER_ON = 0x80


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
