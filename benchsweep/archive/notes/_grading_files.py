"""Gradings as files of an archive: verdicts as columns, with the text of every requirement."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np

from benchsweep.archive._convert import read_software, software_block
from benchsweep.archive.format import Block, Node, opened, to_bytes
from benchsweep.archive.notes._grading import FLOATS, verdicts_of
from benchsweep.archive.notes._notes_files import HASH, moment
from benchsweep.archive.places import GRADINGS, Source, add_file, below, file_stem, files_in
from benchsweep.errors import ArchiveError, RecordDamaged, RecordNewer
from benchsweep.records import (
    End,
    GradedTrace,
    Grading,
    Parameter,
    RequirementText,
    RowColumns,
    Verdict,
    VerdictColumns,
    WiringFinding,
    WiringReport,
)

__all__ = ["KeptVerdict", "kept_verdicts", "read_grading", "write_grading"]

_WORDS = ("record", "name", "specimen", "requirement", "decision_rule", "budget")
_COUNTS = ("wiring", "rows", "notes", "doubts")
# Columns that are left out where they hold nothing.
_OFTEN_EMPTY = FLOATS[4:]


def write_grading(grading: Grading, folder: Path) -> Path:
    """Store a grading as one new file of ``gradings`` in the archive `folder`, and return its path.

    The name is ``<UTC time>-<requirements made safe>.h5``. One that is about a single record is called
    ``<2 digits of its hash>/<16 digits>-<UTC time>-<requirements made safe>.h5``, so that those of a record
    are found without opening all.

    Raises
    ------
    ArchiveLocked, ArchiveError
        As `write_record`.
    """
    names = "+".join(requirement.name for requirement in grading.requirements)
    stem, place = file_stem(grading.made_at, names or "nothing"), Path(folder) / GRADINGS
    records = {grading.words[record] for record in np.unique(grading.verdicts.record).tolist()}
    if len(records) == 1 and HASH.fullmatch(record := records.pop()):
        stem, place = f"{record[:16]}-{stem}", place / record[:2]
    return add_file(place, stem, *to_bytes("grading", grading_tree(grading)))


def read_grading(source: Source) -> Grading:
    """Read a grading after checking it, as `read_record` does.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveError
    """
    with opened(source, "grading") as root:
        return _read(root)


@dataclass(frozen=True, slots=True)
class KeptVerdict:
    """One verdict of a stored grading.

    Parameters
    ----------
    grading
        The file that holds it.
    made_at, by
        When and by whom it was made.
    edition
        Edition of the requirement.
    verdict
        The verdict.
    """

    grading: Source
    made_at: str
    by: str
    edition: str
    verdict: Verdict


def kept_verdicts(
    folder: Source, content_hash: str, *, damaged: list[ArchiveError] | None = None
) -> tuple[KeptVerdict, ...]:
    """Return every kept verdict about the record of that content hash, in the order in which they were made.

    Gradings of many records are opened to see whether it is among them.

    Parameters
    ----------
    damaged
        Takes what is wrong with gradings that cannot be read, which are left out then.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        A grading cannot be read, unless `damaged` is given; or the folder cannot.
    """
    own = files_in(below(folder, GRADINGS, content_hash[:2]), content_hash[:16])
    found: list[KeptVerdict] = []
    for source in (*own, *files_in(below(folder, GRADINGS))):
        try:
            found += _verdicts_about(source, content_hash)
        except (RecordDamaged, RecordNewer) as error:
            if damaged is None:
                raise
            damaged.append(error)
    return tuple(sorted(found, key=lambda kept: moment(kept.made_at)))


def _verdicts_about(source: Source, content_hash: str) -> list[KeptVerdict]:
    with opened(source, "grading") as root:
        if content_hash not in root.child("words").texts("text"):
            return []
        grading = _read(root)
    editions = {item.name: item.edition for item in grading.requirements}
    record = grading.words.index(content_hash)
    return [
        KeptVerdict(source, grading.made_at, grading.by, editions[verdict.requirement], verdict)
        for verdict in verdicts_of(grading, np.flatnonzero(grading.verdicts.record == record).tolist())
    ]


def grading_tree(grading: Grading) -> dict[str, Block]:
    """Return the groups of a grading."""
    rows, verdicts = grading.rows, grading.verdicts
    files = [(place, text) for place, item in enumerate(grading.requirements) for text in item.files]
    row_data: dict[str, Any] = {"trace": rows.trace, "outcome": rows.outcome, "note": rows.note}
    for name in FLOATS:
        column = getattr(rows, name)
        if name not in _OFTEN_EMPTY or not np.all(np.isnan(column)):
            row_data[name] = column
    return {
        "/": Block({"made_at": grading.made_at, "by": grading.by}),
        "/software": software_block(grading.software),
        "/told": Block(data={"name": tuple(grading.told), "value": tuple(grading.told.values())}),
        "/requirements": Block(
            data={
                "name": tuple(item.name for item in grading.requirements),
                "edition": tuple(item.edition for item in grading.requirements),
            }
        ),
        "/definitions": Block(
            data={
                "requirement": np.array([place for place, _ in files], dtype=np.int32),
                "toml": tuple(text for _, text in files),
            }
        ),
        "/words": Block(data={"text": grading.words}),
        "/verdicts": Block(
            data={name: getattr(verdicts, name) for name in (*_WORDS, "length_m", "outcome", *_COUNTS)}
        ),
        "/notes": Block(data={"text": grading.notes}),
        "/doubts": Block(data={"text": grading.doubts}),
        "/traces": Block(
            data={
                "parameter": tuple(str(trace.parameter) for trace in grading.traces),
                "end": tuple(trace.end or "" for trace in grading.traces),
                "pairs": tuple(" ".join(trace.pairs) for trace in grading.traces),
                "standing": tuple(trace.standing for trace in grading.traces),
            }
        ),
        "/rows": Block(data=row_data),
        "/wirings": _wirings_block(grading.wirings),
        "/findings": _findings_block(grading.wirings),
    }


def _wirings_block(wirings: tuple[WiringReport, ...]) -> Block:
    contacts = [[contact or 0 for contact in report.contact_at_b] for report in wirings]
    return Block(
        data={
            "checked": np.array([report.checked for report in wirings], dtype=np.int8),
            "contact_at_b": np.array(contacts, dtype=np.int8).reshape(len(wirings), -1 if wirings else 8),
        }
    )


def _findings_block(wirings: tuple[WiringReport, ...]) -> Block:
    found = [(place, item) for place, report in enumerate(wirings) for item in report.findings]
    return Block(
        data={
            "wiring": np.array([place for place, _ in found], dtype=np.int32),
            "kind": tuple(item.kind for _, item in found),
            "contacts": tuple(" ".join(map(str, item.contacts)) for _, item in found),
            "pairs": tuple(" ".join(item.pairs) for _, item in found),
            "end": tuple(item.end or "" for _, item in found),
            "words": tuple(item.words for _, item in found),
        }
    )


def _read(root: Node) -> Grading:
    verdicts, rows, told = root.child("verdicts"), root.child("rows"), root.child("told")
    trace = rows.array("trace", np.int32, 1)
    made_at = root.text("made_at")
    moment(made_at)  # a time that is none is a damage, told as one
    return Grading(
        made_at=made_at,
        by=root.text("by"),
        software=read_software(root.child("software")),
        requirements=_read_requirements(root),
        words=root.child("words").texts("text"),
        traces=_read_traces(root.child("traces")),
        wirings=_read_wirings(root),
        verdicts=VerdictColumns(
            length_m=verdicts.array("length_m", np.float64, 1),
            outcome=verdicts.array("outcome", np.int8, 1),
            **{name: verdicts.array(name, np.int32, 1) for name in (*_WORDS, *_COUNTS)},
        ),
        rows=RowColumns(
            trace=trace,
            outcome=rows.array("outcome", np.int8, 1),
            note=rows.array("note", np.int32, 1),
            **{
                name: np.full(trace.size, np.nan)
                if name in _OFTEN_EMPTY and not rows.contains(name)
                else rows.array(name, np.float64, 1)
                for name in FLOATS
            },
        ),
        notes=root.child("notes").array("text", np.int32, 1),
        doubts=root.child("doubts").array("text", np.int32, 1),
        told=dict(zip(told.texts("name"), told.texts("value"), strict=True)),
    )


def _read_requirements(root: Node) -> tuple[RequirementText, ...]:
    named, files = root.child("requirements"), root.child("definitions")
    texts: dict[int, list[str]] = {}
    for place, text in zip(
        files.array("requirement", np.int32, 1).tolist(), files.texts("toml"), strict=True
    ):
        texts.setdefault(place, []).append(text)
    return tuple(
        RequirementText(name, edition, tuple(texts.get(place, ())))
        for place, (name, edition) in enumerate(zip(named.texts("name"), named.texts("edition"), strict=True))
    )


def _read_traces(node: Node) -> tuple[GradedTrace, ...]:
    columns = (node.texts("parameter"), node.texts("end"), node.texts("pairs"), node.texts("standing"))
    return tuple(
        GradedTrace(Parameter(parameter), _end(node, end), tuple(pairs.split()), standing)
        for parameter, end, pairs, standing in zip(*columns, strict=True)
    )


def _end(node: Node, text: str) -> End | None:
    if text and text not in get_args(End):
        raise node.wrong("end", f"{text[:40]!r} is no end")
    return cast("End", text) if text else None


def _read_wirings(root: Node) -> tuple[WiringReport, ...]:
    wirings, node = root.child("wirings"), root.child("findings")
    columns = [node.texts(name) for name in ("kind", "contacts", "pairs", "end", "words")]
    places = node.array("wiring", np.int32, 1).tolist()
    found: dict[int, list[WiringFinding]] = {}
    for place, kind, contacts, pairs, end, words in zip(places, *columns, strict=True):
        finding = WiringFinding(
            cast("Any", kind),
            tuple(int(contact) for contact in contacts.split()),
            tuple(pairs.split()),
            _end(node, end),
            words,
        )
        found.setdefault(place, []).append(finding)
    checked = wirings.array("checked", np.int8, 1).tolist()
    contacts_at_b = wirings.array("contact_at_b", np.int8, 2).tolist()
    return tuple(
        WiringReport(
            tuple(contact or None for contact in contacts), tuple(found.get(place, ())), checked=bool(sound)
        )
        for place, (sound, contacts) in enumerate(zip(checked, contacts_at_b, strict=True))
    )
