"""Messages and answers where both have ends: an answer is to be read before the next message is sent.

What HiSLIP and VXI-11 have in common. Messages are carried out in their order by a task of their own, so that
a listener stays free for status and device clear.
"""

from __future__ import annotations

import asyncio
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable

from benchsweep.simulator.scpi import Reply, ScpiDevice, ScpiFault, Session

__all__ = ["Exchange"]

_MESSAGE_AVAILABLE = 16


class Exchange(ABC):
    """The messages and answers of one client.

    Parameters
    ----------
    device
        Who answers.
    cut
        Ends the client's connections at once.
    """

    def __init__(self, device: ScpiDevice, cut: Callable[[], None]) -> None:
        self.device = device
        self.session = Session(cut)
        self.answer_open = False
        self._parts: list[bytes] = []
        self._arrived: deque[tuple[int, str]] = deque()
        self._news = asyncio.Event()
        self._worker: asyncio.Task[None] | None = None
        self._message: asyncio.Future[Reply] | None = None
        self._at_work = False

    @abstractmethod
    async def turn(self) -> None:
        """Return when locks let this client use the device."""

    @abstractmethod
    async def deliver(self, reply: Reply, tag: int) -> None:
        """Hand an answer on, or the end of the link."""

    @abstractmethod
    async def tell_interrupted(self, tag: int) -> None:
        """Tell the client that the message `tag` came before the answer to an older one was read."""

    @property
    def idle(self) -> bool:
        """True when nothing is asked and nothing waits to be read."""
        return not (self._at_work or self._arrived or self.answer_open)

    @property
    def status_byte(self) -> int:
        """The status byte as a serial poll reads it."""
        byte = self.device.status.byte(answer_waits=self.answer_open)
        return byte | (_MESSAGE_AVAILABLE if self.answer_open else 0)

    def start(self) -> None:
        """Begin to carry out what arrives."""
        self.device.sessions.add(self.session)
        self._worker = asyncio.get_running_loop().create_task(self._work())

    async def stop(self) -> None:
        """Leave off whatever is being carried out."""
        self.session.clear()
        self.device.sessions.discard(self.session)
        if self._worker is not None:
            self._worker.cancel()
            await asyncio.wait({self._worker})
            self._worker = None
        self._at_work = False

    async def clear(self) -> None:
        """Drop messages, answers and whatever is being carried out, as a device clear asks."""
        await self.stop()
        self._parts.clear()
        self._arrived.clear()
        self.answer_open = False
        self.start()

    async def take(self, data: bytes, tag: int, *, end: bool) -> None:
        """Take a message or a part of one; the parts before an `end` belong together."""
        if self.answer_open:
            await self.interrupted(tag)
        self._parts.append(data)
        if not end:
            return
        text = b"".join(self._parts).decode("latin-1").removesuffix("\n")
        self._parts.clear()
        self._arrived.extend((tag, line.removesuffix("\r")) for line in text.split("\n"))
        self._news.set()

    async def interrupted(self, tag: int) -> None:
        """Drop an answer that was not read before the message `tag` came."""
        self.answer_open = False
        self.device.status.report(ScpiFault(-410))
        await self.tell_interrupted(tag)

    async def _work(self) -> None:
        try:
            while True:
                while not self._arrived:
                    self._news.clear()
                    await self._news.wait()
                tag, text = self._arrived.popleft()
                self._at_work = True
                await self._answer(text, tag)
                self._at_work = False
        except OSError:
            self.session.cut()

    async def _answer(self, text: str, tag: int) -> None:
        await self.turn()
        # A message that has been begun is carried out, whoever goes meanwhile.
        self._message = asyncio.ensure_future(self.device.execute(text, self.session))
        reply = await asyncio.shield(self._message)
        if reply.after_s:
            await asyncio.sleep(reply.after_s)
        if reply.data and self._arrived:
            await self.interrupted(self._arrived[0][0])
        elif reply.data or reply.close:
            self.answer_open = bool(reply.data)
            await self.deliver(reply, tag)
