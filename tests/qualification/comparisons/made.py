"""Reference channels as the bench measures them, and what testers with known errors tell of them."""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive
from benchsweep.limits import load_requirement
from benchsweep.qualification._reduction import evaluate
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.qualification.comparisons import (
    ChannelView,
    FieldTesterView,
    add_bench_record,
    compare,
    register_channel,
    register_tester,
)
from benchsweep.records import (
    Measurement,
    Parameter,
    SMatrix,
    Specimen,
    SweepSettings,
    Trace,
    balanced_ports,
)
from benchsweep.simulator.specimen import load_specimen

BY = "I. Vogt"
CHANNEL, TESTER = "reference 2", "FT-07"
REQUIREMENT = "tia-6-channel"
LEGS = tuple(leg for port in balanced_ports() for leg in port.legs)
GRID = np.unique(np.concatenate([np.geomspace(1e6, 250e6, 56), [10e6, 100e6]]))
FIRST = datetime(2026, 1, 5, 8, tzinfo=UTC)
LENGTH_M = {"channel-100m": 100.0, "link-90m": 90.0, "cord-5m": 5.0}

Errors = Callable[[Trace], NDArray[np.float64]]
"""What a tester adds to a trace of the bench, in its unit."""


@cache
def scattered(specimen: str, seed: int) -> NDArray[np.complex128]:
    """The matrix of a specimen at the legs, without any error."""
    model = load_specimen(specimen, seed=seed)
    order = [model.conductors.index(f"{leg.port.end}{leg.contact}") for leg in LEGS]
    return np.asarray(model.scatter(GRID)[:, order][:, :, order])


def measured(
    channel: str = CHANNEL,
    *,
    specimen: str = "channel-100m",
    seed: int = 3,
    day: float = 0.0,
    noise: float = 2e-6,
    gain_db: float = 0.0,
    budget: str = "simulated",
    temperature_degc: float | None = 20.0,
) -> Measurement:
    """A measurement of a channel; `gain_db` makes every wave larger by so much, as a bench that moved does.

    The scatter from record to record is a factor near one of each leg (contacts), drawn from channel and day.
    """
    rng = np.random.default_rng([int(day * 1000), *channel.encode()])
    factor = 10 ** (rng.normal(0.0, 0.02, 16) / 20.0) * 10 ** (gain_db / 40.0)
    s = scattered(specimen, seed) * factor[:, None] * factor[None, :]
    s = s + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
    s = 0.5 * (s + s.transpose(0, 2, 1))
    return Measurement(
        specimen=Specimen(channel, LENGTH_M[specimen]),
        created_at=(FIRST + timedelta(days=day)).isoformat(),
        origin="touchstone",
        station="",
        operator=BY,
        corrected=SMatrix(GRID, s, tuple(map(str, LEGS)), (50.0,) * 16),
        ambient={} if temperature_degc is None else {"temperature_degc": temperature_degc},
        settings=SweepSettings(1e6, 250e6, GRID.size, 1e3, 1, -5.0),
        budget_toml=budget_text(budget) if budget else "",
    )


def registered(folder: Path, channel: str = CHANNEL, *, specimen: str = "channel-100m") -> ChannelView:
    return register_channel(
        folder,
        channel,
        parts=("2 m cord", "90 m cable", "5 m cord"),
        length_m=LENGTH_M[specimen],
        requirement=load_requirement(REQUIREMENT),
        every_days=180.0,
        by=BY,
    )


def with_records(
    folder: Path, channel: str = CHANNEL, *, days: Sequence[float] = (0.0,), **how: object
) -> ChannelView:
    """A registered channel with a bench record of each day."""
    view = registered(folder, channel, specimen=str(how.get("specimen", "channel-100m")))
    for day in days:
        view = added(folder, channel, day=day, **how)
    return view


def added(folder: Path, channel: str = CHANNEL, *, day: float, **how: object) -> ChannelView:
    record = archive.write_record(measured(channel, day=day, **how), folder)  # type: ignore[arg-type]
    return add_bench_record(folder, channel, record, by=BY)


def no_error(trace: Trace) -> NDArray[np.float64]:
    return np.zeros(trace.value.size)


def constant(db: float, only: Parameter | None = None) -> Errors:
    """The same error of all losses, or of those of one parameter."""

    def error(trace: Trace) -> NDArray[np.float64]:
        wrong = trace.parameter.unit == "dB" and only in (None, trace.parameter)
        return np.full(trace.value.size, db if wrong else 0.0)

    return error


TOLD = (
    Parameter.INSERTION_LOSS,
    Parameter.RETURN_LOSS,
    Parameter.NEXT,
    Parameter.DELAY,
)


def told_file(
    path: Path,
    errors: Errors = no_error,
    *,
    names: Callable[[str], str] = lambda pair: pair,
    parameters: Sequence[Parameter] = TOLD,
    of: Measurement | None = None,
) -> Path:
    """Write a file of the shape ``long-values``: what is measured without noise, with errors.

    Parameters
    ----------
    names
        What the tester calls a pair.
    """
    traces = evaluate(measured(noise=0.0) if of is None else of).traces
    with path.open("w", newline="") as stream:
        out = csv.writer(stream)
        heads = ["Date", "Tester", "Channel", "Parameter", "End", "Pairs", "Frequency (Hz)", "Value", "Unit"]
        out.writerow(heads)
        for trace in traces:
            if trace.parameter not in parameters or not np.isfinite(trace.value).all():
                continue
            pairs = "-".join(map(names, trace.pairs))
            told = trace.value + errors(trace)
            for frequency, value in zip(trace.frequency_hz, told, strict=True):
                row = ["2026-02-01T10:00:00", TESTER, CHANNEL, trace.parameter.value, trace.end or "", pairs]
                out.writerow([*row, f"{frequency:.0f}", f"{value:.4f}", trace.parameter.unit])
    return path


def with_tester(folder: Path, tester: str = TESTER, *, accuracy: str = "demonstration") -> FieldTesterView:
    return register_tester(folder, tester, accuracy=accuracy, every_days=90.0, by=BY)


STATEMENT = """
schema = 1
name = "of this laboratory"
source = "re-matings of this laboratory"
standing = "common-practice"
[temperature]
difference_degc = 2.0
source = "air conditioning"
standing = "common-practice"
[[temperature.coefficient]]
parameter = "insertion_loss"
percent_per_degc = 0.4
source = "ISO/IEC 11801 for unscreened cables, from memory"
standing = "from-memory"
"""
MATING = """
[[mating]]
parameter = "{parameter}"
db = {db}
source = "five matings"
standing = "common-practice"
"""


def statement(path: Path, db: float = 0.1, parameters: Sequence[Parameter] = TOLD) -> Path:
    path.write_text(STATEMENT + "".join(MATING.format(parameter=each.value, db=db) for each in parameters))
    return path


def compared(folder: Path, errors: Errors = no_error, **how: object) -> FieldTesterView:
    """Compare a tester with these errors, on the channel, with a whole statement."""
    told = {key: how.pop(key) for key in ("names", "parameters", "of") if key in how}
    file = told_file(folder / "told.csv", errors, **told)  # type: ignore[arg-type]
    asked: dict[str, object] = {
        "file": file,
        "mapping": "long-values",
        "statement": statement(folder / "statement.toml"),
        "by": BY,
    }
    asked |= how
    tester, channel = asked.pop("tester", TESTER), asked.pop("channel", CHANNEL)
    return compare(folder, str(tester), str(channel), **asked)  # type: ignore[arg-type]
