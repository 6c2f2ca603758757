from __future__ import annotations

import hashlib
from collections.abc import Sequence

from benchsweep.records import LotState

__all__ = ["order_key", "random_order", "spare_reels"]


def order_key(reel: str, seed: str) -> str:
    r"""Return what a reel is put in order by: 64 hexadecimal digits.

    SHA-256 (FIPS 180-4) of the seed, one line feed (byte 10) and the name of the reel, all in UTF-8. Whoever
    doubts a draw can make it again without this program::

        printf '%s\n%s' 'the seed' 'R001' | sha256sum

    Examples
    --------
    >>> order_key("R001", "the seed")[:16]
    '4f54be5fe6cfc14f'
    """
    return hashlib.sha256(f"{seed}\n{reel}".encode("utf-8", "surrogatepass")).hexdigest()


def random_order(reels: Sequence[str], seed: str) -> tuple[str, ...]:
    """Return the reels in the random order that a seed makes: by rising `order_key`.

    It depends on the seed and on the names alone: not on how they were listed, nor on any version of a random
    number generator. Each reel has its own place, so that a larger sample holds every smaller one, and a reel
    that is left out moves none of the others.

    Parameters
    ----------
    reels
        Names, all different.
    seed
        Any text. It must be chosen before the reels are known apart, by chance or by somebody who does not
        know which of them are good.

    Examples
    --------
    >>> random_order(["R001", "R002", "R003", "R004"], "the seed")
    ('R001', 'R003', 'R002', 'R004')
    """
    return tuple(sorted(reels, key=lambda reel: (order_key(reel, seed), reel)))


def spare_reels(state: LotState) -> tuple[str, ...]:
    """Return the reels that may still take the place of one that is excluded, next one first."""
    taken = {*state.sample, *(entry.reel for entry in state.excluded)}
    return tuple(reel for reel in state.order if reel not in taken)
