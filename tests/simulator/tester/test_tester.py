"""The simulated field tester: its mathematics against scikit-rf, its errors, its faults."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import skrf

from benchsweep.errors import UnknownName, UsageError
from benchsweep.simulator.specimen import load_specimen
from benchsweep.simulator.tester import (
    FAULTS,
    ErrorLevel,
    SimulatedTester,
    Told,
    list_levels,
    load_level,
    measure,
)

SPECIMEN = "cord-5m"
GRID = np.linspace(1e6, 250e6, 60)
PAIRS = ("12", "36", "45", "78")


@cache
def quiet() -> ErrorLevel:
    """Return a level without any error."""
    level = load_level("demonstration")
    none = level.directivity.model_copy(update={"level_db": -300.0, "slope_db_per_decade": 0.0})
    leaks = dict.fromkeys(
        ("directivity", "source_match", "near_leakage", "far_leakage", "mating_reflection", "mating_leakage"),
        none,
    )
    gain = level.gain.model_copy(update=dict.fromkeys(type(level.gain).model_fields, 0.0))
    delay = level.delay.model_copy(update={"relative": 0.0, "offset_ns": 0.0})
    noise = level.noise.model_copy(update={"floor_db": -300.0})
    return level.model_copy(update={**leaks, "gain": gain, "delay": delay, "noise": noise})


@cache
def told(seed: int = 1, faults: tuple[str, ...] = (), day: float = 0.0, mating: int = 1) -> Told:
    tester = SimulatedTester("FT-07", load_level("demonstration"), seed, dict.fromkeys(faults))
    return measure(tester, load_specimen(SPECIMEN, seed=1), GRID, day=day, mating=mating)


@cache
def ideal() -> Told:
    return measure(SimulatedTester("ideal", quiet()), load_specimen(SPECIMEN, seed=1), GRID)


def test_losses_are_those_of_scikit_rf() -> None:
    # Mixed-mode by an independent library: `skrf.Network.se2gmm`, pairs of neighbouring ports.
    s = load_specimen(SPECIMEN, seed=1).scatter(GRID)
    order = [8 * end + int(contact) - 1 for end in (0, 1) for pair in PAIRS for contact in pair]
    network = skrf.Network(f=GRID, f_unit="Hz", s=s[:, order][:, :, order], z0=50)
    network.se2gmm(p=8)
    for end, other in (("A", "B"), ("B", "A")):
        first, far = 4 * (end == "B"), 4 * (other == "B")
        for at, pair in enumerate(PAIRS):
            through = network.s[:, first + at, far + at]
            assert_loss(("insertion_loss", end, pair), through)
            assert_loss(("return_loss", end, pair), network.s[:, first + at, first + at])
            for into, disturbing in enumerate(PAIRS):
                if into > at:
                    assert_loss(("next", end, f"{pair}-{disturbing}"), network.s[:, first + at, first + into])
                if into != at:
                    ratio = network.s[:, first + at, far + into] / through
                    assert_loss(("acr_f", end, f"{pair}-{disturbing}"), ratio)


def assert_loss(key: tuple[str, str, str], wave: np.ndarray) -> None:
    np.testing.assert_allclose(ideal().values[key], -20 * np.log10(np.abs(wave)), atol=1e-6)


def test_power_sums_add_powers() -> None:
    values = ideal().values
    next_of_36 = [values["next", "A", name] for name in ("12-36", "36-45", "36-78")]
    np.testing.assert_allclose(
        values["ps_next", "A", "36"], -10 * np.log10(sum(10 ** (-each / 10) for each in next_of_36))
    )


@pytest.mark.parametrize(("specimen", "length_m"), [("cord-2m", 2.0), ("channel-100m", 100.0)])
def test_delay_counts_whole_turns_on_a_coarse_grid(specimen: str, length_m: float) -> None:
    coarse = np.array([1e6, 3.3e6, 7.9e6, 40e6])
    loaded = load_specimen(specimen, seed=1)
    found = measure(SimulatedTester("ideal", quiet()), loaded, coarse).values["delay", "", "12"]
    # The phase followed in steps too small to lose a turn, the textbook way: 100 kHz are 0.05 turns of 100 m.
    fine = np.unique(np.concatenate([np.arange(1e6, 8e6, 100e3), coarse[:3]]))
    s = loaded.scatter(fine)
    phase = np.unwrap(np.angle(s[:, 8, 0] - s[:, 8, 1] - s[:, 9, 0] + s[:, 9, 1]))
    phase -= 2 * np.pi * np.round((phase[0] + 2 * np.pi * found[0] * 1e-9 * fine[0]) / (2 * np.pi))
    known = np.interp(coarse[:3], fine, -phase / (2 * np.pi * fine) * 1e9)
    np.testing.assert_allclose(found[:3], known, atol=1e-3)
    # Between 83 % and 50 % of the velocity of light.
    assert ((found / length_m > 4.0) & (found / length_m < 6.7)).all()


def test_the_same_seed_gives_the_same_tester_and_another_another() -> None:
    tester = SimulatedTester("FT-07", load_level("demonstration"), 1)
    again = measure(tester, load_specimen(SPECIMEN, seed=1), GRID)
    for key, values in told().values.items():
        np.testing.assert_array_equal(again.values[key], values)
    other = told(seed=2).values
    assert all((other[key] != values).any() for key, values in told().values.items())


def test_no_turn_is_lost_at_any_point_of_a_long_channel() -> None:
    # One turn lost is 4 to 10 ns between 100 and 250 MHz; of a smooth dispersion nothing remains at a
    # hundredth of a ns, the ripple of reflections does.
    grid = np.linspace(1e6, 250e6, 400)
    specimen = load_specimen("channel-100m", seed=1)
    for seed in range(3):
        tester = SimulatedTester("FT", load_level("demonstration"), seed)
        found = measure(tester, specimen, grid).values
        for pair in PAIRS:
            assert np.abs(np.diff(found["delay", "", pair][grid > 100e6])).max() < 1.0


def test_errors_are_small_where_the_level_is_large() -> None:
    judged = 0
    for (parameter, end, pairs), values in told().values.items():
        error = np.abs(values - ideal().values[parameter, end, pairs])
        if parameter in ("insertion_loss", "delay"):
            assert error.max() < 1.5
        if parameter == "next":
            # Leaks of instrument and plug and noise, of rms ratio r together to what is measured, three times
            # as large at the most: 20 lg(1 +- 3 r).
            level = load_level("demonstration")
            power = 10 ** (level.noise.floor_db / 10) + sum(
                10 ** ((leak.level_db + leak.slope_db_per_decade * np.log10(GRID / 100e6)) / 10)
                for leak in (level.near_leakage, level.mating_leakage)
            )
            ratio = np.sqrt(power) * 10 ** (ideal().values[parameter, end, pairs] / 20)
            known = ratio < 0.3
            judged += int(known.sum())
            bound = -20 * np.log10(1.0 - 3.0 * ratio[known]) + 0.5
            assert (error[known] < bound).all()
    assert judged >= 10


def test_matings_differ_by_their_plugs_alone() -> None:
    values, other = told().values, told(mating=2).values
    scatter = dict.fromkeys(("insertion_loss", "next"), 0.0)
    for key, one in values.items():
        if key[0] in scatter:
            scatter[key[0]] = max(scatter[key[0]], float(np.abs(one - other[key])[:30].max()))
    assert scatter["insertion_loss"] < 0.01 < scatter["next"]


@pytest.mark.parametrize(("fault", "decades"), [("offset", None), ("tilt", np.log10(GRID / 10e6))])
def test_offset_and_tilt_are_as_large_as_told(fault: str, decades: np.ndarray | None) -> None:
    expected = 2.0 if decades is None else 2.0 * np.maximum(decades, 0.0)
    for key, values in told(faults=(fault,)).values.items():
        shift = 0.0 if key[0] in ("delay", "skew") else expected
        np.testing.assert_allclose(values - told().values[key], shift, atol=1e-9)


def test_drift_grows_with_the_days() -> None:
    key = ("insertion_loss", "A", "12")
    grown = told(faults=("drift",), day=50.0).values[key] - told(faults=("drift",)).values[key]
    usual = told(day=50.0).values[key] - told().values[key]
    np.testing.assert_allclose(grown - usual, 1.0, atol=1e-9)


def test_swapped_pairs_and_ends_are_told_under_each_others_names() -> None:
    pairs, ends, plain = (
        told(faults=("swapped-pairs",)).values,
        told(faults=("swapped-ends",)).values,
        told().values,
    )
    for parameter, first, second in (
        ("insertion_loss", "36", "45"),
        ("next", "12-36", "12-45"),
        ("acr_f", "36-78", "45-78"),
        ("ps_next", "45", "36"),
    ):
        np.testing.assert_array_equal(pairs[parameter, "A", first], plain[parameter, "A", second])
    np.testing.assert_array_equal(pairs["next", "B", "36-45"], plain["next", "B", "36-45"])
    np.testing.assert_array_equal(pairs["delay", "", "36"], plain["delay", "", "45"])
    np.testing.assert_array_equal(ends["return_loss", "A", "78"], plain["return_loss", "B", "78"])
    assert set(pairs) == set(ends) == set(plain)


def test_a_worn_plug_spoils_one_end_and_two_pairs() -> None:
    worn, plain = told(faults=("worn-plug",)).values, told().values

    def change(*key: str) -> float:
        return float(np.abs(worn[key] - plain[key]).max())  # type: ignore[index]

    assert change("next", "A", "36-45") > 3.0
    assert change("return_loss", "A", "45") > 1.0
    for untouched in (("next", "B", "36-45"), ("next", "A", "12-78"), ("insertion_loss", "A", "36")):
        assert change(*untouched) == 0.0


def test_what_there_is_not_is_refused() -> None:
    level = load_level("demonstration")
    assert list_levels() == ("demonstration",)
    with pytest.raises(UnknownName, match="nothing"):
        load_level("nothing")
    with pytest.raises(UsageError, match="crooked"):
        SimulatedTester("FT", level, 1, {"crooked": None})
    tester = SimulatedTester("FT", level)
    with pytest.raises(UsageError, match="rising"):
        measure(tester, load_specimen(SPECIMEN, seed=1), GRID[::-1])
    four = replace(load_specimen(SPECIMEN, seed=1), conductors=("A1", "A2", "B1", "B2"))
    with pytest.raises(UsageError, match="eight conductors"):
        measure(tester, four, GRID)
    assert set(FAULTS) == {"offset", "tilt", "swapped-pairs", "swapped-ends", "worn-plug", "drift"}
