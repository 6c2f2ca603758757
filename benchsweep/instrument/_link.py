"""The link to an instrument: messages, blocks, the error queue, and what to do when something goes wrong."""

from __future__ import annotations

import itertools
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer, InstrumentError, InstrumentTimeout, LinkLost, ScpiError, UsageError
from benchsweep.instrument._blocks import read_block
from benchsweep.instrument._messages import Message, MessageRing, carries_messages, make_printable
from benchsweep.instrument._translate import translate
from benchsweep.instrument._transport import LineTooLong, Stalled, Transport

__all__ = ["ERROR_ENTRY", "Link"]

ERROR_ENTRY = re.compile(r"""^\s*([+-]?\d+)\s*,\s*(?:"(.*)"|'(.*)'|(.*?))\s*$""")
"""An entry of the error queue: number, comma, text (SCPI-1999 vol. 2, SYSTem:ERRor)."""

_QUEUE_CAP = 100
# Values for *ESE that are no single status bit, so that a late answer to a status query is not taken for one.
_TOKENS = tuple(n for n in range(19, 256) if n.bit_count() >= 3)


class Link:
    """A link on which questions and answers stay in step.

    An exchange that did not end as it should (time-out, garbage, an interrupt from the keyboard) leaves the
    link out of step: an answer may still be on its way. Before it is used again it is brought back with a
    question whose answer is recognisable, or the use is refused. A lost connection stays lost.

    Parameters
    ----------
    address
        VISA resource name, for messages.
    transport
        Where the bytes go.
    timeout_s
        How long an answer may take.
    """

    def __init__(self, address: str, transport: Transport, timeout_s: float) -> None:
        self.address = address
        self.timeout_s = timeout_s
        self._transport = transport
        self._ring = MessageRing()
        self._out_of_step = False
        self._lost = ""
        self._patience_s = timeout_s
        self._tokens = itertools.cycle(_TOKENS)

    @property
    def stream(self) -> bool:
        """True for a byte stream without message boundaries (raw TCP)."""
        return self._transport.stream

    def recent(self) -> tuple[Message, ...]:
        """Return the last 200 messages, oldest first."""
        return self._ring.all()

    def messages(self) -> tuple[str, ...]:
        """Return the last 200 messages as lines of text with their times, oldest first."""
        return tuple(item.line() for item in self._ring.all())

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
            if ERROR_ENTRY.match(first):
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

    @carries_messages
    def resynchronise(self) -> None:
        """Bring questions and answers back into step.

        Raises
        ------
        InstrumentTimeout
            Not possible in time; the link stays refused until it is.
        LinkLost
        """
        self._refuse_lost()
        self._out_of_step = True
        with self._named("bringing the answers back into step", ()):
            self._transport.clear()
            for _ in range(3):
                if self._token_came():
                    self._send(("*ESE 0",))
                    self._out_of_step = False
                    self._ring.note("answers are back in step")
                    return
        raise InstrumentTimeout(
            f"{self.address}: answers do not belong to the questions any more, and stay so",
            hint="Close the link and start again; is another program using this connection? " + self._tail(),
        )

    @carries_messages
    def close(self) -> None:
        """Close the link; it cannot be used after that. Harmless when closed already."""
        if not self._lost:
            self._lost = "the link is closed"
        with self._named("closing", ()):
            self._transport.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _probe_messages(self, command: str, patience_s: float) -> tuple[str | None, str]:
        try:
            answer: str | None = self.query(command, timeout_s=patience_s)
        except InstrumentTimeout:
            answer = None
        entries = self.errors()
        return answer, f'{entries[0][0]},"{entries[0][1]}"' if entries else '0,"No error"'

    def _token_came(self) -> bool:
        token = str(next(self._tokens))
        self._send((f"*ESE {token};*ESE?",))
        deadline = time.monotonic() + self.timeout_s
        while True:
            try:
                raw = self._transport.read_line(max(0.001, deadline - time.monotonic()))
            except LineTooLong:
                continue
            line = raw.decode("ascii", "replace").strip()
            self._ring.received(line)
            if line.lstrip("+") == token:
                return True
            if line.endswith(token):
                # The rest of a broken block stuck to it: ask once more with another token.
                return False

    def _ready(self) -> None:
        self._refuse_lost()
        if self._out_of_step:
            self.resynchronise()

    def _refuse_lost(self) -> None:
        if self._lost:
            raise LinkLost(
                f"{self.address}: {self._lost}", hint="Open the link again and set everything up anew."
            )

    def _send(self, commands: tuple[str, ...]) -> None:
        for command in commands:
            if not command or "\n" in command or "\r" in command:
                raise UsageError(
                    f"{self.address}: not one line: {command[:80]!r}", hint="Send each command by itself."
                )
            self._ring.sent(command)
        if self.stream:
            self._transport.send(("\n".join(commands) + "\n").encode("utf-8"), self.timeout_s)
            return
        for command in commands:
            self._transport.send((command + "\n").encode("utf-8"), self.timeout_s)

    def _receive(self, timeout_s: float | None) -> str:
        self._patience_s = self.timeout_s if timeout_s is None else timeout_s
        raw = self._transport.read_line(self._patience_s)
        answer = make_printable(raw.decode("utf-8", "backslashreplace").strip())
        self._ring.received(answer)
        return answer

    @contextmanager
    def _exchange(self, command: str) -> Iterator[None]:
        """Keep the link marked out of step until the exchange has ended well."""
        self._out_of_step = True
        with self._named("asking", (command,)):
            yield
        self._out_of_step = False

    @contextmanager
    def _named(self, doing: str, commands: tuple[str, ...]) -> Iterator[None]:
        """Give whatever the transport raises our name, and remember a lost connection."""
        what = f"{doing} {commands[0]}" if commands else doing
        try:
            yield
        except (InstrumentError, UsageError) as ours:
            self._remember(ours)
            raise
        except Stalled as stalled:
            named = self._stalled(stalled, what)
            self._remember(named)
            raise named from stalled
        except LineTooLong as long:
            raise BadAnswer(
                f"{self.address}: {what}: more than 1 MiB came without an end of line",
                hint="Is this an instrument at all? " + self._tail(),
            ) from long
        except Exception as raised:  # the border: VISA backends raise plain Exception too
            named = translate(raised, address=self.address, doing=what, hint=self._tail())
            self._remember(named)
            raise named from raised

    def _stalled(self, stalled: Stalled, what: str) -> InstrumentError:
        if stalled.closed:
            return LinkLost(
                f"{self.address}: {what}: the instrument closed the connection",
                hint="Check that it is on and that no other program took it over; then start again. "
                + self._tail(),
            )
        return InstrumentTimeout(
            f"{self.address}: {what}: no answer within {self._patience_s:g} s",
            hint="Is the instrument busy, or does it not know this question? " + self._tail(),
        )

    def _remember(self, error: Exception) -> None:
        self._ring.note(str(error)[:120])
        if isinstance(error, LinkLost) and not self._lost:
            self._lost = "the connection was lost before"

    def _tail(self) -> str:
        return f"Last messages: {self._ring.tail()}"
