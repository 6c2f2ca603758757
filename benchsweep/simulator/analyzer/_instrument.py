"""The simulated analyzer as a SCPI instrument: runs sweeps, keeps format and channels, hands out data.

It lives in one asyncio loop; only the arithmetic of a large sweep runs in a thread. What a family of commands
looks like stands in tables (`Command`), which this module does not know.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BenchsweepError
from benchsweep.simulator.analyzer._channel import Channel
from benchsweep.simulator.analyzer._faults import ANALYZER_FAULTS, HAND_FAULTS
from benchsweep.simulator.analyzer._strikes import (
    STRIKES_ANY_TIME,
    STRIKES_IDLE,
    second_controller,
    settled,
    spoil_block,
    spoil_sweep,
)
from benchsweep.simulator.analyzer._style import FamilyStyle
from benchsweep.simulator.bench import Bench, SweepRequest
from benchsweep.simulator.scpi import (
    Answer,
    Command,
    Kind,
    LinkCut,
    OperationBit,
    QuestionableBit,
    Reply,
    ScpiDevice,
    ScpiFault,
    Session,
    Truncated,
    version,
)

__all__ = ["CommandTable", "Instrument"]

_log = logging.getLogger(__name__)

CommandTable = Iterable[Command["Instrument"]]

_PLAIN = FamilyStyle()
# SCPI's "not a number" and infinity.
_NAN, _INFINITY = 9.91e37, 9.9e37
_SWEEP_FAULTS = (
    "sweep-never-ends", "instrument-error", "invalid-points", "overload", "stale-data", "port-not-driven",
)  # fmt: skip
_BLOCK_FAULTS = ("truncate-block", "garbage-before-block", "garbage-after-block", "swapped-bytes")


class Instrument(ScpiDevice):
    """A simulated analyzer.

    Parameters
    ----------
    bench
        The hardware.
    tables
        Tables of commands; the first that matches a header has it.
    identity
        Name, seed and what else tells benches apart: the third field of ``*IDN?``.
    style
        What the command family changes outside its commands.
    """

    def __init__(
        self, bench: Bench, tables: Iterable[CommandTable], identity: str, style: FamilyStyle = _PLAIN
    ) -> None:
        largest = {
            "channel": style.channels, "port": bench.ports, "window": 16, "trace": 1024,
            "measurement": 1024, "segment": 201,
        }  # fmt: skip
        faults = {**ANALYZER_FAULTS, **HAND_FAULTS}
        super().__init__(tables, largest, faults, plus_signs=style.plus_signs)
        self.bench = bench
        self.style = style
        self.identity = identity
        self._trigger = asyncio.Event()
        self._overlapped = True
        self.channels: dict[int, Channel] = {}
        self.preset()

    @property
    def idn(self) -> str:
        """The answer to ``*IDN?``. Benches whose error terms differ differ in it."""
        fields = ("Simulated works", f"bench analyzer {self.bench.ports} ports", self.identity, version())
        return self.style.identity_separator.join(fields)

    # -- faults --------------------------------------------------------------------------------------------

    def draw(self) -> np.random.Generator:
        """Return the random numbers of the fault that has just struck."""
        return np.random.default_rng((self.bench.seed, 6, self.faults.struck))

    def lacks(self, fault: str) -> bool:
        """Return whether this family has no port extension that could be switched on."""
        return fault == "extension-on" and not self.style.extension_s

    def repair(self) -> None:
        """Undo what hands have done wrong at the bench."""
        self.bench.repair()

    async def before_message(self, session: Session) -> None:
        """Let an armed fault strike that needs no more than a message on its way."""
        await super().before_message(session)
        if self.faults.take("power-cycle"):
            await self.power_cycle(self.faults.seconds)
            raise LinkCut
        fault = self.faults.take(*STRIKES_ANY_TIME)
        if not fault and not self.busy:
            fault = self.faults.take(*STRIKES_IDLE)
        if fault:
            {**STRIKES_ANY_TIME, **STRIKES_IDLE}[fault](self)

    def before_setting(
        self, command: Command[Any], kinds: tuple[Kind[Any], ...], values: tuple[Any, ...]
    ) -> tuple[Any, ...]:
        """Return the values that a setting really takes: a fault may round them.

        Raises
        ------
        ScpiFault
            A fault refuses it.
        """
        return settled(self, command, kinds, values)

    def spoilt(self, reply: Reply, session: Session) -> Reply:
        """Return `reply` as an armed fault leaves it."""
        if not reply.data:
            return super().spoilt(reply, session)
        fault = self.faults.take("late-answer", "no-answer", "missing-newline", "second-controller")
        if fault == "late-answer":
            return replace(reply, after_s=self.faults.seconds)
        if fault == "missing-newline":
            return replace(reply, data=reply.data.removesuffix(b"\n"))
        if fault == "second-controller":
            second_controller(self)
        return Reply() if fault else super().spoilt(reply, session)

    # -- data ----------------------------------------------------------------------------------------------

    def data(self, values: NDArray[np.float64]) -> Answer:
        """Return `values` (any shape, row by row) in the present format, with invalid ones as SCPI's NAN."""
        if values.size == 0:
            raise ScpiFault(-230, "no segment is on")
        flat = np.nan_to_num(values.ravel(), nan=_NAN, posinf=_INFINITY, neginf=-_INFINITY)
        if self.faults.take("wrong-count"):
            flat = flat[:-2]
        if self.format == "ASC":
            return b",".join(map(self.spell, flat.tolist()))
        order = {"SWAP": "<", "NORM": ">"}[self.byte_order]
        fault = self.faults.take(*_BLOCK_FAULTS)
        if fault == "swapped-bytes":
            order = {"<": ">", ">": "<"}[order]
        payload = flat.astype(f"{order}f{self.format_bits // 8}").tobytes()
        length = str(len(payload))
        block = f"#{len(length)}{length}".encode() + payload
        if fault == "truncate-block":
            raise Truncated(block[: len(block) // 2])
        return spoil_block(fault, block)

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

    # -- sweeps --------------------------------------------------------------------------------------------

    @property
    def pending(self) -> bool:
        """True while ``*OPC?`` has to wait."""
        if self.style.completion == "never" and any(map(self.free_running, self.channels.values())):
            return True
        return self.busy and self._overlapped

    def free_running(self, channel: Channel) -> bool:
        """Return whether the channel sweeps again and again without being asked."""
        own = self.trigger_source in ("IMM", "INT")
        return own and channel.mode == "CONT" and bool(channel.driven)

    async def nothing_pending(self) -> None:
        """Let channels that sweep by themselves come to the end of a sweep, where the family waits for it."""
        if self.style.completion == "sweep-end":
            for channel in self.channels.values():
                await self.fresh(channel)

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
        fault = self.faults.take(*_SWEEP_FAULTS)
        self._trigger.clear()
        self._overlapped = overlapped
        bit = OperationBit.WAITING_FOR_TRIGGER if waits else OperationBit.SWEEPING
        self.status.operation.set(bit, True)
        self.begin(self._run(dict(sweeps), fault, waits=waits))

    def trigger(self) -> None:
        """Give a manual trigger.

        Raises
        ------
        ScpiFault
            -211 when nothing waits for it.
        """
        if (
            self.trigger_source not in ("MAN", "BUS")
            or not self.status.operation.condition & OperationBit.WAITING_FOR_TRIGGER
        ):
            raise ScpiFault(-211)
        self._trigger.set()

    def operation_ended(self) -> None:
        """Hold the channels whose sweeps have ended or were aborted."""
        for channel in self.channels.values():
            if channel.mode in ("SING", "GRO"):
                channel.mode = "HOLD"
        self.status.operation.set(OperationBit.SWEEPING, False)
        self.status.operation.set(OperationBit.WAITING_FOR_TRIGGER, False)

    async def _run(self, sweeps: Mapping[int, int], fault: str, *, waits: bool) -> None:
        if waits:
            await self._trigger.wait()
            self.status.operation.set(OperationBit.WAITING_FOR_TRIGGER, False)
            self.status.operation.set(OperationBit.SWEEPING, True)
        if fault == "sweep-never-ends":
            await asyncio.Event().wait()
        for number, count in sweeps.items():
            await self.sweep(self.channels[number], count, fault=fault, lasting=not self._overlapped)
        if fault == "instrument-error":
            self.status.report(ScpiFault(-300, "simulated fault of the receiver"))

    async def fresh(self, channel: Channel) -> Channel:
        """Return `channel`; one that sweeps by itself has just finished a sweep."""
        if self.free_running(channel) and not self.busy:
            await self.sweep(channel, 1)
        return channel

    async def sweep(self, channel: Channel, sweeps: int, *, fault: str = "", lasting: bool = False) -> None:
        """Sweep and keep the data; errors go to the error queue, and the data are then not a number.

        A `lasting` sweep takes its time also where the bench does not run in real time.
        """
        request = channel.prepare(sweeps)
        started = asyncio.get_running_loop().time()
        raw = await self._measured(request)
        if self.bench.definition.real_time or lasting:
            lasts = channel.pass_duration_s * len(request.driven) * sweeps
            await asyncio.sleep(max(0.0, started + lasts - asyncio.get_running_loop().time()))
        self.status.questionable.set(QuestionableBit.POWER, fault == "overload")
        if fault == "stale-data":
            return
        request, raw = spoil_sweep(fault, request, raw, self.draw)
        channel.store(request, raw, sweeps)

    async def _measured(self, request: SweepRequest) -> NDArray[np.complex128]:
        try:
            if self.bench.is_quick(request):
                return self.bench.measure(request)
            return await asyncio.to_thread(self.bench.measure, request)
        except BenchsweepError as error:
            self.status.report(ScpiFault(-221, f"specimen {request.device.name}: {error.message}"))
        except Exception as error:  # noqa: BLE001 - a bug here must not end the server
            _log.exception("while sweeping")
            self.status.report(ScpiFault(-310, f"{type(error).__name__}: {error}"))
        receivers = self.bench.ports * (2 if request.references else 1)
        shape = (request.frequency_hz.size, receivers, len(request.driven))
        return np.full(shape, np.nan + 1j * np.nan)
