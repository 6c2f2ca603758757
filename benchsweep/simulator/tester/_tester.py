"""A field tester measures a specimen: waves with its leakage and noise, losses with its gain and faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.simulator.specimen import SimulatedSpecimen
from benchsweep.simulator.tester._errors import drawn, leak, random_of
from benchsweep.simulator.tester._levels import ErrorLevel, Leak
from benchsweep.simulator.tester._parameters import (
    ENDS,
    PAIRS,
    Key,
    group_delay_s,
    pair_waves,
    parameters_of,
)

__all__ = ["FAULTS", "SimulatedTester", "Told", "measure"]

FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "offset": "every loss is told too large by so many dB (2 by default)",
        "tilt": "losses are told too large by so many dB for each decade above 10 MHz (2 by default)",
        "swapped-pairs": "pairs 36 and 45 are exchanged at both ends",
        "swapped-ends": "the units at both ends are exchanged: what is told of end A is of end B",
        "worn-plug": "the plug at end A leaks between 36 and 45 and reflects, so many dB more (30)",
        "drift": "the gain drifts by so many dB in 100 days (2 by default)",
    }
)
"""What can be wrong with a tester, in words. Each may be given with a size."""

_DEFAULTS = {"offset": 2.0, "tilt": 2.0, "worn-plug": 30.0, "drift": 2.0}
_LARGEST_DB = 100.0
_LONGEST_DAYS = 36500.0
_SWAPPED = {"36": "45", "45": "36"}
_TILT_FROM_HZ = 10e6
_SMALL_DB = 40.0
_STEP_HZ = 20e3
_FIRST_DAY = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
_NO_LOSS = ("delay", "skew")


@dataclass(frozen=True)
class SimulatedTester:
    """A field tester.

    Parameters
    ----------
    name
        What the laboratory calls it.
    level
        How large its errors are.
    seed
        Which errors they are.
    faults
        Name in `FAULTS` -> size in dB; None: the size told there.
    """

    name: str
    level: ErrorLevel
    seed: int = 1
    faults: Mapping[str, float | None] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        for name in self.faults:
            if name not in FAULTS:
                raise UsageError(
                    f"no fault of a simulated tester is called {name}",
                    hint=f"There are: {', '.join(FAULTS)}.",
                )
            size = self.faults[name]
            if size is not None and name not in _DEFAULTS:
                raise UsageError(f"the fault {name} has no size", hint=f"Write {name} alone.")
            if size is not None and not abs(size) <= _LARGEST_DB:
                raise UsageError(
                    f"the fault {name} cannot be of {size:g} dB", hint=f"At most {_LARGEST_DB:g} dB."
                )

    def size(self, fault: str) -> float:
        """Return the size of a fault in dB; zero where the tester has it not."""
        if fault not in self.faults:
            return 0.0
        size = self.faults[fault]
        return _DEFAULTS.get(fault, 1.0) if size is None else float(size)


@dataclass(frozen=True, eq=False)
class Told:
    """What a tester told of a specimen.

    Parameters
    ----------
    tester, specimen
        Names.
    at
        When (ISO 8601, UTC), by its clock.
    frequency_hz
        ``(n_freq,)`` rising.
    values
        Parameter, end, pairs -> ``(n_freq,)`` in dB, losses positive; delay and skew in ns.
    """

    tester: str
    specimen: str
    at: str
    frequency_hz: NDArray[np.float64]
    values: Mapping[Key, NDArray[np.float64]]


def measure(
    tester: SimulatedTester,
    specimen: SimulatedSpecimen,
    frequency_hz: NDArray[np.float64],
    *,
    day: float = 0.0,
    mating: int = 1,
    adjusted: datetime = _FIRST_DAY,
) -> Told:
    """Measure a specimen of eight conductors.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)`` rising, above zero.
    day
        Days since the tester was adjusted; its gain drifts with them.
    mating
        Number of the mating: another one has other plugs' errors. Noise is new on every day and mating.
    adjusted
        When it was adjusted: what it tells is dated `day` days later.

    Raises
    ------
    UsageError
        The specimen has not eight conductors at both ends, the frequencies do not rise, or the day is none.
    DataFileError
        The specimen is a file, and a frequency lies outside it.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if frequency.ndim != 1 or frequency.size < 2 or not (np.diff(frequency) > 0.0).all():
        raise UsageError("a simulated tester needs two or more rising frequencies")
    if not abs(day) <= _LONGEST_DAYS:
        raise UsageError(f"{day:g} is no day", hint=f"Up to {_LONGEST_DAYS:g} days from the adjustment.")
    if len(specimen.conductors) != 16:
        raise UsageError(
            f"specimen {specimen.name}: a field tester measures eight conductors from both ends",
            hint="Take a specimen with four pairs.",
        )
    highest = np.inf if specimen.grid is None else specimen.grid[1]
    step = np.where(frequency + _STEP_HZ <= highest, _STEP_HZ, -_STEP_HZ)
    both = pair_waves(specimen.scatter(np.concatenate([frequency, frequency + step])))
    group = group_delay_s(both, step)
    waves = {path: wave[: frequency.size] for path, wave in both.items()}
    seen = _with_waves(tester, waves, frequency, day=day, mating=mating)
    told = {
        key: _told(tester, key, values, frequency, day)
        for key, values in parameters_of(frequency, seen, group).items()
    }
    told = {_renamed(tester, key): values for key, values in told.items()}
    try:
        at = (adjusted + timedelta(days=day)).isoformat(timespec="seconds")
    except OverflowError:
        raise UsageError(
            f"{day:g} days after {adjusted:%Y-%m-%d} is no day", hint="Take a day of the calendar."
        ) from None
    return Told(tester.name, specimen.name, at, frequency, MappingProxyType(told))


def _with_waves(
    tester: SimulatedTester,
    waves: Mapping[tuple[str, str, str, str], NDArray[np.complex128]],
    frequency: NDArray[np.float64],
    *,
    day: float,
    mating: int,
) -> dict[tuple[str, str, str, str], NDArray[np.complex128]]:
    """Return what arrives at the receivers: the waves with what instrument and plugs reflect and leak."""
    level, seed = tester.level, tester.seed
    worn = tester.size("worn-plug")
    noise = random_of("noise", seed, f"{day:.6f}", mating)
    scale = 10.0 ** (level.noise.floor_db / 20.0) / np.sqrt(2.0)
    seen = {}
    for (out, pair_out, into, pair_in), wave in waves.items():
        names = sorted((f"{out}{pair_out}", f"{into}{pair_in}"))
        path = "-".join(names)
        added = np.zeros_like(wave)
        if (out, pair_out) == (into, pair_in):
            match = leak(frequency, level.source_match, random_of("match", seed, path))
            added += leak(frequency, level.directivity, random_of("directivity", seed, path))
            size = _more(level.mating_reflection, worn if out == "A" and pair_out in _SWAPPED else 0.0)
            added += leak(frequency, size, random_of("plug", seed, mating, path))
            wave = wave / (1.0 - match * wave)
        elif out == into:
            added += leak(frequency, level.near_leakage, random_of("near", seed, path))
            worn_here = worn if out == "A" and {pair_out, pair_in} == set(_SWAPPED) else 0.0
            size = _more(level.mating_leakage, worn_here)
            added += leak(frequency, size, random_of("plug", seed, mating, path))
        elif pair_out != pair_in:
            # Leakage at the far side comes with the loss of the cable.
            through = waves[into, pair_in, out, pair_in] if into != out else 1.0
            added += leak(frequency, level.far_leakage, random_of("far", seed, path)) * through
        received = noise.normal(scale=scale, size=(2, frequency.size))
        seen[out, pair_out, into, pair_in] = wave + added + received[0] + 1j * received[1]
    return seen


def _more(size: Leak, by_db: float) -> Leak:
    return size if by_db == 0.0 else size.model_copy(update={"level_db": min(size.level_db + by_db, -1.0)})


def _told(
    tester: SimulatedTester,
    key: Key,
    values: NDArray[np.float64],
    frequency: NDArray[np.float64],
    day: float,
) -> NDArray[np.float64]:
    """Return values as the tester tells them: with its gain, its tilt, what drifts, its time base."""
    parameter = key[0]
    level, seed = tester.level, tester.seed
    if parameter in _NO_LOSS:
        relative = drawn(level.delay.relative, "time base", seed)
        offset = drawn(level.delay.offset_ns, "delay", seed, *key)
        return values * (1.0 + relative) + (offset if parameter == "delay" else abs(offset))
    gain = level.gain
    decades = np.log10(frequency / _TILT_FROM_HZ)
    error = drawn(gain.offset_db, "gain", seed, parameter) + decades * drawn(
        gain.tilt_db_per_decade, "tilt", seed, parameter
    )
    drift = drawn(gain.drift_db_per_100_days, "drift", seed) + tester.size("drift")
    error = error + drift * day / 100.0
    error = error + gain.dynamic_db_per_10_db * np.maximum(values - _SMALL_DB, 0.0) / 10.0
    error = error + tester.size("offset") + tester.size("tilt") * np.maximum(decades, 0.0)
    return values + error


def _renamed(tester: SimulatedTester, key: Key) -> Key:
    """Return under which name a tester tells what it measured, where pairs or ends are exchanged."""
    parameter, end, pairs = key
    if "swapped-ends" in tester.faults and end:
        end = ENDS[1 - ENDS.index(end)]
    if "swapped-pairs" in tester.faults:
        names = [_SWAPPED.get(pair, pair) for pair in pairs.split("-")]
        if parameter in ("next", "skew"):
            names.sort(key=PAIRS.index)
        pairs = "-".join(names)
    return parameter, end, pairs
