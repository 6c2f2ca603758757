"""Locks by which clients of one listener keep others away: exclusive, or shared by a key."""

from __future__ import annotations

import asyncio

__all__ = ["Locks"]


class Locks:
    """Who holds the device. Clients are numbers; an empty key is the exclusive lock."""

    def __init__(self) -> None:
        self._held: dict[int, list[str]] = {}
        self._changed = asyncio.Event()

    @property
    def is_exclusive(self) -> bool:
        """True while somebody holds the exclusive lock."""
        return any("" in keys for keys in self._held.values())

    @property
    def holders(self) -> int:
        """How many clients hold a lock."""
        return len(self._held)

    def has(self, client: int, key: str) -> bool:
        """Return whether `client` holds that lock already."""
        return key in self._held.get(client, ())

    def may_work(self, client: int) -> bool:
        """Return whether the locks of others let `client` use the device."""
        others = [keys for number, keys in self._held.items() if number != client]
        if any("" in keys for keys in others):
            return False
        return not others or client in self._held

    async def wait_for_turn(self, client: int) -> None:
        """Return when `client` may use the device."""
        while not self.may_work(client):
            await self._changed.wait()

    async def acquire(self, client: int, key: str, within_s: float) -> bool:
        """Take a lock, and return whether it was free within that time."""
        try:
            async with asyncio.timeout(within_s):
                while not self._is_free(client, key):
                    await self._changed.wait()
        except TimeoutError:
            return False
        self._held.setdefault(client, []).append(key)
        return True

    def _is_free(self, client: int, key: str) -> bool:
        others = [keys for number, keys in self._held.items() if number != client]
        if any("" in keys for keys in others):
            return False
        if key:
            return all(key in keys for keys in others)
        # The exclusive lock is free beside shared ones of a group that the client belongs to.
        return not others or client in self._held

    def release(self, client: int) -> str | None:
        """Give back a lock, the exclusive one first, and return its key; None: there was none."""
        keys = self._held.get(client)
        if not keys:
            return None
        key = "" if "" in keys else keys[-1]
        keys.remove(key)
        if not keys:
            del self._held[client]
        self._tell()
        return key

    def release_all(self, client: int) -> None:
        """Give back whatever a client held that has gone."""
        if self._held.pop(client, None) is not None:
            self._tell()

    def _tell(self) -> None:
        self._changed.set()
        self._changed = asyncio.Event()
