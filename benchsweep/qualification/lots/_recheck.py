"""The records behind the results of a lot, read and graded again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchsweep import archive, limits
from benchsweep.errors import ArchiveLocked, ArchiveUnreachable, BenchsweepError, RecordMissing
from benchsweep.qualification._matrix_again import matrix_again
from benchsweep.qualification.lots._compare import differences
from benchsweep.qualification.lots._reading import (
    LotRecord,
    grade_reel,
    place_of,
    read_for_lot,
)
from benchsweep.records import Correction, LotState, Measurement, ReelAdded, ReelResult

__all__ = ["ReelAgain", "measured_once", "recheck"]

_SAME_MATRIX = 1e-9


@dataclass(frozen=True, slots=True)
class ReelAgain:
    """A reel of the sample, graded again from its record.

    Parameters
    ----------
    entry
        What the lot says of it.
    result
        What its record says now; None where it cannot be read or graded.
    trouble
        Why the record is not what was added, in words: missing, another content, withdrawn, of another reel,
        product or lot, not to be graded.
    differs
        What is graded otherwise than it was, in words.
    matrix_difference
        Largest magnitude of the difference between the matrix in the record and the one computed again from
        its raw sweeps; None where that was not asked for, or there are none.
    sweeps
        Names what was measured: two reels that have the same are one measurement. Empty: not read.
    """

    entry: ReelAdded
    result: ReelResult | None
    trouble: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    matrix_difference: float | None = None
    sweeps: str = ""

    @property
    def words(self) -> tuple[str, ...]:
        """Everything that is not as it was."""
        return (*self.trouble, *self.differs)


def recheck(
    folder: archive.Source,
    state: LotState,
    entry: ReelAdded,
    requirement: limits.Requirement,
    *,
    from_raw: bool = False,
    compare: bool = True,
) -> ReelAgain:
    """Read the record of an entry again, compare every checksum, grade it.

    Parameters
    ----------
    from_raw
        Compute its matrix again from the raw sweeps, with the calibration and the fixture in the record.
    compare
        Say what is graded otherwise than the entry says; False for another requirement.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable
        The archive does not answer: no record is to blame.
    """
    source = place_of(folder, entry)
    try:
        read = read_for_lot(source)
        trouble = _not_what_was_added(state, entry, read)
        raw: Measurement | None = None
        difference = None
        if from_raw:
            raw, difference = matrix_again(read.raw)
            if difference is not None and not difference <= _SAME_MATRIX:
                trouble.append(
                    f"{source}: its matrix is not what its raw sweeps give: they differ by {difference:.2g}"
                )
        result = grade_reel(read, requirement, state, raw=raw).result
    except (ArchiveLocked, ArchiveUnreachable):
        raise
    except RecordMissing:
        return ReelAgain(entry, None, (f"{source}: the record is not there any more",))
    except BenchsweepError as error:
        return ReelAgain(entry, None, (error.message,))
    differs = differences(entry.result, result) if compare else ()
    sweeps = archive.sweeps_fingerprint(read.raw)
    return ReelAgain(entry, result, tuple(trouble), differs, difference, sweeps)


def measured_once(reels: Mapping[str, ReelAgain]) -> list[str]:
    """Return which reels have the very same sweeps, in words: one measurement under two names."""
    first: dict[str, str] = {}
    told: list[str] = []
    for reel, again in reels.items():
        other = first.setdefault(again.sweeps, reel) if again.sweeps else reel
        if other != reel:
            told.append(f"{reel}: its record holds the same sweeps as that of {other}: one measurement")
    return told


def _not_what_was_added(state: LotState, entry: ReelAdded, read: LotRecord) -> list[str]:
    """Return why a record may not count as what was added, in words."""
    told: list[str] = []
    if read.content_hash != entry.record:
        told.append(f"{read.source}: another content than when it was added")
    specimen, opened = read.measurement.specimen, state.opened
    for what, now, wanted in (
        ("reel", specimen.identifier, entry.reel),
        ("product", specimen.product, opened.product),
        ("lot", specimen.lot or opened.lot, opened.lot),
    ):
        if now != wanted:
            told.append(f"{read.source}: is now of the {what} {now or 'without a name'}, not {wanted}")
    if read.withdrawn:
        told.append(f"{read.source}: {read.withdrawn}")
    if read.superseded:
        told.append(f"{read.source}: {read.superseded}")
    if told:
        told += [
            f"corrected by {note.by} on {note.at[:10]}: {note.reason}"
            for note in read.notes
            if isinstance(note, Correction) and note.at > entry.at and note.withdrawn is None
        ]
    return told
