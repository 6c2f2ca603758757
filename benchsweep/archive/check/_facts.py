"""The little of a sound file of an archive that others are compared with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from benchsweep.archive.format import Kind
from benchsweep.archive.references import ReferenceKind
from benchsweep.records import LotOpened, SeenReference

__all__ = ["AppliedCalibration", "FileFacts", "NamedContent", "NamedRecord"]


@dataclass(frozen=True, slots=True)
class AppliedCalibration:
    """Which calibration it is, and a fingerprint of all that it holds.

    Parameters
    ----------
    identifier, created_at
        Its name and time: two that share both should be the same one.
    fingerprint
        The same for two calibrations exactly when they hold the same, whatever version of the format keeps
        them, be it embedded in a record or in a file of its own.
    """

    identifier: str
    created_at: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class NamedRecord:
    """A record that a lot names.

    Parameters
    ----------
    reel
        The reel whose result it is.
    content_hash, path
        Names its content; its file, below the archive.
    counts
        It is the last one of its reel, which was not excluded.
    reuse_reason
        Why it counts although it counted in another lot before; empty for others.
    """

    reel: str
    content_hash: str
    path: str
    counts: bool
    reuse_reason: str = ""


@dataclass(frozen=True, slots=True)
class NamedContent:
    """A record, or a kept file, that the history of a channel, tester or study names.

    Parameters
    ----------
    kind
        ``record`` or ``kept``.
    content_hash, path
        Names its content; its file, below the archive, empty where only its name is known.
    counts
        It does for what the history says today.
    name
        What the file was called, where `path` is empty.
    """

    kind: Literal["record", "kept"]
    content_hash: str
    path: str
    counts: bool
    name: str = ""

    @property
    def place(self) -> str:
        """What it is called in words."""
        return self.path or self.name


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What a sound file is, as far as other files of the archive are compared with it.

    Parameters
    ----------
    kind
        ``record``, ``series``, ``calibration``, ``comment``, ``correction``, ``grading``, ``lot``,
        ``reference`` (history of a channel, tester or study), ``attachment`` (a file that one keeps) …
    content_hash
        Names its content; empty for a kind that has none.
    specimen
        What the laboratory calls the specimen; empty where there is none.
    sweeps
        Fingerprint of what was measured: the raw sweeps, of an import the matrix; empty: no record.
    calibration
        The calibration that was applied, or the one that the file is.
    fixture_toml, budget_toml
        Texts of the definitions as used; may be empty.
    reduced_from
        Content hash of the record whose sweeps were reduced again.
    about
        Of a note or a grading: content hashes of the records that it is about.
    size
        Its length in bytes.
    first_block_sha256
        SHA-256 of its first 512 bytes. As these hold, directly or not, the checksums of all the others, two
        sound files have the same exactly when they are the same to the bit. Empty for a folder. Of a lot,
        whose lines are chained, a checksum that does the same.
    withdrawn, at
        Of a correction: what it says of the use of the record, and when.
    named
        Of a lot: the records that became results of reels, oldest first.
    earlier
        Of a lot or another history: the digests before the last entry was added, oldest first.
    opened
        Of a lot: how it was opened.
    unfinished
        Of a lot or another history: what is left of a line that was not finished, in words.
    refers
        Of the history of a channel, tester or study: records and kept files that it names, oldest first.
    refused
        Of such a history: what breaks its rules although its lines are sound, in words.
    referenced
        Of such a history: of what, by kind and name.
    saw
        Of such a history: what its entries kept of the others, oldest first.
    """

    kind: Kind | Literal["lot", "reference", "attachment"]
    content_hash: str = ""
    specimen: str = ""
    sweeps: str = ""
    calibration: AppliedCalibration | None = None
    fixture_toml: str = ""
    budget_toml: str = ""
    reduced_from: str = ""
    about: tuple[str, ...] = ()
    size: int = 0
    first_block_sha256: str = ""
    withdrawn: bool | None = None
    at: str = ""
    named: tuple[NamedRecord, ...] = ()
    earlier: tuple[str, ...] = ()
    opened: LotOpened | None = None
    unfinished: str = ""
    refers: tuple[NamedContent, ...] = ()
    refused: tuple[str, ...] = ()
    referenced: tuple[ReferenceKind, str] | None = None
    saw: tuple[SeenReference, ...] = ()
