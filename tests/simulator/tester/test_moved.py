"""The channel that has moved: what its file says of it is what an ideal tester finds."""

from __future__ import annotations

from functools import cache

import numpy as np

from benchsweep.simulator.specimen import load_specimen
from benchsweep.simulator.tester import SimulatedTester, Told, measure
from tests.simulator.tester.test_tester import PAIRS, quiet

GRID = np.geomspace(1e6, 250e6, 60)
ENDS = ("A", "B")


@cache
def told(specimen: str) -> Told:
    return measure(SimulatedTester("ideal", quiet()), load_specimen(specimen, seed=1), GRID)


def change(parameter: str, pairs: str) -> np.ndarray:
    was, now = told("channel-100m").values, told("channel-100m-moved").values
    return np.array([now[parameter, end, pairs] - was[parameter, end, pairs] for end in ENDS])


def test_loss_has_risen_by_a_little_less_than_one_percent() -> None:
    # All of the loss is of the conductors but a part: contacts, dielectric.
    for pair in PAIRS:
        risen = change("insertion_loss", pair) / told("channel-100m").values["insertion_loss", "A", pair]
        assert ((risen > 0.005) & (risen < 0.0105)).all()


def test_cables_couple_more_where_the_cables_make_the_crosstalk() -> None:
    # Below 10 MHz connections couple 20 dB weaker than cables: their strength is that of the cables, -0.3 dB
    # (a power sum over three combinations, and over 100 m of random coupling).
    low = GRID < 10e6
    for pair in PAIRS:
        np.testing.assert_allclose(change("ps_next", pair)[:, low].mean(), -0.3, atol=0.05)


def test_delay_stays_but_for_what_the_loss_bends() -> None:
    # More loss of conductors goes with more internal inductance: by Kramers and Kronig some tenths of ns.
    for pair in PAIRS:
        now, was = (told(name).values["delay", "", pair] for name in ("channel-100m-moved", "channel-100m"))
        assert np.abs(now - was).max() < 0.5
