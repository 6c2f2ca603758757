"""The random order of a lot: made by SHA-256, so that anybody can make it again, and fair."""

from __future__ import annotations

import random
import shutil
import subprocess

import pytest
from scipy.stats import chisquare

from benchsweep.lots import order_key, random_order, spare_reels
from tests.lots.entries import REELS, excluded, lot


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="the other program is not here")
@pytest.mark.parametrize("reel", ["R001", "Trommel 7, grün"])
def test_another_program_makes_the_same_key(reel: str) -> None:
    command = 'printf \'%s\\n%s\' "$1" "$2" | sha256sum'
    told = subprocess.run(["sh", "-c", command, "sh", "Saat 3", reel], capture_output=True, check=True)
    assert told.stdout.decode().split()[0] == order_key(reel, "Saat 3")


def test_the_order_is_that_of_the_keys_of_another_program() -> None:
    # `for r in R001 R002 R003 R004; do printf 'the seed\n'$r | sha256sum; done`, GNU coreutils.
    keys = {"R001": "4f54be5f", "R002": "9473f6d4", "R003": "6683e21b", "R004": "dc3bc40e"}
    assert {reel: order_key(reel, "the seed")[:8] for reel in keys} == keys
    assert random_order(list(keys), "the seed") == ("R001", "R003", "R002", "R004")


def test_it_does_not_depend_on_how_the_reels_are_listed_and_each_keeps_its_place() -> None:
    order = random_order(REELS, "x")
    shuffled = list(REELS)
    random.Random(5).shuffle(shuffled)
    assert random_order(shuffled, "x") == order
    assert random_order(REELS, "y") != order
    left = [reel for reel in REELS if reel != order[3]]
    assert random_order(left, "x") == tuple(reel for reel in order if reel != order[3])


def test_every_reel_comes_to_every_place_equally_often() -> None:
    reels, seeds = REELS[:5], 2000
    orders = [random_order(reels, f"seed {number}") for number in range(seeds)]
    for place in range(len(reels)):
        counts = [sum(order[place] == reel for order in orders) for reel in reels]
        # The seeds are fixed: this holds or does not. 1e-3: for one of a thousand fair methods it would not.
        assert chisquare(counts).pvalue > 1e-3


def test_spare_reels_are_those_behind_the_sample_and_an_excluded_one_is_none() -> None:
    state = lot()
    assert spare_reels(state) == state.order[5:]
    gone = state.sample[0]
    after = lot(None, excluded(gone))
    assert after.sample == state.order[1:6]
    assert spare_reels(after) == state.order[6:]
