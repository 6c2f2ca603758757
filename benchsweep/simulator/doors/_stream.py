"""The plainest listener: lines on a TCP stream."""

from __future__ import annotations

import asyncio

from benchsweep.simulator.doors._door import Door
from benchsweep.simulator.scpi import ScpiFault

__all__ = ["StreamDoor"]


class StreamDoor(Door):
    """Messages and answers are lines; nothing else marks their ends, and there is no device clear."""

    async def converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection until it ends."""
        with self.device.session(writer.transport.abort) as session:
            while True:
                try:
                    line = await reader.readuntil(b"\n")
                except asyncio.LimitOverrunError:
                    self.device.status.report(ScpiFault(-363))
                    await _skip_line(reader)
                    continue
                message = line[:-1].removesuffix(b"\r").decode("latin-1")
                reply = await self.device.execute(message, session)
                if reply.after_s:
                    await asyncio.sleep(reply.after_s)
                if reply.data:
                    writer.write(reply.data)
                    await writer.drain()
                if reply.close:
                    return


async def _skip_line(reader: asyncio.StreamReader) -> None:
    """Drop what belongs to a line that is too long."""
    while True:
        try:
            await reader.readuntil(b"\n")
        except asyncio.LimitOverrunError as error:
            await reader.readexactly(max(error.consumed, 1))
        else:
            return
