"""A record of 16 ports x 1001 points written and read, against the same arrays in a file of h5py alone.

The plain file holds every array of the record with its sha256, brought to the disc as ours is; no names that
never replace another, no text, no units and meanings, no seal over the structure. Reading is measured in
seconds of the processor, as files just written come from memory.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from itertools import count
from pathlib import Path

import h5py
import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import Measurement
from tests.archive.conftest import measurement, same
from tests.benchmarks.conftest import Figures, Timing

pytestmark = pytest.mark.benchmark_run

ROUNDS = 15
WRITE, READ = 2.0, 1.0
# Reading what grading needs, against reading all of the plain file; and alone, in milliseconds.
REDUCED, REDUCED_MS = 0.5, 8.0


def arrays_of(value: object, name: str = "") -> Iterator[tuple[str, np.ndarray]]:
    """Name and array of everything with numbers in it."""
    if isinstance(value, np.ndarray):
        yield name, value
    elif is_dataclass(value):
        for field in fields(value):
            yield from arrays_of(getattr(value, field.name), f"{name}/{field.name}")
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from arrays_of(one, f"{name}/{key}")
    elif isinstance(value, tuple):
        for number, one in enumerate(value):
            yield from arrays_of(one, f"{name}/{number}")


def write_plainly(arrays: Mapping[str, np.ndarray], path: Path) -> None:
    with h5py.File(path, "w") as file:
        for name, array in arrays.items():
            file.create_dataset(name, data=array).attrs["sha256"] = hashlib.sha256(array).hexdigest()
    descriptor = os.open(path, os.O_RDONLY)
    os.fsync(descriptor)
    os.close(descriptor)


def read_plainly(path: Path) -> dict[str, np.ndarray]:
    found = {}

    def take(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset):
            found[name] = item[()]
            assert hashlib.sha256(found[name]).hexdigest() == item.attrs["sha256"]

    with h5py.File(path) as file:
        file.visititems(take)
    return found


@pytest.fixture(scope="module")
def made() -> Measurement:
    return measurement(points=1001, ports=16, hookups=1, couplings=())


def milliseconds(timing: Timing) -> dict[str, str]:
    return {"ours": f"{1e3 * timing.ours_s:.1f} ms", "plain": f"{1e3 * timing.plain_s:.1f} ms"}


def test_writing_a_record(figures: Figures, made: Measurement, tmp_path: Path) -> None:
    arrays = dict(arrays_of(made))
    assert sum(array.nbytes for array in arrays.values()) > 12e6
    number = count()
    timing = figures.in_turn(
        lambda: archive.write_record(made, tmp_path / "ours"),
        lambda: write_plainly(arrays, tmp_path / f"{next(number)}.h5"),
        rounds=ROUNDS,
    )
    figures.keep("write a record, 16 ports x 1001 points", timing.ratio, WRITE, **milliseconds(timing))


def test_reading_a_record(figures: Figures, made: Measurement, tmp_path: Path) -> None:
    record, plain = archive.write_record(made, tmp_path), tmp_path / "plain.h5"
    arrays = dict(arrays_of(made))
    write_plainly(arrays, plain)
    assert same(archive.read_record(record), made)
    assert {name.lstrip("/") for name in arrays} == set(read_plainly(plain))
    timing = figures.in_turn(
        lambda: archive.read_record(record),
        lambda: read_plainly(plain),
        rounds=ROUNDS,
        clock=time.process_time,
    )
    figures.keep("read a record whole, all checked", timing.ratio, READ, **milliseconds(timing))


def test_reading_what_grading_needs(figures: Figures, made: Measurement, tmp_path: Path) -> None:
    record, plain = archive.write_record(made, tmp_path), tmp_path / "plain.h5"
    write_plainly(dict(arrays_of(made)), plain)
    assert same(archive.read_reduced(record).corrected, made.corrected)
    timing = figures.in_turn(
        lambda: archive.read_reduced(record),
        lambda: read_plainly(plain),
        rounds=ROUNDS,
        clock=time.process_time,
    )
    figures.keep(
        "read what grading needs, against all plainly", timing.ratio, REDUCED, **milliseconds(timing)
    )
    figures.keep(
        "read what grading needs", 1e3 * timing.ours_s, REDUCED_MS, unit="ms", **milliseconds(timing)
    )


def test_reading_the_head(figures: Figures, made: Measurement, tmp_path: Path) -> None:
    record, plain = archive.write_record(made, tmp_path), tmp_path / "plain.h5"
    write_plainly(dict(arrays_of(made)), plain)
    assert archive.read_head(record).specimen == made.specimen
    timing = figures.in_turn(
        lambda: archive.read_head(record), lambda: read_plainly(plain), rounds=ROUNDS, clock=time.process_time
    )
    figures.keep("read the head, against all plainly", timing.ratio, 0.25, **milliseconds(timing))
