"""The VXI-11 listener: the core channel (VXI-11 revision 1.0, from memory) on a port of its own.

There is no port mapper, no abort channel and no interrupt channel; operations that need one of them answer
that they are not supported. Answers wait in the analyzer until they are read, so IEEE 488.2's rules hold: a
message before an answer was read drops it with -410, reading without having asked is -420.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass

from benchsweep.simulator.doors._door import Door
from benchsweep.simulator.doors._exchange import Exchange
from benchsweep.simulator.doors._locks import Locks
from benchsweep.simulator.doors._rpc import (
    AcceptState,
    BadCall,
    Call,
    Unpacker,
    packed,
    read_call,
    reply_to,
)
from benchsweep.simulator.scpi import Reply, ScpiDevice, ScpiFault

__all__ = ["Vxi11Door"]

_PROGRAM, _PROGRAM_VERSION = 0x0607AF, 1
_LONGEST_WRITE = 1 << 16
_DEVICES = (b"", b"inst0")
_MOST_WAITING_CALLS = 16

_NO_ERROR, _NOT_ACCESSIBLE, _NO_SUCH_LINK, _NOT_SUPPORTED = 0, 3, 4, 8
_LOCKED, _NO_LOCK, _TIMED_OUT = 11, 12, 15
_WAIT_LOCK, _END, _TERMINATOR_SET = 1, 8, 128
_COUNT_REACHED, _TERMINATOR_SEEN, _END_SEEN = 1, 2, 4


class _Link(Exchange):
    """One link: the messages of a client, and the answer that waits for being read."""

    def __init__(self, door: Vxi11Door, cut: Callable[[], None], number: int) -> None:
        super().__init__(door.device, cut)
        self.number = number
        self._locks = door.locks
        self._cut = cut
        self._output = b""
        self._place = 0
        self._ends = True
        self._readable = asyncio.Event()

    async def turn(self) -> None:
        """Locks are looked at when the client writes."""

    async def tell_interrupted(self, tag: int) -> None:
        """Drop the answer; there is no way to tell."""
        self._drop()

    def _drop(self) -> None:
        self._output = b""
        self._readable.clear()

    async def deliver(self, reply: Reply, tag: int) -> None:
        """Keep an answer until it is read."""
        if reply.close:
            self._cut()
            return
        self._output, self._place, self._ends = reply.data, 0, reply.end
        self._readable.set()

    async def clear(self) -> None:
        """Do what a device clear asks."""
        self._drop()
        await super().clear()

    async def may_use(self, flags: int, lock_timeout_s: float) -> bool:
        """Return whether locks let this link use the device, now or within a time that `flags` may allow."""
        try:
            async with asyncio.timeout(lock_timeout_s if flags & _WAIT_LOCK else 0):
                await self._locks.wait_for_turn(self.number)
        except TimeoutError:
            return self._locks.may_work(self.number)
        return True

    def _report_unterminated(self) -> None:
        if not self.session.hung:
            self.device.status.report(ScpiFault(-420))

    async def read(self, count: int, timeout_s: float, terminator: int | None) -> tuple[int, int, bytes]:
        """Return error, reason and up to `count` bytes of the answer."""
        nothing_asked = self.idle
        if nothing_asked:
            self._report_unterminated()
        try:
            async with asyncio.timeout(timeout_s):
                await self._readable.wait()
        except TimeoutError:
            if self.idle and not nothing_asked:  # what was asked turned out to have no answer
                self._report_unterminated()
            return _TIMED_OUT, 0, b""
        start, stop = self._place, min(self._place + count, len(self._output))
        reason = 0
        if terminator is not None and (found := self._output.find(terminator, start, stop)) >= 0:
            stop = found + 1
            reason |= _TERMINATOR_SEEN
        data = self._output[start:stop]
        self._place = stop
        if len(data) == count:
            reason |= _COUNT_REACHED
        if stop == len(self._output):
            self._drop()
            self.answer_open = False
            reason |= _END_SEEN if self._ends else 0
        return _NO_ERROR, reason, data


@dataclass(slots=True)
class _Connection:
    """One TCP connection and its links."""

    cut: Callable[[], None]
    links: dict[int, _Link]


_Operation = Callable[["Vxi11Door", _Link, Unpacker], Awaitable[bytes]]


class Vxi11Door(Door):
    """The VXI-11 listener of one device."""

    def __init__(self, device: ScpiDevice) -> None:
        super().__init__(device)
        self.locks = Locks()
        self._numbers = itertools.count(1)

    async def converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection until it ends."""
        connection = _Connection(writer.transport.abort, {})
        calls: asyncio.Queue[Call] = asyncio.Queue(_MOST_WAITING_CALLS)
        worker = asyncio.get_running_loop().create_task(self._serve(calls, connection, writer))
        try:
            # Reading goes on while a call is served, so that a client that goes is noticed.
            while True:
                await calls.put(await read_call(reader))
        except BadCall:
            return
        finally:
            worker.cancel()
            await asyncio.wait({worker})
            for link in tuple(connection.links.values()):
                await self._destroy(link, connection)

    async def _serve(
        self, calls: asyncio.Queue[Call], connection: _Connection, writer: asyncio.StreamWriter
    ) -> None:
        with contextlib.suppress(OSError):
            while True:
                writer.write(await self._reply(await calls.get(), connection))
                await writer.drain()

    async def _reply(self, call: Call, connection: _Connection) -> bytes:
        if call.program != _PROGRAM:
            return reply_to(call, AcceptState.NO_SUCH_PROGRAM)
        if call.version != _PROGRAM_VERSION:
            versions = packed(_PROGRAM_VERSION, _PROGRAM_VERSION)
            return reply_to(call, AcceptState.NO_SUCH_VERSION, versions)
        arguments = Unpacker(call.arguments)
        try:
            result = await self._result(call.procedure, arguments, connection)
        except BadCall:
            return reply_to(call, AcceptState.BAD_ARGUMENTS)
        if result is None:
            return reply_to(call, AcceptState.NO_SUCH_PROCEDURE)
        return reply_to(call, AcceptState.SUCCESS, result)

    async def _result(self, procedure: int, arguments: Unpacker, connection: _Connection) -> bytes | None:
        if procedure == 0:
            return b""
        if procedure == 10:
            return await self._create(arguments, connection)
        if procedure in _UNSUPPORTED:
            return packed(_NOT_SUPPORTED, *_UNSUPPORTED[procedure])
        if procedure != 23 and procedure not in _OPERATIONS:
            return None
        link = connection.links.get(arguments.unsigned())
        if link is None:
            return packed(_NO_SUCH_LINK, *_EMPTY.get(procedure, ()))
        if procedure == 23:
            await self._destroy(link, connection)
            return packed(_NO_ERROR)
        return await _OPERATIONS[procedure](self, link, arguments)

    async def _create(self, arguments: Unpacker, connection: _Connection) -> bytes:
        arguments.unsigned()  # the client's own number
        wants_lock, lock_timeout_ms = arguments.unsigned(), arguments.unsigned()
        if arguments.opaque().lower() not in _DEVICES:
            return packed(_NOT_ACCESSIBLE, 0, 0, 0)
        number = next(self._numbers)
        if wants_lock and not await self.locks.acquire(number, "", lock_timeout_ms / 1e3):
            return packed(_LOCKED, 0, 0, 0)
        link = _Link(self, connection.cut, number)
        connection.links[number] = link
        link.start()
        return packed(_NO_ERROR, number, 0, _LONGEST_WRITE)

    async def _destroy(self, link: _Link, connection: _Connection) -> None:
        del connection.links[link.number]
        self.locks.release_all(link.number)
        await link.stop()


async def _write(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    arguments.unsigned()  # nothing is waited for but a lock
    lock_timeout_ms, flags = arguments.unsigned(), arguments.unsigned()
    data = arguments.opaque()
    if not await link.may_use(flags, lock_timeout_ms / 1e3):
        return packed(_LOCKED, 0)
    await link.take(data, 0, end=bool(flags & _END))
    return packed(_NO_ERROR, len(data))


async def _read(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    count, timeout_ms, lock_timeout_ms, flags, terminator = (arguments.unsigned() for _ in range(5))
    if not await link.may_use(flags, lock_timeout_ms / 1e3):
        return packed(_LOCKED, 0, b"")
    ends = terminator & 0xFF if flags & _TERMINATOR_SET else None
    return packed(*await link.read(count, timeout_ms / 1e3, ends))


async def _status_byte(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    return packed(_NO_ERROR, link.status_byte)


async def _trigger(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    flags, lock_timeout_ms = arguments.unsigned(), arguments.unsigned()
    if not await link.may_use(flags, lock_timeout_ms / 1e3):
        return packed(_LOCKED)
    await link.take(b"*TRG", 0, end=True)
    return packed(_NO_ERROR)


async def _clear(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    flags, lock_timeout_ms = arguments.unsigned(), arguments.unsigned()
    if not await link.may_use(flags, lock_timeout_ms / 1e3):
        return packed(_LOCKED)
    await link.clear()
    return packed(_NO_ERROR)


async def _done(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    return packed(_NO_ERROR)


async def _lock(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    flags, timeout_ms = arguments.unsigned(), arguments.unsigned()
    within_s = timeout_ms / 1e3 if flags & _WAIT_LOCK else 0.0
    if door.locks.has(link.number, "") or not await door.locks.acquire(link.number, "", within_s):
        return packed(_LOCKED)
    return packed(_NO_ERROR)


async def _unlock(door: Vxi11Door, link: _Link, arguments: Unpacker) -> bytes:
    return packed(_NO_LOCK if door.locks.release(link.number) is None else _NO_ERROR)


_OPERATIONS: Mapping[int, _Operation] = {
    11: _write, 12: _read, 13: _status_byte, 14: _trigger, 15: _clear, 16: _done, 17: _done, 18: _lock,
    19: _unlock,
}  # fmt: skip
# What stands behind the error of an operation that failed.
_EMPTY: Mapping[int, tuple[int | bytes, ...]] = {11: (0,), 12: (0, b""), 13: (0,)}
# Service requests, commands of the vendor, interrupt channels.
_UNSUPPORTED: Mapping[int, tuple[int | bytes, ...]] = {20: (), 22: (b"",), 25: (), 26: ()}
