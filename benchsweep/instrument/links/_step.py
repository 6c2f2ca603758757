"""Questions and answers in step: whatever happens, no answer is taken for that of another question."""

from __future__ import annotations

import itertools
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

from benchsweep.errors import BadAnswer, InstrumentError, InstrumentTimeout, LinkLost, UsageError
from benchsweep.instrument.links._messages import Message, MessageRing, carries_messages, make_printable
from benchsweep.instrument.links._translate import translate
from benchsweep.instrument.links._transport import LineTooLong, Stalled, Transport

__all__ = ["SteppedLink"]

# Values for *ESE that are no single status bit, so that a late answer to a status query is not taken for one.
_TOKENS = tuple(n for n in range(19, 256) if n.bit_count() >= 3)
_ATTEMPTS = 4
_NOTHING_YET = (
    "Check that address and port are those of the instrument's SCPI (something else may listen there), that "
    "it has finished starting, that it is set to remote operation, and that no other program holds it."
)


class SteppedLink:
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
        # Not the same ones in every run: an instrument may well hold the first of them as a setting.
        self._tokens = itertools.cycle(random.Random().sample(_TOKENS, len(_TOKENS)))

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
        deadline = time.monotonic() + self.timeout_s
        with self._named("bringing the answers back into step", ()):
            self._transport.clear()
            for _ in range(_ATTEMPTS):
                # A late answer may look like the first token; then the second does not come at once.
                if self._token_came(deadline) and self._token_came(deadline, at_once=True):
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

    def _token_came(self, deadline: float, *, at_once: bool = False) -> bool:
        """Ask for a token and read until it comes; only the next line will do when `at_once`."""
        token = str(next(self._tokens))
        self._send((f"*ESE {token};*ESE?",))
        while (remaining := deadline - time.monotonic()) > 0.0:
            try:
                raw = self._transport.read_line(remaining)
            except LineTooLong:
                continue
            line = raw.decode("ascii", "replace").strip()
            self._ring.received(line)
            if line.lstrip("+") == token:
                return True
            if at_once or line.endswith(token):
                # The rest of a broken block stuck to it: ask once more with another token.
                return False
        raise Stalled(None, closed=False)

    def _ready(self) -> None:
        self._refuse_lost()
        if not self._out_of_step:
            with self._named("looking for answers that nobody asked for", ()):
                if self._transport.unasked():
                    self._ring.note("something came that nobody asked for; it is discarded")
                    self._out_of_step = True
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
        if all(item.direction != "received" for item in self._ring.all()):
            return InstrumentTimeout(
                f"{self.address}: {what}: no answer within {self._patience_s:g} s; the connection "
                "stands, but nothing has been said on it yet",
                hint=f"{_NOTHING_YET} {self._tail()}",
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
