"""Remote procedure calls over TCP and the external data representation (RFC 5531, RFC 4506)."""

from __future__ import annotations

import asyncio
import struct
from dataclasses import dataclass

__all__ = ["AcceptState", "BadCall", "Call", "Unpacker", "packed", "read_call", "reply_to"]

_LARGEST_RECORD = 1 << 22
_LAST = 1 << 31
_CALL, _REPLY = 0, 1
_RPC_VERSION = 2


class BadCall(Exception):
    """What came is no call; the connection is of no use any more."""


class AcceptState:
    """What became of an accepted call."""

    SUCCESS = 0
    NO_SUCH_PROGRAM = 1
    NO_SUCH_VERSION = 2
    NO_SUCH_PROCEDURE = 3
    BAD_ARGUMENTS = 4


class Unpacker:
    """Reads values from packed bytes, one after the other.

    Raises
    ------
    BadCall
        From every method: the bytes end too early.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._place = 0

    def unsigned(self) -> int:
        """Return the next unsigned integer."""
        return int.from_bytes(self._take(4), "big")

    def opaque(self) -> bytes:
        """Return the next bytes of variable length."""
        length = self.unsigned()
        data = self._take(length)
        self._take(-length % 4)
        return data

    def rest(self) -> bytes:
        """Return everything that is left."""
        return self._take(len(self._data) - self._place)

    def _take(self, count: int) -> bytes:
        if self._place + count > len(self._data):
            raise BadCall
        self._place += count
        return self._data[self._place - count : self._place]


def packed(*values: int | bytes) -> bytes:
    """Return integers and bytes of variable length as they are sent."""
    parts = []
    for value in values:
        if isinstance(value, int):
            parts.append(struct.pack("!I", value & 0xFFFF_FFFF))
        else:
            parts += [struct.pack("!I", len(value)), value, bytes(-len(value) % 4)]
    return b"".join(parts)


@dataclass(frozen=True, slots=True)
class Call:
    """A call of procedure `number` of a program, with its packed arguments."""

    number: int
    program: int
    version: int
    procedure: int
    arguments: bytes


async def read_call(reader: asyncio.StreamReader) -> Call:
    """Return the next call.

    Raises
    ------
    BadCall
        It is none, or is too long.
    IncompleteReadError
        The connection has ended.
    """
    record = bytearray()
    last = False
    while not last:
        mark = int.from_bytes(await reader.readexactly(4), "big")
        last = bool(mark & _LAST)
        length = mark & ~_LAST
        if len(record) + length > _LARGEST_RECORD:
            raise BadCall
        record += await reader.readexactly(length)
    values = Unpacker(bytes(record))
    number, kind, version = (values.unsigned() for _ in range(3))
    if kind != _CALL or version != _RPC_VERSION:
        raise BadCall
    program, program_version, procedure = (values.unsigned() for _ in range(3))
    for _ in range(2):  # credentials and verifier, which nobody looks at
        values.unsigned()
        values.opaque()
    return Call(number, program, program_version, procedure, values.rest())


def reply_to(call: Call, state: int, result: bytes = b"") -> bytes:
    """Return the reply to `call` as it is sent."""
    body = packed(call.number, _REPLY, 0, 0, b"", state) + result
    return struct.pack("!I", _LAST | len(body)) + body
