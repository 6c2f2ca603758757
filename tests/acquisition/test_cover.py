"""Covering designs: complete, as small as published, and with few changes from one to the next."""

from __future__ import annotations

from itertools import combinations, pairwise
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.acquisition._cover import cover


def schoenheim(n: int, k: int) -> int:
    """Lower bound for the number of blocks (Schönheim, Pacific J. Math. 14, 1964), for covered pairs."""
    return ceil(n / k * ceil((n - 1) / (k - 1)))


def changes(blocks: tuple[tuple[int, ...], ...]) -> int:
    return sum(len(set(after) - set(before)) for before, after in pairwise(blocks))


@given(st.integers(2, 8).flatmap(lambda n: st.tuples(st.just(n), st.integers(2, n))))
def test_every_pair_is_covered_by_full_blocks(sizes: tuple[int, int]) -> None:
    n, k = sizes
    blocks = cover(n, k)
    covered = {pair for block in blocks for pair in combinations(block, 2)}
    assert covered == set(combinations(range(n), 2))
    assert all(len(set(block)) == k and list(block) == sorted(block) for block in blocks)
    assert schoenheim(n, k) <= len(blocks) <= n * (n - 1) // 2


# Gordon, Kuperberg and Patashnik, J. Combin. Designs 3 (1995), table for t = 2, row v = 8.
@pytest.mark.parametrize(("k", "fewest"), [(2, 28), (3, 11), (4, 6), (5, 4), (6, 3), (7, 3), (8, 1)])
def test_eight_ports_need_as_few_as_published(k: int, fewest: int) -> None:
    assert len(cover(8, k)) == fewest


@pytest.mark.parametrize("n", range(3, 9))
def test_in_pairs_only_one_port_moves_at_a_time(n: int) -> None:
    assert changes(cover(n, 2)) == n * (n - 1) // 2 - 1


def test_four_places_hold_both_ends_of_two_pairs() -> None:
    """Ports 0-3 are one end and 4-7 the other: {i, j, i+4, j+4} for all six combinations."""
    expected = {(i, j, i + 4, j + 4) for i, j in combinations(range(4), 2)}
    assert set(cover(8, 4)) == expected
    # Any two of these share at most one pair, so that at least two ports move each time.
    assert changes(cover(8, 4)) == 5 * 2


@pytest.mark.parametrize("sizes", [(8, 1), (4, 5), (1, 1)])
def test_impossible(sizes: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="covering design"):
        cover(*sizes)
