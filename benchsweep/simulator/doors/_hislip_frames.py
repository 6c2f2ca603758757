"""Messages of HiSLIP (IVI-6.1, revision 1.0, from memory): header layout, types, codes."""

from __future__ import annotations

import asyncio
import struct
from dataclasses import dataclass
from enum import IntEnum

__all__ = ["HEADER_BYTES", "ErrorCode", "FatalCode", "Frame", "Kind", "NotHislip", "TooLarge", "read_frame"]

_HEADER = struct.Struct("!2sBBIQ")
_PROLOGUE = b"HS"
HEADER_BYTES = _HEADER.size


class Kind(IntEnum):
    """Message types."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAX_MESSAGE_SIZE = 15
    ASYNC_MAX_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_SERVICE_REQUEST = 20
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


class FatalCode(IntEnum):
    """Control codes of FatalError, after which the connection ends."""

    POOR_HEADER = 1
    CHANNELS_NOT_ESTABLISHED = 2
    BAD_INITIALIZATION = 3


class ErrorCode(IntEnum):
    """Control codes of Error, after which the connection goes on."""

    UNRECOGNIZED_TYPE = 1
    UNRECOGNIZED_CONTROL = 2
    TOO_LARGE = 4


class NotHislip(Exception):
    """What came does not begin as a message does."""


class TooLarge(Exception):
    """A message was larger than was agreed; its payload has been skipped."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One message.

    Parameters
    ----------
    kind
        Its type; a number that `Kind` does not know stays a number.
    control, parameter
        Control code and message parameter.
    payload
        Its data.
    """

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes | memoryview = b""

    def header(self) -> bytes:
        """Return the header as it is sent."""
        return _HEADER.pack(_PROLOGUE, self.kind, self.control, self.parameter, len(self.payload))


async def read_frame(reader: asyncio.StreamReader, largest: int) -> Frame:
    """Return the next message.

    Raises
    ------
    NotHislip
        It does not begin with ``HS``.
    TooLarge
        Its payload is larger than `largest`.
    IncompleteReadError
        The connection has ended.
    """
    prologue, kind, control, parameter, length = _HEADER.unpack(await reader.readexactly(HEADER_BYTES))
    if prologue != _PROLOGUE:
        raise NotHislip
    if length > largest:
        while length:
            length -= len(await reader.readexactly(min(length, 1 << 16)))
        raise TooLarge
    return Frame(kind, control, parameter, await reader.readexactly(length))
