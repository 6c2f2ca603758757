"""The link to an instrument: messages, blocks, the error queue, and what to do when something goes wrong."""

from __future__ import annotations

import re
import time
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer, InstrumentTimeout, ScpiError
from benchsweep.instrument.links._blocks import read_block
from benchsweep.instrument.links._messages import carries_messages
from benchsweep.instrument.links._step import SteppedLink

__all__ = ["ERROR_ENTRY", "Link"]

ERROR_ENTRY = re.compile(r"""^\s*([+-]?[0-9]{1,9})\s*,\s*(?:"(.*)"|'(.*)'|(.*?))\s*$""")
"""An entry of the error queue: number, comma, text (SCPI-1999 vol. 2, SYSTem:ERRor)."""

# While probing, an answer such as "1,2,3" must not pass for an entry of the queue: that has words.
_QUEUE_TEXT = re.compile(r"""^\s*[+-]?[0-9]{1,9}\s*,\s*["']?[^"']*[A-Za-z]{2}""")
_QUEUE_CAP = 100
_INTERRUPTED = -410
# Status byte (IEEE 488.2 and SCPI-1999 vol. 1): bits.
_QUEUE_NOT_EMPTY = 0x04
_MESSAGE_AVAILABLE = 0x10
# How long a status byte that says nothing is believed while probing.
_GLIMPSE_S = 0.1


class Link(SteppedLink):
    """A link to an instrument that speaks SCPI: questions, blocks, and its error queue.

    Parameters
    ----------
    address
        VISA resource name, for messages.
    transport
        Where the bytes go.
    timeout_s
        How long an answer may take.
    """

    @carries_messages
    def write(self, *commands: str) -> None:
        """Send commands that have no answer, each as a message of its own.

        Raises
        ------
        LinkLost, InstrumentTimeout, UsageError
        """
        self._ready()
        with self._named("sending", commands):
            self._send(commands)

    @carries_messages
    def query(self, command: str, *, timeout_s: float | None = None) -> str:
        """Send one question and return its answer, stripped.

        Raises
        ------
        LinkLost, InstrumentTimeout, BadAnswer
        """
        self._ready()
        with self._exchange(command):
            self._send((command,))
            return self._receive(timeout_s)

    @carries_messages
    def query_doubles(
        self,
        command: str,
        *,
        little_endian: bool = True,
        count: int | None = None,
        timeout_s: float | None = None,
    ) -> NDArray[np.float64]:
        """Send one question that is answered by a definite-length block of 64-bit floats.

        Parameters
        ----------
        command
            The question.
        little_endian
            Byte order that was agreed with the instrument.
        count
            How many values must come; any number when None.
        timeout_s
            How long no byte may come; the link's own time when None.

        Returns
        -------
        ``(n,)`` float64.

        Raises
        ------
        LinkLost
            The connection dropped.
        InstrumentTimeout
            Nothing came at all.
        BadAnswer
            Not a definite-length block, a short one, or the wrong number of values.
        """
        self._ready()
        with self._exchange(command):
            self._send((command,))
            self._patience_s = self.timeout_s if timeout_s is None else timeout_s
            data = read_block(
                self._transport, self._patience_s, what=f"{self.address}: {command}", tail=self._tail
            )
        self._ring.received_block(data)
        if data.size % 8 or (count is not None and data.size != 8 * count):
            wanted = "a whole number of" if count is None else str(count)
            raise BadAnswer(
                f"{self.address}: {command}: block of {data.size} bytes ({data.size / 8:g} values), "
                f"expected {wanted} 64-bit values",
                hint="Point count, data format or trace list of the instrument differ from what was set. "
                + self._tail(),
            )
        values = data.view("<f8" if little_endian else ">f8")
        return values if values.dtype.isnative else values.astype(np.float64)

    @carries_messages
    def probe(self, command: str, *, patience_s: float = 0.5) -> tuple[str | None, str]:
        """Ask something that the instrument may not know.

        On a byte stream the question is followed by one for the error queue: either one line comes back (the
        error) or two (answer and queue); no time-out is needed. Where messages have boundaries the
        answer is awaited for `patience_s`, then the device is cleared and the queue is read.

        Returns
        -------
        The answer or None, and the first entry of the error queue as text.

        Raises
        ------
        LinkLost, InstrumentTimeout
        """
        self._ready()
        if not self.stream:
            return self._probe_messages(command, patience_s)
        with self._exchange(command):
            self._send((command, "SYST:ERR?"))
            first = self._receive(None)
            if _QUEUE_TEXT.match(first):
                return None, first
            return first, self._receive(None)

    @carries_messages
    def errors(self) -> tuple[tuple[int, str], ...]:
        """Read the error queue until it is empty (at most 100 entries).

        Returns
        -------
        ``(number, text)``, oldest first.

        Raises
        ------
        LinkLost, InstrumentTimeout
        BadAnswer
            An answer that is no entry of an error queue.
        """
        entries: list[tuple[int, str]] = []
        for _ in range(_QUEUE_CAP):
            answer = self.query("SYST:ERR?")
            match = ERROR_ENTRY.match(answer)
            if match is None:
                self._out_of_step = True
                raise BadAnswer(
                    f"{self.address}: SYST:ERR? was answered by {answer[:80]!r}",
                    hint="The instrument has no SCPI error queue, or answers are out of step. "
                    + self._tail(),
                )
            number = int(match[1])
            if number == 0:
                break
            text = next((group for group in match.groups()[1:] if group is not None), "")
            entries.append((number, text.replace('""', '"')))
        return tuple(entries)

    @carries_messages
    def write_checked(self, *commands: str, doing: str) -> None:
        """Send a group of commands, then read the error queue.

        Parameters
        ----------
        commands
            The group.
        doing
            What the group is for, in words: "setting the frequency grid".

        Raises
        ------
        ScpiError
            With every entry of the queue, the instrument's own text and the commands.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        self.write(*commands)
        self.check(doing, commands)

    @carries_messages
    def check(self, doing: str, commands: tuple[str, ...] = ()) -> None:
        """Read the error queue and raise when it held anything.

        Raises
        ------
        ScpiError
        """
        entries = self.errors()
        if not entries:
            return
        listed = "; ".join(f'{number},"{text}"' for number, text in entries)
        sent = "; ".join(commands) if len(commands) <= 12 else "; ".join((*commands[:10], "…", commands[-1]))
        raise ScpiError(
            f"{self.address}: {doing}: the instrument reports {listed}",
            entries=entries,
            commands=commands,
            hint=(f"Sent: {sent}. " if sent else "")
            + "Check that the instrument has the range and the options for this.",
        )

    def _probe_messages(self, command: str, patience_s: float) -> tuple[str | None, str]:
        """Ask, then let the status byte tell whether an answer waits, or an entry in the error queue.

        An instrument that uses neither bit is asked for its queue after a while. When no entry explains why
        there was no answer, or the queue tells that this question interrupted one (-410), the first question
        is asked again in peace.
        """
        status = self._status()
        if status is None:
            answer = self._patient(command, patience_s)
            return answer, _first(self.errors())
        if status & _QUEUE_NOT_EMPTY:
            self.errors()
            status = self._status() or 0
        with self._exchange(command):
            self._send((command,))
            waits = self._answer_waits(queue_was_empty=not status & _QUEUE_NOT_EMPTY)
            answer = self._receive(None) if waits else None
        if answer is not None:
            return answer, _first(self.errors())
        entries: tuple[tuple[int, str], ...] = ()
        with suppress(BadAnswer):  # the answer itself, come late
            entries = self.errors()
        if not entries or any(number == _INTERRUPTED for number, _ in entries):
            answer = self._patient(command, patience_s)
            entries = self.errors()
        return answer, _first(entries)

    def _patient(self, command: str, patience_s: float) -> str | None:
        with suppress(InstrumentTimeout):
            return self.query(command, timeout_s=patience_s)
        return None

    def _answer_waits(self, *, queue_was_empty: bool) -> bool:
        """Poll the status byte after a question: True when an answer waits, False when none will come."""
        deadline = time.monotonic() + _GLIMPSE_S
        pause = 0.0005
        told = 0
        while time.monotonic() < deadline:
            status = self._status() or 0
            if status & _MESSAGE_AVAILABLE:
                return True
            # Twice in a row: the entry and the answer of one question need not appear together.
            told = told + 1 if queue_was_empty and status & _QUEUE_NOT_EMPTY else 0
            if told > 1:
                return False
            time.sleep(pause)
            pause = min(2.0 * pause, 0.01)
        return False

    def _status(self) -> int | None:
        with self._named("reading the status byte", ()):
            return self._transport.status()


def _first(entries: tuple[tuple[int, str], ...]) -> str:
    return f'{entries[0][0]},"{entries[0][1]}"' if entries else '0,"No error"'
