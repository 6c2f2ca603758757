"""Covering designs: every two of n ports attached at once in at least one set-up, k places at a time.

Gordon, Kuperberg and Patashnik, "New constructions for covering designs", J. Combin. Designs 3 (1995), give
the definition and the Schönheim bound, which the set-ups for eight ports meet.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations

__all__ = ["cover"]

Block = tuple[int, ...]

# Largest number of blocks whose best order is searched exhaustively (dynamic programming, 2**n states).
_EXACT_ORDER = 12


@cache
def cover(n: int, k: int) -> tuple[Block, ...]:
    """Return blocks of `k` out of ``range(n)`` that cover all pairs, in an order with few changes.

    Parameters
    ----------
    n
        Number of ports, at least 2.
    k
        Places, 2 to `n`.

    Raises
    ------
    ValueError
        Other n or k.

    Examples
    --------
    >>> cover(4, 2)
    ((0, 1), (0, 2), (0, 3), (1, 3), (1, 2), (2, 3))
    """
    if not 2 <= k <= n:
        raise ValueError(f"no covering design of {n} ports with {k} places")
    if k == 2:
        return _pairs_in_turn(n)
    if k == n:
        return (tuple(range(n)),)
    candidates = [_greedy(n, k)]
    if n % 2 == 0 and k % 2 == 0 and k >= 4:
        candidates.append(_both_ends(n // 2, k // 2))
    # Both ends of the same pairs are the natural thing on a bench, so they win a draw.
    fewest = min(len(blocks) for blocks in candidates)
    blocks = next(blocks for blocks in reversed(candidates) if len(blocks) == fewest)
    return _in_order(blocks)


def _pairs_in_turn(n: int) -> tuple[Block, ...]:
    """Return all pairs so that each shares one port with the one before it."""
    order: list[Block] = []
    last = -1
    for first in range(n - 1):
        partners = [other for other in range(first + 1, n) if other != last]
        if last > first:
            partners.insert(0, last)
        order += [(first, other) for other in partners]
        last = partners[-1]
    return tuple(order)


def _both_ends(pairs: int, k: int) -> tuple[Block, ...]:
    """Return a cover of ports that come in two ends: pair p is ports p and p + `pairs`."""
    halves = cover(pairs, k) if k >= 2 else ()
    return tuple(tuple(sorted((*half, *(p + pairs for p in half)))) for half in halves)


def _greedy(n: int, k: int) -> tuple[Block, ...]:
    """Take the block that covers most, again and again; then drop blocks that others make needless."""
    open_pairs = set(combinations(range(n), 2))
    every = list(combinations(range(n), k))
    taken: list[Block] = []
    while open_pairs:
        best = max(every, key=lambda block: sum(pair in open_pairs for pair in combinations(block, 2)))
        taken.append(best)
        open_pairs.difference_update(combinations(best, 2))
    for block in list(taken):
        rest = {pair for other in taken if other != block for pair in combinations(other, 2)}
        if len(rest) == n * (n - 1) // 2:
            taken.remove(block)
    return tuple(taken)


def _changes(before: Block, after: Block) -> int:
    return len(set(after) - set(before))


def _in_order(blocks: tuple[Block, ...]) -> tuple[Block, ...]:
    """Return `blocks` in an order with the fewest changes (Held and Karp 1962), or near it for many."""
    if len(blocks) > _EXACT_ORDER:
        return _nearest_first(blocks)
    count = len(blocks)
    # Of all ways to have made the set `done` that end with block `last`: fewest changes, the block before.
    best: dict[tuple[int, int], tuple[int, int]] = {(1 << i, i): (0, -1) for i in range(count)}
    for done in range(1, 1 << count):
        for last in range(count):
            if (done, last) not in best:
                continue
            cost = best[done, last][0]
            for following in range(count):
                if done >> following & 1:
                    continue
                key = (done | 1 << following, following)
                total = cost + _changes(blocks[last], blocks[following])
                if key not in best or total < best[key][0]:
                    best[key] = (total, last)
    done = (1 << count) - 1
    # Changes count the same in both directions, so the way is walked back from its better-looking end.
    last = min(range(count), key=lambda i: (best[done, i][0], blocks[i]))
    order: list[Block] = []
    while last >= 0:
        order.append(blocks[last])
        done, last = done & ~(1 << last), best[done, last][1]
    return tuple(order)


def _nearest_first(blocks: tuple[Block, ...]) -> tuple[Block, ...]:
    left = list(blocks[1:])
    order = [blocks[0]]
    while left:
        nearest = min(left, key=lambda block: _changes(order[-1], block))
        left.remove(nearest)
        order.append(nearest)
    return tuple(order)
