"""What all listeners of the bench have in common."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from abc import ABC, abstractmethod

from benchsweep.errors import UsageError
from benchsweep.simulator.scpi import ScpiDevice

__all__ = ["HOST", "LONGEST_MESSAGE", "Door"]

_log = logging.getLogger(__name__)

HOST = "127.0.0.1"
LONGEST_MESSAGE = 1 << 20


class Door(ABC):
    """A listener on the loopback interface that leads to one device.

    Parameters
    ----------
    device
        The device.
    """

    def __init__(self, device: ScpiDevice) -> None:
        self.device = device
        self._server: asyncio.Server | None = None
        self._connections: set[asyncio.Task[None]] = set()

    async def open(self, port: int = 0) -> int:
        """Listen on `port` and return it; 0 takes a free one.

        Raises
        ------
        UsageError
            The port cannot be used.
        """
        try:
            self._server = await asyncio.start_server(self._accept, HOST, port, limit=LONGEST_MESSAGE)
        except (OSError, OverflowError) as error:
            raise UsageError(
                f"TCP port {port} on {HOST} cannot be used: {error}",
                hint="Give another port, or 0 for a free one.",
            ) from error
        number: int = self._server.sockets[0].getsockname()[1]
        return number

    async def close(self) -> None:
        """Let nobody in any more and end every connection."""
        if self._server is not None:
            self._server.close()
        for task in tuple(self._connections):
            task.cancel()
        await asyncio.gather(*self._connections, return_exceptions=True)

    @abstractmethod
    async def converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection until it ends."""

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.device.is_off:
            writer.transport.abort()
            return
        task = asyncio.get_running_loop().create_task(self._talk(reader, writer))
        self._connections.add(task)
        task.add_done_callback(self._connections.discard)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        link = writer.get_extra_info("socket")
        try:
            link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            await self.converse(reader, writer)
        except (OSError, asyncio.IncompleteReadError):
            _log.debug("a client went away")
        except asyncio.CancelledError:
            # A client that does not read must not hold up the end of the bench.
            writer.transport.abort()
            raise
        finally:
            writer.close()
            with contextlib.suppress(OSError, asyncio.CancelledError):
                await writer.wait_closed()
