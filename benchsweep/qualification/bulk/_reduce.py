"""Reduce the raw sweeps of many records again, with another calibration or fixture; the old ones stay."""

from __future__ import annotations

import base64
import json
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from benchsweep import archive, calibration, fixture
from benchsweep.definitions import find_definition
from benchsweep.errors import (
    ArchiveError,
    ArchiveUnreachable,
    BenchsweepError,
    CalibrationMissing,
    UsageError,
)
from benchsweep.qualification._bundle import of_the_specimen, reduce_couplings, termination_doubt
from benchsweep.qualification._corrections import apply_corrections
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._reduction import assembly_notes, reduce_hookups, software_versions
from benchsweep.qualification.bulk._plain import read_corrections
from benchsweep.qualification.bulk._runners import Runner
from benchsweep.qualification.bulk._work import Item
from benchsweep.records import Calibration, Measurement, SMatrix

__all__ = [
    "ReduceJob",
    "Reduced",
    "exit_code_of_reduce",
    "reduce_again",
    "reduce_chunk",
    "reduce_document",
]

_CHUNK = 4


@dataclass(frozen=True, slots=True)
class ReduceJob:
    """How sweeps are to be reduced.

    Parameters
    ----------
    calibration
        The bytes of a calibration file: a worker needs no file of the laboratory.
    fixture_toml
        Text of the fixture in place of those of the records; empty: their own.
    folder
        Where relative paths of records begin.
    """

    calibration: bytes
    fixture_toml: str = ""
    folder: str = field(default_factory=lambda: str(Path.cwd()))

    @classmethod
    def asked(cls, calibration_file: Path, fixture_name: str | None) -> ReduceJob:
        """Return the job for a stored calibration, and a fixture by name or path.

        Raises
        ------
        ArchiveError
            The calibration cannot be read.
        UnknownName, DefinitionError, FixtureError
            There is no such fixture, or it is wrong.
        """
        archive.read_calibration(calibration_file)
        text = ""
        if fixture_name is not None:
            text = fixture.fixture_text(find_definition("fixtures", fixture_name))
            fixture.read_fixture(text)
        return cls(calibration_file.read_bytes(), text)

    def to_text(self) -> str:
        """Return everything as JSON."""
        return json.dumps(
            {
                "calibration": base64.b64encode(self.calibration).decode(),
                "fixture_toml": self.fixture_toml,
                "folder": self.folder,
            }
        )

    @staticmethod
    def from_text(text: str) -> ReduceJob:
        """Return the job that `to_text` wrote."""
        told = json.loads(text)
        return ReduceJob(base64.b64decode(told["calibration"]), told["fixture_toml"], told["folder"])

    def solved(self) -> Calibration:
        """Return the calibration."""
        return _solved(self.calibration)

    def place_of(self, source: str) -> archive.Source:
        """Return where a record is: an address, or a path from the root of the file system."""
        return source if archive.is_url(source) else Path(self.folder) / source

    def is_of(self, measurement: Measurement) -> bool:
        """Tell whether a record was reduced in this way already."""
        own, solved = measurement.calibration, self.solved()
        return (
            own is not None
            and (own.identifier, own.created_at) == (solved.identifier, solved.created_at)
            and self.fixture_toml in ("", measurement.fixture_toml)
        )


@lru_cache(maxsize=2)
def _solved(content: bytes) -> Calibration:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "calibration.h5"
        path.write_bytes(content)
        return archive.read_calibration(path)


@dataclass(frozen=True, slots=True, eq=False)
class ReducedSweeps:
    """What the sweeps of one record become."""

    item: Item
    corrected: SMatrix
    couplings: tuple[SMatrix, ...]
    consistency_db: dict[str, float]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NotReduced:
    """Why the sweeps of a record were not reduced; without a problem they were before."""

    item: Item
    problem: str = ""
    damaged: bool = False


def reduce_chunk(job: str, items: Sequence[Item]) -> list[ReducedSweeps | NotReduced]:
    """Read some records and reduce their sweeps; a record that cannot be reduced stops no other.

    Raises
    ------
    ArchiveUnreachable
        The store does not answer: no record is to blame.
    """
    told = ReduceJob.from_text(job)
    with threadpool_limits(limits=1):
        return [_reduce(told, item) for item in items]


def _reduce(job: ReduceJob, item: Item) -> ReducedSweeps | NotReduced:
    try:
        measurement = archive.read_record(job.place_of(item.source))
        return NotReduced(item) if job.is_of(measurement) else _reduced(job, item, measurement)
    except ArchiveUnreachable:
        raise
    except BenchsweepError as error:
        return NotReduced(item, error.message, isinstance(error, ArchiveError))


def _reduced(job: ReduceJob, item: Item, measurement: Measurement) -> ReducedSweeps:
    solved = job.solved()
    _refuse_other_bench(solved, measurement)
    definition = fixture.read_fixture(job.fixture_toml or measurement.fixture_toml)
    assembled = reduce_hookups(of_the_specimen(measurement.hookups), solved, definition)
    couplings = reduce_couplings(measurement.hookups, solved, definition)
    doubt = termination_doubt(definition, assembled.matrix.frequency_hz) if couplings else ""
    return ReducedSweeps(
        item,
        assembled.matrix,
        couplings,
        dict(assembled.consistency_db),
        (*assembly_notes(assembled), *([doubt] if doubt else [])),
    )


def _refuse_other_bench(solved: Calibration, measurement: Measurement) -> None:
    """Refuse a calibration that could never have been applied to these sweeps; its age is not asked for.

    Raises
    ------
    CalibrationMissing
        The record holds no raw sweeps.
    CalibrationMismatch
        Another analyzer, grid, ports or way to them.
    """
    if not measurement.hookups or measurement.analyzer is None or measurement.settings is None:
        raise CalibrationMissing("it holds no raw sweeps: an imported record cannot be reduced again")
    made = datetime.fromisoformat(solved.created_at)
    for raw in measurement.hookups:
        calibration.check_usable(
            solved,
            frequency_hz=raw.sweep.frequency_hz,
            analyzer_ports=raw.sweep.analyzer_ports,
            idn=measurement.analyzer.idn,
            settings=measurement.settings,
            now=made if made.tzinfo else made.replace(tzinfo=UTC),
            max_age_hours=1.0,
            reached="" if measurement.calibration is None else measurement.calibration.reached,
        )


@dataclass(slots=True)
class Reduced:
    """What came of reducing many records again.

    Parameters
    ----------
    records
        How many were asked for.
    written
        Old record and new one.
    already
        How many were reduced in this way before, by an interrupted run or another.
    damaged, not_reduced
        Record and why it cannot be read, or cannot be reduced.
    warnings
        Files that cannot be read and keep no record from being reduced, and why.
    seconds
        How long it took.
    """

    records: int
    written: list[tuple[str, str]] = field(default_factory=list)
    already: int = 0
    damaged: list[tuple[str, str]] = field(default_factory=list)
    not_reduced: list[tuple[str, str]] = field(default_factory=list)
    warnings: list[tuple[str, str]] = field(default_factory=list)
    seconds: float = 0.0


def reduce_again(
    items: Sequence[Item],
    job: ReduceJob,
    runner: Runner,
    *,
    reason: str,
    folder: Path | None = None,
    damaged: Sequence[tuple[str, str]] = (),
    progress: Callable[[int, int], None] | None = None,
) -> Reduced:
    """Reduce the raw sweeps of records again and store the results as new records; the old ones stay.

    A new record has everything of the old one as corrected (`archive correct`), also its time, but another
    matrix and calibration, `reduced_from`, `reduced_at` and `reason`. Records that were reduced in this way
    already are passed over, so an interrupted run goes on where it stopped.

    Parameters
    ----------
    reason
        Why; kept in every new record.
    folder
        Where the new records go; None: each beside the old one.
    damaged
        Records that are known already not to be readable, or folders that cannot be listed, and why.
    progress
        Called with how many records are done, and of how many.

    Raises
    ------
    UsageError
        No reason, or no folder for records at an address.
    ArchiveLocked, ArchiveError
        A new record cannot be written.
    """
    if not reason.strip():
        raise UsageError("no reason is given", hint="Say with --reason why the sweeps are reduced again.")
    if folder is None and any(archive.is_url(item.source) for item in items):
        raise UsageError(
            "nothing is written to an address", hint="Give --output, a folder for the new records."
        )
    begun = time.monotonic()
    unreadable = sum(source.endswith(".h5") for source, _ in damaged)
    found = Reduced(len(items) + unreadable, damaged=list(damaged))
    done = 0
    with closing(runner.run(reduce_chunk, job.to_text(), _chunks(items))) as chunks:
        for results in chunks:
            for result in results:
                _store(result, job, found, reason=reason, folder=folder)
            done += len(results)
            if progress is not None:
                progress(done, len(items))
    place = {item.source: number for number, item in enumerate(items)}
    for problems in (found.written, found.damaged, found.not_reduced):
        problems.sort(key=lambda pair: place.get(pair[0], len(place)))
    found.seconds = time.monotonic() - begun
    return found


def _chunks(items: Sequence[Item]) -> Iterator[list[Item]]:
    for begin in range(0, len(items), _CHUNK):
        yield list(items[begin : begin + _CHUNK])


def _store(result: Any, job: ReduceJob, found: Reduced, *, reason: str, folder: Path | None) -> None:
    item = result.item
    if not isinstance(result, ReducedSweeps):
        if result.problem:
            (found.damaged if result.damaged else found.not_reduced).append((item.source, result.problem))
        else:
            found.already += 1
        return
    old, _ = apply_corrections(
        archive.read_record(job.place_of(item.source)),
        read_corrections(item.content_hash, item.corrections),
    )
    new = replace(
        old,
        corrected=result.corrected,
        couplings=result.couplings,
        calibration=job.solved(),
        fixture_toml=job.fixture_toml or old.fixture_toml,
        consistency_db=result.consistency_db,
        assembly_notes=result.notes,
        software=software_versions(),
        # What was said of the other calibration.
        verification="",
        reduced_from=item.content_hash,
        reason=reason.strip(),
        reduced_at=utc_now("microseconds"),
    )
    where = folder if folder is not None else Path(item.source).parent
    found.written.append((item.source, str(archive.write_record(new, where))))


def reduce_document(found: Reduced) -> dict[str, Any]:
    """Return ``benchsweep.reduce/1``."""
    return {
        "schema": "benchsweep.reduce/1",
        "records": found.records,
        "reduced": [{"record": old, "new": new} for old, new in found.written],
        "already": found.already,
        "seconds": round(found.seconds, 3),
        "damaged": [{"record": record, "reason": reason} for record, reason in found.damaged],
        "not_reduced": [{"record": record, "reason": reason} for record, reason in found.not_reduced],
        "warnings": [{"file": file, "reason": reason} for file, reason in found.warnings],
    }


def exit_code_of_reduce(found: Reduced) -> int:
    """Return 6 when a record is damaged, 1 when one could not be reduced, else 0."""
    return 6 if found.damaged else 1 if found.not_reduced else 0
