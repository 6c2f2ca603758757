"""The shipped specimens are what their descriptions say, by formulas written here."""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest

from benchsweep.simulator.specimen import list_specimens, load_specimen

PAIRS = ((1, 2), (3, 6), (4, 5), (7, 8))
COMBINATIONS = tuple(itertools.combinations(range(4), 2))
P36_P45 = (1, 2)
F = np.linspace(1e6, 500e6, 1000)
M = F / 1e6


def loss_db(values: np.ndarray) -> np.ndarray:
    return -20.0 * np.log10(np.abs(values))


def voltage_sum(*losses: np.ndarray) -> np.ndarray:
    return -20.0 * np.log10(sum(10 ** (-one / 20) for one in losses))


def next_margins(t: np.ndarray, limit: np.ndarray, end: int) -> dict[tuple[int, int], float]:
    return {(p, q): float(np.min(loss_db(t[:, end + p, end + q]) - limit)) for p, q in COMBINATIONS}


@cache
def mixed(name: str) -> np.ndarray:
    end = np.zeros((8, 8))
    for p, (one, other) in enumerate(PAIRS):
        end[p, one - 1], end[p, other - 1] = np.sqrt(0.5), -np.sqrt(0.5)
        end[4 + p, one - 1] = end[4 + p, other - 1] = np.sqrt(0.5)
    both = np.kron(np.eye(2), end)
    return both @ load_specimen(name, seed=1).scatter(F) @ both.T


# Category 6A of ANSI/TIA-568-C.2, all from memory.
CABLE_IL = 1.82 * np.sqrt(M) + 0.0091 * M + 0.25 / np.sqrt(M)
CORD_RL = np.where(M < 25, 24 + 3 * np.log10(M / 25), 24 - 10 * np.log10(M / 25))


def cord_next(length_m: float) -> np.ndarray:
    """NEXT of a cord between two test heads: heads in voltage, cable in power, 0.5 dB for reflected FEXT."""
    head = np.where(M <= 250, 54 - 20 * np.log10(M / 100), 46.04 - 40 * np.log10(M / 250))
    il, connector = 1.2 * CABLE_IL * length_m / 100, 0.02 * np.sqrt(M)
    heads = voltage_sum(head, head + 2 * (il + connector))
    cable = 44.3 - 15 * np.log10(M / 100) - 10 * np.log10(1 - 10 ** (-il / 5)) + 2 * connector
    return np.minimum(65, -10 * np.log10(10 ** (-heads / 10) + 10 ** (-cable / 10)) - 0.5)


def return_loss_margin(t: np.ndarray, limit: np.ndarray) -> float:
    return float(min(np.min(loss_db(t[:, e + p, e + p]) - limit) for e in (0, 8) for p in range(4)))


@pytest.mark.parametrize(("name", "length_m"), [("cord-2m", 2.0), ("cord-5m", 5.0)])
def test_good_cords_pass_with_room(name: str, length_m: float) -> None:
    t = mixed(name)
    assert return_loss_margin(t, CORD_RL) > 0.7
    for end in (0, 8):
        assert min(next_margins(t, cord_next(length_m), end).values()) > 0.7


def test_the_untwisted_cord_fails_next_36_45_at_end_b_alone() -> None:
    t = mixed("cord-2m-untwisted-b")
    limit = cord_next(2.0)
    at_a, at_b = next_margins(t, limit, 0), next_margins(t, limit, 8)
    assert at_b[P36_P45] < -1.0
    assert at_a[P36_P45] > 0.2
    assert return_loss_margin(t, CORD_RL) > 0.7
    assert min(v for margins in (at_a, at_b) for k, v in margins.items() if k != P36_P45) > 0.7


def test_the_split_cord_fails_badly_and_its_map_is_straight() -> None:
    t = mixed("cord-2m-split")
    assert next_margins(t, cord_next(2.0), 0)[P36_P45] < -10.0
    s = np.abs(load_specimen("cord-2m-split", seed=1).scatter(F[:1])[0, 8:, :8])
    assert np.array_equal(np.argmax(s, axis=0), np.arange(8))


def test_the_link_and_the_channel_pass() -> None:
    # Channel 1.05 x cable + 4 connectors, permanent link 0.9 x cable + 3 connectors + 0.00015 f^1.5.
    cable, connector = 44.3 - 15 * np.log10(M / 100), 54 - 20 * np.log10(M / 100)
    channel_il = 1.05 * CABLE_IL + 0.08 * np.sqrt(M)
    link_il = 0.9 * CABLE_IL + 0.06 * np.sqrt(M) + 0.00015 * M**1.5
    channel_next = np.where(M > 330, 31 - 27.15 * np.log10(M / 330), voltage_sum(cable, connector, connector))
    link_next = np.where(M > 300, 34 - 33.13 * np.log10(M / 300), voltage_sum(cable, connector))
    channel_rl = np.select(
        [M < 10, M < 40, M < 398.1], [19 + 0 * M, 24 - 5 * np.log10(M), 32 - 10 * np.log10(M)], 6
    )
    link_rl = np.select(
        [M < 3, M < 10, M < 40, M < 398.1],
        [21 + 4 * np.log10(M / 3), 21 + 0 * M, 26 - 5 * np.log10(M), 34 - 10 * np.log10(M)],
        8,
    )
    connectors = {"channel-100m": 4, "link-90m": 3}
    for name, il_limit, next_limit, rl in (
        ("channel-100m", channel_il, channel_next, channel_rl),
        ("link-90m", link_il, link_next, link_rl),
    ):
        t = mixed(name)
        il = np.array([loss_db(t[:, 8 + p, p]) for p in range(4)])
        assert np.min(il_limit - il) > 0.1
        assert return_loss_margin(t, rl) > 0.5
        for end in (0, 8):
            assert min(next_margins(t, np.minimum(65, next_limit), end).values()) > 0.5
        acr_f = voltage_sum(
            27.8 - 20 * np.log10(M / 100), *[43.1 - 20 * np.log10(M / 100)] * connectors[name]
        )
        for p, q in itertools.permutations(range(4), 2):
            assert np.min(loss_db(t[:, 8 + q, p]) - il[q] - acr_f) > 0.5
            assert np.min(loss_db(t[:, p, 8 + q]) - il[p] - acr_f) > 0.5


def test_the_reel_passes() -> None:
    t = mixed("cable-100m")
    for p in range(4):
        assert np.min(CABLE_IL - loss_db(t[:, 8 + p, p])) > 0.1
    assert min(next_margins(t, 44.3 - 15 * np.log10(M / 100), 0).values()) > 0.1
    limit = np.select([M < 10, M < 20], [20 + 5 * np.log10(M), 25 + 0 * M], 25 - 7 * np.log10(M / 20))
    assert return_loss_margin(t, limit) > 0.1


@pytest.mark.parametrize("name", list_specimens())
def test_each_shipped_specimen_fixes_its_seed_and_names_its_conductors(name: str) -> None:
    one, other = load_specimen(name, seed=1), load_specimen(name, seed=2)
    f = np.array([31e6])
    assert np.array_equal(one.scatter(f), other.scatter(f))
    assert one.conductors[0] == "A1"
    assert one.conductors[8] == "B1"
    assert one.grid is None
