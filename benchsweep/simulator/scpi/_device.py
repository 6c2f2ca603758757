"""A device that carries out messages as IEEE 488.2 and SCPI ask: parser, status, overlapped operations.

What the device is (an analyzer, a relay matrix) stands in the classes built on `ScpiDevice`; what its
commands look like stands in tables (`Command`). A device lives in one asyncio loop, and every listener hands
it messages.
"""

from __future__ import annotations

import asyncio
import functools
import importlib.metadata
import logging
from collections.abc import Awaitable, Callable, Coroutine, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from benchsweep.simulator.scpi._faults import FaultBox, FaultKind
from benchsweep.simulator.scpi._grammar import Node, Unit, split_units
from benchsweep.simulator.scpi._messages import ScpiFault
from benchsweep.simulator.scpi._status import EventBit, Status
from benchsweep.simulator.scpi._tree import (
    Answer,
    Call,
    Command,
    Tree,
)
from benchsweep.simulator.scpi._values import Kind, integer_text, number_text

__all__ = ["LinkCut", "Reply", "ScpiDevice", "Session", "Truncated", "version"]

_log = logging.getLogger(__name__)

_BENCH_ROOT = "BENC"
_BLANKS = "".join(map(chr, range(33)))


class LinkCut(Exception):
    """A simulated fault ends the connection."""


class Truncated(Exception):
    """A simulated fault ends the answer after `data`, and the connection stays."""

    def __init__(self, data: bytes) -> None:
        super().__init__()
        self.data = data


@dataclass(frozen=True, slots=True)
class Reply:
    """What goes back to the sender of a message.

    Parameters
    ----------
    data
        May be empty: no answer.
    end
        True when the answer is whole, so that a listener with message boundaries marks its end.
    close
        The link is cut behind it.
    after_s
        How long it is kept back.
    """

    data: bytes = b""
    end: bool = True
    close: bool = False
    after_s: float = 0.0


class Session:
    """One connection of one client, of whatever listener.

    Parameters
    ----------
    cut
        Ends the connection at once.
    """

    def __init__(self, cut: Callable[[], None]) -> None:
        self.cut = cut
        self.hung = False
        self.waiting: asyncio.Future[bool] | None = None

    def clear(self) -> None:
        """Do what a device clear does to the connection: its parser is idle again."""
        self.hung = False
        if self.waiting is not None and not self.waiting.done():
            self.waiting.set_result(False)


class ScpiDevice:
    """A simulated device.

    Parameters
    ----------
    tables
        Tables of commands; the first that matches a header has it.
    largest
        Largest value of each numeric suffix that the tables name.
    faults
        What can be made to go wrong.
    plus_signs
        Whether numbers in answers carry a plus sign.
    """

    def __init__(
        self,
        tables: Iterable[Iterable[Command[Any]]],
        largest: Mapping[str, int],
        faults: Mapping[str, FaultKind],
        *,
        plus_signs: bool = True,
    ) -> None:
        self.plus_signs = plus_signs
        self.status = Status()
        self.faults = FaultBox(faults)
        self.sessions: set[Session] = set()
        self.answer_waits = False
        self._off_until = 0.0
        self._operation: asyncio.Task[None] | None = None
        self._waiting: set[asyncio.Future[bool]] = set()
        self._complete_wanted = False
        self._tree: Tree[Any] = Tree(tables, largest)

    @property
    def idn(self) -> str:
        """The answer to ``*IDN?``."""
        raise NotImplementedError

    async def reset(self) -> None:
        """Do what ``*RST`` does."""
        raise NotImplementedError

    def lacks(self, fault: str) -> bool:
        """Return whether this device has not what the fault would spoil."""
        return False

    def repair(self) -> None:
        """Undo what a fault has broken for good."""

    # -- links ---------------------------------------------------------------------------------------------

    @contextmanager
    def session(self, cut: Callable[[], None]) -> Iterator[Session]:
        """Hold a session for as long as its connection lives."""
        session = Session(cut)
        self.sessions.add(session)
        try:
            yield session
        finally:
            session.clear()
            self.sessions.discard(session)

    @property
    def is_off(self) -> bool:
        """True while the device has no power; listeners then turn every client away."""
        return asyncio.get_running_loop().time() < self._off_until

    async def power_cycle(self, off_s: float) -> None:
        """Switch off and on: every link ends, settings and status are those of the start."""
        self._off_until = asyncio.get_running_loop().time() + off_s
        for session in tuple(self.sessions):
            session.cut()
        await self.reset()
        self.status = Status()

    # -- messages ------------------------------------------------------------------------------------------

    async def execute(self, message: str, session: Session) -> Reply:
        """Carry out one message (without its terminator) and return the answer to its sender."""
        exposed = self.faults.count(message, session, bench=_is_bench_message(message))
        answers: list[bytes] = []
        try:
            if exposed:
                await self.before_message(session)
            if session.hung:
                return Reply()
            await self._execute_units(message, session, answers)
        except LinkCut:
            return Reply(close=True)
        except Truncated as cut:
            return Reply(b";".join([*answers, cut.data]), end=False)
        finally:
            self.answer_waits = False
        reply = Reply(b";".join(answers) + b"\n") if answers else Reply()
        return self.spoilt(reply, session) if exposed else reply

    async def before_message(self, session: Session) -> None:
        """Let an armed fault strike that needs no more than a message on its way."""
        if self.faults.take("hung-until-clear"):
            session.hung = True

    def spoilt(self, reply: Reply, session: Session) -> Reply:
        """Return `reply` as an armed fault leaves it."""
        if self.faults.take("drop-link"):
            return Reply(reply.data[: len(reply.data) // 2], end=False, close=True)
        return reply

    async def _execute_units(self, message: str, session: Session, answers: list[bytes]) -> None:
        units = split_units(message)
        path: tuple[Node, ...] = ()
        while True:
            try:
                unit = next(units, None)
                if unit is None:
                    return
                command, suffixes, path = self._tree.find(unit.header, path)
                self.answer_waits = bool(answers)
                answer = await self._carry_out(command, unit, dict(suffixes), session)
                if answer is not None:
                    answers.append(self.spell(answer))
            except ScpiFault as fault:
                self.status.report(fault)
                if fault.is_command_error:
                    return
            except (LinkCut, Truncated):
                raise
            except Exception as error:  # noqa: BLE001 - a bug here must not end the server
                _log.exception("while carrying out %r", message[:80])
                self.status.report(ScpiFault(-310, f"{type(error).__name__}: {error}"))

    async def _carry_out(
        self, command: Command[Any], unit: Unit, suffixes: dict[str, int], session: Session
    ) -> Answer:
        query = unit.header.query
        handler = command.query if query else command.write
        if handler is None:
            raise ScpiFault(-113, f"{command.pattern} has no {'query' if query else 'command'} form")
        kinds = command.asks if query else command.takes
        optional = command.optional_asks if query else command.optional
        given = unit.parameters
        if len(given) > len(kinds):
            raise ScpiFault(-108)
        if len(given) < len(kinds) - optional:
            raise ScpiFault(-109)
        values = tuple(kind.decode(one, self) for kind, one in zip(kinds, given, strict=False))
        if values and not query:
            values = self.before_setting(command, kinds, values)
        result = handler(Call(self, suffixes, values, session))
        return await result if isinstance(result, Awaitable) else result

    def spell(self, answer: str | bytes | float) -> bytes:
        """Return `answer` as it is sent: numbers in the device's spelling, text and blocks as they are."""
        if isinstance(answer, bytes):
            return answer
        if not isinstance(answer, str):
            text = integer_text(answer) if isinstance(answer, int) else number_text(answer)
            answer = text if self.plus_signs else text.removeprefix("+")
        return answer.encode("latin-1", "replace")

    def before_setting(
        self, command: Command[Any], kinds: tuple[Kind[Any], ...], values: tuple[Any, ...]
    ) -> tuple[Any, ...]:
        """Return the values that a setting really takes.

        Raises
        ------
        ScpiFault
            A simulated fault refuses it.
        """
        return values

    # -- overlapped operations -----------------------------------------------------------------------------

    @property
    def busy(self) -> bool:
        """True while an overlapped operation is pending."""
        return self._operation is not None

    @property
    def pending(self) -> bool:
        """True while ``*OPC?`` has to wait."""
        return self.busy

    def begin(self, work: Coroutine[Any, Any, None]) -> None:
        """Begin an overlapped operation; none may be running."""
        operation = asyncio.get_running_loop().create_task(work)
        self._operation = operation
        operation.add_done_callback(self._end_operation)

    def operation_ended(self) -> None:
        """Tidy up behind an operation that has just ended or was aborted."""

    def note_completion(self) -> None:
        """Do what *OPC does: set the event bit as soon as no operation is pending."""
        if self.pending:
            self._complete_wanted = True
        else:
            self.status.event |= EventBit.OPERATION_COMPLETE

    def settle(self) -> None:
        """Answer what waits for completion when nothing is pending any more."""
        if self.pending:
            return
        if self._complete_wanted:
            self._complete_wanted = False
            self.status.event |= EventBit.OPERATION_COMPLETE
        self._release(answer=True)

    async def wait(self, session: Session | None = None) -> bool:
        """Return True when no operation is pending, False when the waiting was ended by *CLS or the like."""
        if not self.pending:
            await self.nothing_pending()
            return True
        future: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiting.add(future)
        if session is not None:
            session.waiting = future
        try:
            return await future
        finally:
            self._waiting.discard(future)
            if session is not None:
                session.waiting = None

    async def nothing_pending(self) -> None:
        """Do what is left to do before ``*OPC?`` answers that nothing is pending."""

    def forget_completion(self) -> None:
        """Cancel a pending *OPC and every *OPC? that waits."""
        self._complete_wanted = False
        self._release(answer=False)

    def _release(self, *, answer: bool) -> None:
        for future in self._waiting:
            if not future.done():
                future.set_result(answer)

    async def abort(self) -> None:
        """End what is running; its data are not kept."""
        if self._operation is not None:
            operation = self._operation
            operation.cancel()
            await asyncio.wait({operation})
            # A task that is cancelled before its first step never reaches its own clean-up.
            self._end_operation(operation)

    def _end_operation(self, operation: asyncio.Task[None]) -> None:
        if self._operation is not operation:
            return
        self._operation = None
        failure = None if operation.cancelled() else operation.exception()
        if failure is not None:
            _log.error("during an operation", exc_info=failure)
            self.status.report(ScpiFault(-310, f"{type(failure).__name__}: {failure}"))
        self.operation_ended()
        self.settle()


@functools.cache
def version() -> str:
    """Return the version that the devices state."""
    return importlib.metadata.version("benchsweep")


def _is_bench_message(message: str) -> bool:
    """Return True for a message to the bench itself, which no instrument would know."""
    return message.lstrip(_BLANKS + ":").upper().startswith(_BENCH_ROOT)
