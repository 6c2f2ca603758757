"""One file of an archive, checked through and through."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

from benchsweep.archive._convert import calibration_tree, read_calibration_node, read_measurement_node
from benchsweep.archive._store import sweeps_fingerprint
from benchsweep.archive.check._facts import AppliedCalibration, FileFacts
from benchsweep.archive.check._lots import check_lot
from benchsweep.archive.check._references import check_kept, check_reference, is_history
from benchsweep.archive.format import (
    Kind,
    Node,
    check_items,
    content_digest,
    data_digest,
    first_block,
    kind_in,
    node_of,
)
from benchsweep.archive.notes import read_grading, read_note
from benchsweep.archive.places import Source, is_folder, local_path, open_content
from benchsweep.archive.series import check_series, open_series
from benchsweep.errors import RecordDamaged
from benchsweep.records import Calibration, Correction, Measurement

__all__ = ["check_file"]


def check_file(source: Source, *, every_item: bool = False) -> FileFacts:
    """Check one file, whatever its kind: that no byte of it has changed, and that nothing is missing in it.

    The folder of an unfinished series is checked as a whole. Histories of lots, channels, testers and studies
    are text (``.txt``); what these keep beside them bears the hash of its bytes (``.dat``).

    Parameters
    ----------
    every_item
        HDF5 opens the file besides, and every item that it finds is compared with its own checksum, with the
        content hash and with the catalogue. It finds what somebody changed on purpose and sealed again
        without these, or a writer wrote wrongly; what happened to the file later, the bytes tell. Whoever
        makes all checksums anew has made another sound file, which only a `FileList` kept elsewhere tells
        from the one that was there. Of a series it is always done.

    Raises
    ------
    RecordDamaged
        It is no file of ours, or something in it has changed; the message names what.
    RecordNewer
        Written by a later version of the format.
    ArchiveUnreachable
        The drive or the store does not answer.
    ArchiveError
        No such file, or it cannot be read.
    """
    if str(source).endswith(".txt"):
        return check_reference(source) if _is_reference(source) else check_lot(source)
    if str(source).endswith(".dat"):
        return check_kept(source)
    folder = local_path(source)
    if folder is not None and is_folder(folder):
        return _series(source)
    with open_content(source, "benchsweep") as content:
        kind = kind_in(content)
        if kind is None:
            raise RecordDamaged(
                f"{content.source}: not a benchsweep file, or damaged in its first line",
                hint="Restore it from a copy; a file of something else does not belong into an archive.",
            )
        size, first_block_sha256 = content.size, hashlib.sha256(first_block(content)).hexdigest()
        content_hash, facts = "", None
        if kind != "series":
            with node_of(content, kind) as root:
                if root.has("content_sha256"):
                    content_hash = content_digest(root)
                    if every_item:
                        check_items(root)
                facts = _facts(root, kind)
    facts = facts or _read_again(source, kind)
    return replace(
        facts,
        content_hash=facts.content_hash or content_hash,
        size=size,
        first_block_sha256=first_block_sha256,
    )


def _is_reference(source: Source) -> bool:
    """Tell whether a text is the history of a channel, tester or study by how it begins."""
    with open_content(source, "history") as content:
        return is_history(bytes(content.stream.read(64) or b""))


def _facts(root: Node, kind: Kind) -> FileFacts | None:
    """Return the facts of what is open; None for a kind whose reader opens it by itself."""
    if kind == "record":
        return _record(read_measurement_node(root))
    if kind == "calibration":
        return FileFacts(kind, calibration=_applied(read_calibration_node(root)))
    if kind in ("comment", "correction", "grading"):
        return None
    return FileFacts(kind)


def _read_again(source: Source, kind: Kind) -> FileFacts:
    """Return the facts of a kind whose reader opens the file by itself; all of them are small, or series."""
    if kind == "series":
        return _series(source)
    if kind == "grading":
        grading = read_grading(source)
        places = dict.fromkeys(grading.verdicts.record.tolist())
        return FileFacts(kind, about=tuple(grading.words[place] for place in places))
    note = read_note(source)
    withdrawn = note.withdrawn if isinstance(note, Correction) else None
    return FileFacts(kind, about=(note.record,), withdrawn=withdrawn, at=note.at)


def _record(measurement: Measurement) -> FileFacts:
    return FileFacts(
        "record",
        specimen=measurement.specimen.identifier,
        sweeps=sweeps_fingerprint(measurement),
        calibration=None if measurement.calibration is None else _applied(measurement.calibration),
        fixture_toml=measurement.fixture_toml,
        budget_toml=measurement.budget_toml,
        reduced_from=measurement.reduced_from,
    )


def _applied(calibration: Calibration) -> AppliedCalibration:
    lines: list[str] = []
    for path, block in calibration_tree(calibration).items():
        lines += [f"{path} {name} {value!r}" for name, value in block.attributes.items()]
        lines += [f"{path} {name} {data_digest(values)}" for name, values in block.data.items()]
    return AppliedCalibration(calibration.identifier, calibration.created_at, _digest_of(sorted(lines)))


def _digest_of(lines: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(lines).encode("utf-8", "surrogatepass")).hexdigest()


def _series(source: Source) -> FileFacts:
    check_series(source)
    with open_series(source) as reader:
        head = reader.head
        return FileFacts(
            "series",
            reader.content_hash,
            specimen=head.specimen.identifier,
            calibration=None if head.calibration is None else _applied(head.calibration),
            fixture_toml=head.fixture_toml,
        )
