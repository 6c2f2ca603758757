"""The simulated analyzer as a SCPI instrument: carries out messages, runs sweeps, keeps status and format.

It lives in one asyncio loop; only the arithmetic of a sweep runs in a thread. What a family of commands looks
like stands in tables (`Command`), which this module does not know.
"""

from __future__ import annotations

import asyncio
import importlib.metadata
import logging
from collections.abc import Awaitable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BenchsweepError
from benchsweep.simulator._bench import Bench, SweepRequest
from benchsweep.simulator._channel import Channel
from benchsweep.simulator._grammar import Node, Unit, split_units
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._status import EventBit, OperationBit, Status
from benchsweep.simulator._style import FamilyStyle
from benchsweep.simulator._tree import Answer, Call, Command, Tree
from benchsweep.simulator._values import integer_text, number_text

__all__ = ["FAULTS", "CommandTable", "Instrument", "Reply"]

_log = logging.getLogger(__name__)

CommandTable = Iterable[Command["Instrument"]]

FAULTS = (
    "none", "sweep-never-ends", "truncate-block", "drop-link", "wrong-count", "instrument-error",
    "invalid-points",
)  # fmt: skip
# SCPI's "not a number" and infinity.
_NAN, _INFINITY = 9.91e37, 9.9e37
_PLAIN = FamilyStyle()


class _LinkCut(Exception):
    """A simulated fault ends the connection, after `data` has been sent."""

    def __init__(self, data: bytes = b"") -> None:
        super().__init__()
        self.data = data


class _Truncated(Exception):
    """A simulated fault ends the answer after `data`, and the connection stays."""

    def __init__(self, data: bytes) -> None:
        super().__init__()
        self.data = data


@dataclass(frozen=True, slots=True)
class Reply:
    """What goes back to the sender of a message: bytes (may be none), and whether the link is then cut."""

    data: bytes = b""
    close: bool = False


class Instrument:
    """A simulated analyzer.

    Parameters
    ----------
    bench
        The hardware.
    tables
        Tables of commands.
    identity
        Name, seed and what else tells benches apart: the third field of ``*IDN?``.
    style
        What the command family changes outside its commands.
    """

    def __init__(
        self,
        bench: Bench,
        tables: Iterable[CommandTable],
        identity: str,
        style: FamilyStyle = _PLAIN,
    ) -> None:
        self.bench = bench
        self.style = style
        self.status = Status()
        self.identity = identity
        self.fault = "none"
        self.answer_waits = False
        self._operation: asyncio.Task[None] | None = None
        self._waiting: set[asyncio.Future[bool]] = set()
        self._complete_wanted = False
        self._trigger = asyncio.Event()
        self._overlapped = True
        self.channels: dict[int, Channel] = {}
        largest = {
            "channel": style.channels, "port": bench.ports, "window": 16, "trace": 1024,
            "measurement": 1024, "segment": 201,
        }  # fmt: skip
        self._tree = Tree(tables, largest)
        self.preset()

    # -- messages ------------------------------------------------------------------------------------------

    async def execute(self, message: str, session: object) -> Reply:
        """Carry out one message (without its terminator) and return the answer to its sender."""
        answers: list[bytes] = []
        try:
            await self._execute_units(message, session, answers)
        except _LinkCut as cut:
            return Reply(b";".join([*answers, cut.data]) if cut.data else b"", close=True)
        except _Truncated as cut:
            return Reply(b";".join([*answers, cut.data]))
        finally:
            self.answer_waits = False
        return Reply(b";".join(answers) + b"\n") if answers else Reply()

    async def _execute_units(self, message: str, session: object, answers: list[bytes]) -> None:
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
            except (_LinkCut, _Truncated):
                raise
            except Exception as error:  # noqa: BLE001 - a bug here must not end the server
                _log.exception("while carrying out %r", message[:80])
                self.status.report(ScpiFault(-310, f"{type(error).__name__}: {error}"))

    async def _carry_out(
        self, command: Command[Instrument], unit: Unit, suffixes: dict[str, int], session: object
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
        result = handler(Call(self, suffixes, values, session))
        return await result if isinstance(result, Awaitable) else result

    def spell(self, answer: str | bytes | float) -> bytes:
        """Return `answer` as it is sent: numbers in the family's spelling, text and blocks as they are."""
        if isinstance(answer, bytes):
            return answer
        if not isinstance(answer, str):
            text = integer_text(answer) if isinstance(answer, int) else number_text(answer)
            answer = text if self.style.plus_signs else text.removeprefix("+")
        return answer.encode("latin-1", "replace")

    # -- data ----------------------------------------------------------------------------------------------

    def data(self, values: NDArray[np.float64]) -> Answer:
        """Return `values` (any shape, row by row) in the present format, with invalid ones as SCPI's NAN."""
        flat = np.nan_to_num(values.ravel(), nan=_NAN, posinf=_INFINITY, neginf=-_INFINITY)
        fault = self.take_fault("wrong-count", "truncate-block", "drop-link")
        if fault == "wrong-count":
            flat = flat[:-2]
        if self.format == "ASC":
            answer = b",".join(map(self.spell, flat.tolist()))
        else:
            order = "<" if self.byte_order == "SWAP" else ">"
            payload = flat.astype(f"{order}f{self.format_bits // 8}").tobytes()
            length = str(len(payload))
            answer = f"#{len(length)}{length}".encode() + payload
        if fault == "truncate-block":
            raise _Truncated(answer[: len(answer) // 2])
        if fault == "drop-link":
            raise _LinkCut(answer[: len(answer) // 2])
        return answer

    def take_fault(self, *names: str) -> str:
        """Return the armed fault when it is one of `names`, and disarm it; else an empty string."""
        if self.fault not in names:
            return ""
        fault, self.fault = self.fault, "none"
        return fault

    # -- state ---------------------------------------------------------------------------------------------

    def preset(self) -> None:
        """Put settings into the preset state. Status, errors, connections and faults stay."""
        self.format = "ASC"
        self.format_bits = 0
        self.byte_order = "NORM"
        self.snp_format = "MA"
        self.trigger_source = self.style.trigger_source
        self.trigger_scope = "ALL"
        self.trigger_averages = False
        self.active_channel = 1
        self.display = True
        self.channels = {
            number: Channel(self.bench, self.style) for number in range(1, self.style.channels + 1)
        }
        self.channels[1].measurements[self.style.first_measurement] = (1, 1)
        if self.style.selects_first:
            self.channels[1].selected = self.style.first_measurement

    async def reset(self) -> None:
        """Abort what runs, forget a wanted operation complete, and preset."""
        await self.abort()
        self.forget_completion()
        self.preset()

    @property
    def idn(self) -> str:
        """The answer to ``*IDN?``. Benches whose error terms differ differ in it."""
        version = importlib.metadata.version("benchsweep")
        fields = ("Simulated works", f"bench analyzer {self.bench.ports} ports", self.identity, version)
        return self.style.identity_separator.join(fields)

    # -- overlapped operations -----------------------------------------------------------------------------

    @property
    def busy(self) -> bool:
        """True while sweeps that were asked for run."""
        return self._operation is not None

    @property
    def pending(self) -> bool:
        """True while ``*OPC?`` has to wait."""
        if self.style.completion == "never" and any(map(self.free_running, self.channels.values())):
            return True
        return self.busy and self._overlapped

    def free_running(self, channel: Channel) -> bool:
        """Return whether the channel sweeps again and again without being asked."""
        own = self.trigger_source in ("IMM", "INT")
        return own and channel.mode == "CONT" and bool(channel.measurements)

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

    async def wait(self) -> bool:
        """Return True when no operation is pending, False when *CLS or *RST ended the waiting."""
        if not self.pending:
            if self.style.completion == "sweep-end":
                await self._sweep_end()
            return True
        future: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiting.add(future)
        try:
            return await future
        finally:
            self._waiting.discard(future)

    async def _sweep_end(self) -> None:
        """Let channels that sweep by themselves come to the end of a sweep."""
        for channel in self.channels.values():
            await self.fresh(channel)

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

    def start_sweeps(
        self, sweeps: Mapping[int, int], *, waits: bool = False, overlapped: bool = True
    ) -> None:
        """Begin sweeps in one or several channels, one channel after the other.

        Parameters
        ----------
        sweeps
            Number of the channel -> how many sweeps; a single mode becomes hold afterwards.
        waits
            Whether a manual trigger is waited for first.
        overlapped
            Whether ``*OPC?`` waits for them. If not, they take as long as real ones.

        Raises
        ------
        ScpiFault
            -213 while others run, -221 when nothing is defined or the segments are none.
        """
        if self.busy:
            raise ScpiFault(-213, "a sweep is running")
        for number in sweeps:
            self.channels[number].check_sweep()
        fault = self.take_fault("sweep-never-ends", "drop-link", "instrument-error", "invalid-points")
        self._trigger.clear()
        self._overlapped = overlapped
        bit = OperationBit.WAITING_FOR_TRIGGER if waits else OperationBit.SWEEPING
        self.status.operation.set(bit, True)
        operation = asyncio.get_running_loop().create_task(self._run(dict(sweeps), fault, waits=waits))
        self._operation = operation
        operation.add_done_callback(self._end_operation)
        if fault == "drop-link":
            raise _LinkCut

    def trigger(self) -> None:
        """Give a manual trigger.

        Raises
        ------
        ScpiFault
            -211 when nothing waits for it.
        """
        if (
            self.trigger_source != "MAN"
            or not self.status.operation.condition & OperationBit.WAITING_FOR_TRIGGER
        ):
            raise ScpiFault(-211)
        self._trigger.set()

    def _end_operation(self, operation: asyncio.Task[None]) -> None:
        if self._operation is not operation:
            return
        self._operation = None
        failure = None if operation.cancelled() else operation.exception()
        if failure is not None:
            _log.error("while sweeping", exc_info=failure)
            self.status.report(ScpiFault(-310, f"{type(failure).__name__}: {failure}"))
        for channel in self.channels.values():
            if channel.mode in ("SING", "GRO"):
                channel.mode = "HOLD"
        self.status.operation.set(OperationBit.SWEEPING, False)
        self.status.operation.set(OperationBit.WAITING_FOR_TRIGGER, False)
        self.settle()

    async def _run(self, sweeps: Mapping[int, int], fault: str, *, waits: bool) -> None:
        if waits:
            await self._trigger.wait()
            self.status.operation.set(OperationBit.WAITING_FOR_TRIGGER, False)
            self.status.operation.set(OperationBit.SWEEPING, True)
        if fault == "sweep-never-ends":
            await asyncio.Event().wait()
        for number, count in sweeps.items():
            await self.sweep(
                self.channels[number],
                count,
                invalid=fault == "invalid-points",
                lasting=not self._overlapped,
            )
        if fault == "instrument-error":
            self.status.report(ScpiFault(-300, "simulated fault of the receiver"))

    async def fresh(self, channel: Channel) -> Channel:
        """Return `channel`; one that sweeps by itself has just finished a sweep."""
        if self.free_running(channel) and not self.busy:
            await self.sweep(channel, 1)
        return channel

    async def sweep(
        self, channel: Channel, sweeps: int, *, invalid: bool = False, lasting: bool = False
    ) -> None:
        """Sweep and keep the data; errors go to the error queue, and the data are then not a number.

        A `lasting` sweep takes its time also where the bench does not run in real time.
        """
        request = channel.prepare(sweeps)
        started = asyncio.get_running_loop().time()
        raw = await self._measured(request)
        if invalid:
            raw[raw.shape[0] // 3 :: 7] = np.nan
        if self.bench.definition.real_time or lasting:
            lasts = channel.pass_duration_s * len(request.driven) * sweeps
            await asyncio.sleep(max(0.0, started + lasts - asyncio.get_running_loop().time()))
        channel.store(request, raw, sweeps)

    async def _measured(self, request: SweepRequest) -> NDArray[np.complex128]:
        try:
            return await asyncio.to_thread(self.bench.measure, request)
        except BenchsweepError as error:
            self.status.report(ScpiFault(-221, f"specimen {request.device.name}: {error.message}"))
        except Exception as error:  # noqa: BLE001 - a bug here must not end the server
            _log.exception("while sweeping")
            self.status.report(ScpiFault(-310, f"{type(error).__name__}: {error}"))
        shape = (request.frequency_hz.size, self.bench.ports, len(request.driven))
        return np.full(shape, np.nan + 1j * np.nan)
