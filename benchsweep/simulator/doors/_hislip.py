"""The HiSLIP listener (IVI-6.1, synchronized mode, from memory).

A client has two connections: the synchronous one carries messages and answers, the asynchronous one status,
device clear and locks. Messages have ends here, so IEEE 488.2's rule against asking anew before an answer has
been read holds: the answer is dropped, the client is told, and -410 is queued. There is no -420: a client
that reads without having asked sends nothing, so nobody can notice.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools

from benchsweep.simulator.doors._door import LONGEST_MESSAGE, Door
from benchsweep.simulator.doors._exchange import Exchange
from benchsweep.simulator.doors._hislip_frames import (
    HEADER_BYTES,
    ErrorCode,
    FatalCode,
    Frame,
    Kind,
    NotHislip,
    TooLarge,
    read_frame,
)
from benchsweep.simulator.doors._locks import Locks
from benchsweep.simulator.scpi import Reply, ScpiDevice

__all__ = ["HislipDoor"]

_VERSION = 0x0100
_VENDOR = int.from_bytes(b"bs", "big")
_SUB_ADDRESSES = (b"", b"hislip0")
_SMALLEST_CHUNK = 64
_DELIVERED = 1
_SHARED_GRANTED, _GRANTED, _LOCK_FAILED, _LOCK_ERROR = 2, 1, 0, 3


class _Fatal(Exception):
    """The connection ends, and the client is told why."""

    def __init__(self, code: FatalCode, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


class _Client(Exchange):
    """One client and its two connections."""

    def __init__(self, door: HislipDoor, writer: asyncio.StreamWriter, number: int) -> None:
        super().__init__(door.device, self._cut)
        self.number = number
        self.sync = writer
        self.asynchronous: asyncio.StreamWriter | None = None
        self.chunk = LONGEST_MESSAGE
        self.clearing = False
        self._locks = door.locks

    def _cut(self) -> None:
        self.sync.transport.abort()
        if self.asynchronous is not None:
            self.asynchronous.transport.abort()

    async def turn(self) -> None:
        """Return when locks let this client use the device."""
        await self._locks.wait_for_turn(self.number)

    async def take_frame(self, frame: Frame) -> None:
        """Take what came on the synchronous connection."""
        if frame.control & _DELIVERED:
            self.answer_open = False
        if frame.kind == Kind.TRIGGER:
            await self.take(b"*TRG", frame.parameter, end=True)
        else:
            await self.take(bytes(frame.payload), frame.parameter, end=frame.kind == Kind.DATA_END)

    async def tell_interrupted(self, tag: int) -> None:
        """Tell the client on both connections."""
        await send(self.sync, Frame(Kind.INTERRUPTED, parameter=tag))
        if self.asynchronous is not None:
            await send(self.asynchronous, Frame(Kind.ASYNC_INTERRUPTED, parameter=tag))

    async def deliver(self, reply: Reply, tag: int) -> None:
        """Send an answer in as many messages as the client's largest one makes necessary."""
        view = memoryview(reply.data)
        for start in range(0, len(view), self.chunk):
            part = view[start : start + self.chunk]
            last = reply.end and start + self.chunk >= len(view)
            kind = Kind.DATA_END if last else Kind.DATA
            await send(self.sync, Frame(kind, parameter=tag, payload=part))
        if reply.close:
            self.sync.close()
            if self.asynchronous is not None:
                self.asynchronous.close()


class HislipDoor(Door):
    """The HiSLIP listener of one device."""

    def __init__(self, device: ScpiDevice) -> None:
        super().__init__(device)
        self.locks = Locks()
        self._clients: dict[int, _Client] = {}
        self._numbers = itertools.cycle(range(1, 1 << 16))

    async def converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one of a client's two connections until it ends."""
        try:
            try:
                first = await read_frame(reader, LONGEST_MESSAGE)
            except TooLarge as error:
                raise _Fatal(FatalCode.BAD_INITIALIZATION, "not an initialization") from error
            if first.kind == Kind.INITIALIZE:
                await self._synchronous(first, reader, writer)
            elif first.kind == Kind.ASYNC_INITIALIZE:
                await self._asynchronous(first, reader, writer)
            else:
                raise _Fatal(FatalCode.BAD_INITIALIZATION, "a connection begins with Initialize")
        except NotHislip:
            await send(writer, _fatal(FatalCode.POOR_HEADER, "a message begins with HS"))
        except _Fatal as fatal:
            await send(writer, _fatal(fatal.code, fatal.text))

    def _new_number(self) -> int:
        return next(number for number in self._numbers if number not in self._clients)

    # -- the synchronous connection ------------------------------------------------------------------------

    async def _synchronous(
        self, first: Frame, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        if bytes(first.payload) not in _SUB_ADDRESSES:
            raise _Fatal(FatalCode.BAD_INITIALIZATION, "no such sub-address")
        client = _Client(self, writer, self._new_number())
        self._clients[client.number] = client
        client.start()
        try:
            await send(writer, Frame(Kind.INITIALIZE_RESPONSE, parameter=_VERSION << 16 | client.number))
            while True:
                await self._take_synchronous(client, reader, writer)
        finally:
            del self._clients[client.number]
            self.locks.release_all(client.number)
            if client.asynchronous is not None:
                client.asynchronous.close()
            await client.stop()

    async def _take_synchronous(
        self, client: _Client, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        try:
            frame = await read_frame(reader, LONGEST_MESSAGE)
        except TooLarge:
            await send(writer, _error(ErrorCode.TOO_LARGE, "message too large"))
            return
        if frame.kind == Kind.DEVICE_CLEAR_COMPLETE:
            client.clearing = False
            await send(writer, Frame(Kind.DEVICE_CLEAR_ACKNOWLEDGE))
        elif frame.kind in (Kind.DATA, Kind.DATA_END, Kind.TRIGGER):
            if client.asynchronous is None:
                raise _Fatal(FatalCode.CHANNELS_NOT_ESTABLISHED, "the asynchronous connection is missing")
            if not client.clearing:
                await client.take_frame(frame)
        else:
            await send(writer, _error(ErrorCode.UNRECOGNIZED_TYPE, f"message type {frame.kind}"))

    # -- the asynchronous connection -----------------------------------------------------------------------

    async def _asynchronous(
        self, first: Frame, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        client = self._clients.get(first.parameter)
        if client is None or client.asynchronous is not None:
            raise _Fatal(FatalCode.BAD_INITIALIZATION, "no such session")
        client.asynchronous = writer
        try:
            await send(writer, Frame(Kind.ASYNC_INITIALIZE_RESPONSE, parameter=_VENDOR))
            while True:
                try:
                    frame = await read_frame(reader, LONGEST_MESSAGE)
                except TooLarge:
                    await send(writer, _error(ErrorCode.TOO_LARGE, "message too large"))
                    continue
                await send(writer, await self._reply_asynchronous(client, frame))
        finally:
            # It may have been granted a lock when the other connection had ended already.
            self.locks.release_all(client.number)
            client.sync.close()

    async def _reply_asynchronous(self, client: _Client, frame: Frame) -> Frame:
        match frame.kind:
            case Kind.ASYNC_MAX_MESSAGE_SIZE:
                largest = int.from_bytes(bytes(frame.payload), "big")
                client.chunk = max(min(largest, LONGEST_MESSAGE) - HEADER_BYTES, _SMALLEST_CHUNK)
                size = LONGEST_MESSAGE.to_bytes(8, "big")
                return Frame(Kind.ASYNC_MAX_MESSAGE_SIZE_RESPONSE, payload=size)
            case Kind.ASYNC_STATUS_QUERY:
                if frame.control & _DELIVERED:
                    client.answer_open = False
                return Frame(Kind.ASYNC_STATUS_RESPONSE, control=client.status_byte)
            case Kind.ASYNC_DEVICE_CLEAR:
                client.clearing = True
                await client.clear()
                return Frame(Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE)
            case Kind.ASYNC_LOCK:
                return Frame(Kind.ASYNC_LOCK_RESPONSE, control=await self._lock(client, frame))
            case Kind.ASYNC_LOCK_INFO:
                return Frame(
                    Kind.ASYNC_LOCK_INFO_RESPONSE,
                    control=int(self.locks.is_exclusive),
                    parameter=self.locks.holders,
                )
            case Kind.ASYNC_REMOTE_LOCAL_CONTROL:
                return Frame(Kind.ASYNC_REMOTE_LOCAL_RESPONSE)
            case _:
                return _error(ErrorCode.UNRECOGNIZED_TYPE, f"message type {frame.kind}")

    async def _lock(self, client: _Client, frame: Frame) -> int:
        if frame.control == 0:
            released = self.locks.release(client.number)
            return {None: _LOCK_ERROR, "": _GRANTED}.get(released, _SHARED_GRANTED)
        key = bytes(frame.payload).decode("latin-1")
        if self.locks.has(client.number, key):
            return _LOCK_ERROR
        granted = await self.locks.acquire(client.number, key, frame.parameter / 1e3)
        return _GRANTED if granted else _LOCK_FAILED


def _fatal(code: FatalCode, text: str) -> Frame:
    return Frame(Kind.FATAL_ERROR, control=code, payload=text.encode())


def _error(code: ErrorCode, text: str) -> Frame:
    return Frame(Kind.ERROR, control=code, payload=text.encode())


async def send(writer: asyncio.StreamWriter, frame: Frame) -> None:
    """Send one message whole."""
    with contextlib.suppress(OSError):
        writer.write(frame.header())
        if frame.payload:
            writer.write(frame.payload)
        await writer.drain()
