"""Check an archive: every byte of it, and that its files fit each other and what is in force today."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from benchsweep import archive
from benchsweep.archive.check import Comparison, FileFacts, Finding, FindingKind, check_file, leftovers
from benchsweep.archive.lots import lot_sources
from benchsweep.archive.references import FILES, REFERENCES, kept_sources, reference_sources
from benchsweep.definitions import data_folder, list_definitions
from benchsweep.errors import ArchiveError, DefinitionError
from benchsweep.fixture import read_fixture
from benchsweep.qualification._check_lists import ComparedList, Lists, WrittenList, list_document
from benchsweep.qualification._check_lots import lot_findings, lot_name
from benchsweep.qualification._check_pool import CheckedFile, check_all
from benchsweep.qualification._station import load_station
from benchsweep.uncertainty import read_budget

__all__ = [
    "ArchiveChecked",
    "archive_check_document",
    "calibration_folders",
    "check_files",
    "check_whole_archive",
    "exit_code_of_archive_check",
]

_PASS, _FINDINGS, _DAMAGED = 0, 1, 6
_RECORDS = ("record", "series")


@dataclass(frozen=True, slots=True)
class ArchiveChecked:
    """What a check found.

    Parameters
    ----------
    root
        The archive; empty when files were named.
    kinds
        How many sound files there are of each kind.
    damaged, newer
        (file, reason) of what is damaged or cannot be read, and of what a later version has written.
    findings
        What a person should look at besides.
    seconds
        How long it took.
    listed, compared
        The list that was written, and the one that the files were compared with.
    """

    root: str
    kinds: dict[str, int]
    damaged: tuple[tuple[str, str], ...]
    newer: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
    seconds: float
    listed: WrittenList | None = None
    compared: ComparedList | None = None


Progress = Callable[[int, int], None]


def check_whole_archive(
    root: Path | str,
    *,
    jobs: int | None = None,
    every_item: bool = False,
    progress: Progress | None = None,
    list_to: Path | None = None,
    compare: Path | None = None,
    overwrite: bool = False,
) -> ArchiveChecked:
    """Check every file of an archive, and the files against each other.

    Each byte is compared with its checksum; beyond that see `archive.check.FindingKind`. Memory does not grow
    with the size of the records; of each file its name and some hashes are kept.

    Parameters
    ----------
    root
        A folder, or an address such as ``s3://bucket/prefix``.
    jobs
        How many processes; None: one for each core, as far as there is enough to do.
    every_item
        See `archive.check.check_file`; takes some ten times as long.
    progress
        Gets how many files are done, of how many.
    list_to
        A list of all sound files is written there, see `archive.check.write_file_list`.
    compare
        A list that was written earlier: what is on it and not in the archive, or there with other content, is
        a finding.
    overwrite
        `list_to` may take the place of a file.

    Raises
    ------
    UsageError, DataFileError
        A list cannot be written there, or one cannot be read; told before any file is checked.
    ArchiveLocked, ArchiveUnreachable, ArchiveError
        The archive cannot be listed, or it went while it was read. What is damaged is no error here.
    """
    lists = Lists(list_to, compare, overwrite=overwrite)
    entries = list(archive.list_files(root))
    lots, references, kept = lot_sources(root), reference_sources(root), kept_sources(root)
    lists.names = [
        *(entry.name for entry in entries),
        *(lot_name(source) for source in lots),
        *(f"{REFERENCES}/{_last(source)}" for source in references),
        *(f"{REFERENCES}/{FILES}/{_last(source)}" for source in kept),
    ]
    texts = [*lots, *references, *kept]
    results = check_all([*(entry.source for entry in entries), *texts], jobs, every_item=every_item)
    checked = _checked(results, len(lists.names), root=str(root), progress=progress, lists=lists)
    return replace(checked, listed=lists.write(), compared=lists.compared())


def check_files(
    sources: Sequence[Path | str],
    *,
    jobs: int | None = None,
    every_item: bool = False,
    progress: Progress | None = None,
) -> ArchiveChecked:
    """Check these files only; nothing is said of what is missing beside them.

    Raises
    ------
    ArchiveUnreachable
    """
    results = check_all(sources, jobs, every_item=every_item)
    return _checked(results, len(sources), root="", progress=progress)


def _checked(
    results: Iterator[CheckedFile],
    count: int,
    *,
    root: str,
    progress: Progress | None,
    lists: Lists | None = None,
) -> ArchiveChecked:
    began = time.monotonic()
    comparison, definitions = Comparison(whole=bool(root)), _Definitions()
    kinds: Counter[str] = Counter()
    findings: list[Finding] = []
    trouble: dict[str, list[tuple[str, str]]] = {"damaged": [], "newer": []}
    for done, checked in enumerate(results, start=1):
        facts = checked.facts
        if facts is None:
            trouble[checked.trouble].append((checked.source, checked.reason))
        else:
            kinds[facts.kind] += 1
            findings += comparison.add(checked.source, facts)
            findings += definitions.refusals(checked.source, facts)
            if facts.kind == "lot":
                findings += lot_findings(checked.source, named=bool(root))
        if lists is not None:
            findings += lists.add(done - 1, checked)
        if progress is not None:
            progress(done, count)
    findings += _stored_calibrations(comparison)
    if root:
        # A record that is damaged may be the one that a note is about: then nothing is an orphan for certain.
        unread = (*trouble["damaged"], *trouble["newer"])
        if not any(_is_record(source.removeprefix(root)) for source, _ in unread):
            findings += comparison.missing()
        names = {_last(source) for source, _ in unread}
        findings += comparison.lots(names)
        findings += comparison.references(names)
        findings += leftovers(root)
    if lists is not None:
        findings += lists.missing(root)
    seconds = round(time.monotonic() - began, 3)
    return ArchiveChecked(
        root, dict(kinds), tuple(trouble["damaged"]), tuple(trouble["newer"]), tuple(findings), seconds
    )


class _Definitions:
    """Reads the texts of definitions that records keep, each text once."""

    def __init__(self) -> None:
        self._refused: dict[tuple[FindingKind, str], str] = {}

    def refusals(self, source: str, facts: FileFacts) -> Iterator[Finding]:
        """Yield what is wrong with the texts of a file, by the rules of today."""
        texts: tuple[tuple[FindingKind, str, str, Callable[[str], object]], ...] = (
            ("fixture-refused", "fixture definition", facts.fixture_toml, read_fixture),
            ("budget-refused", "uncertainty budget", facts.budget_toml, read_budget),
        )
        for kind, called, text, read in texts:
            if text and (why := self._why(kind, text, read)):
                yield Finding(kind, source, f"its {called} is refused by this version: {why}")

    def _why(self, kind: FindingKind, text: str, read: Callable[[str], object]) -> str:
        known = (kind, text)
        if known not in self._refused:
            self._refused[known] = ""
            try:
                read(text)
            except DefinitionError as error:
                self._refused[known] = error.message
        return self._refused[known]


def calibration_folders() -> tuple[Path, ...]:
    """Return the folders in which calibrations of stations are kept, as far as they are known here."""
    places: list[Path] = []
    for name in list_definitions("stations"):
        with suppress(DefinitionError):  # a broken station file is not what is checked here
            places.append(load_station(name).calibration_folder())
    for base in (Path.cwd() / "calibrations" / "stored", data_folder() / "calibrations" / "stored"):
        if base.is_dir():
            places += sorted(path for path in base.iterdir() if path.is_dir())
    return tuple(dict.fromkeys(place for place in places if place.is_dir()))


def _stored_calibrations(comparison: Comparison) -> Iterator[Finding]:
    """Compare the calibrations that stations keep with those in the records that name them."""
    if not comparison.calibrations:
        return
    for folder in calibration_folders():
        for path in archive.list_calibrations(folder):
            try:
                head = archive.read_head(path)
                if not comparison.applies(head.calibration, head.calibration_created_at):
                    continue
                stored = check_file(path).calibration
            except ArchiveError as error:
                words = f"{error.message.removeprefix(f'{path}: ')}; records hold a copy of their calibration"
                yield Finding("stored-calibration-damaged", str(path), words)
                continue
            if stored is not None:
                yield from comparison.stored(str(path), stored)


def archive_check_document(checked: ArchiveChecked) -> dict[str, Any]:
    """Return ``benchsweep.check/1``.

    ``checked`` counts all files, also those that turned out damaged or newer; ``files`` the sound ones by
    kind; ``records`` those of them that are records and series.
    """
    return {
        "schema": "benchsweep.check/1",
        "archive": checked.root or None,
        "checked": sum(checked.kinds.values()) + len(checked.damaged) + len(checked.newer),
        "records": sum(checked.kinds.get(kind, 0) for kind in _RECORDS),
        "files": dict(sorted(checked.kinds.items())),
        "damaged": _reasons(checked.damaged),
        "newer": _reasons(checked.newer),
        "findings": [
            {"finding": found.kind, "record": found.source, "reason": found.words}
            for found in checked.findings
        ],
        "list": list_document(checked.listed),
        "compared": list_document(checked.compared),
        "seconds": checked.seconds,
    }


def _last(source: object) -> str:
    return str(source).replace("\\", "/").rpartition("/")[2]


def _is_record(name: str) -> bool:
    folders = name.replace("\\", "/").split("/")[:-1]
    return not name.endswith((".txt", ".dat")) and not {"notes", "gradings", "calibrations"} & set(folders)


def _reasons(pairs: Iterable[tuple[str, str]]) -> list[dict[str, str]]:
    return [{"record": source, "reason": reason} for source, reason in pairs]


def exit_code_of_archive_check(checked: ArchiveChecked) -> int:
    """Return 6 when anything is damaged or newer than this program, 1 with findings only, else 0."""
    if checked.damaged or checked.newer:
        return _DAMAGED
    return _FINDINGS if checked.findings else _PASS
