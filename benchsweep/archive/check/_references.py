"""Histories of channels, testers and studies in a check: each by itself, then what they name."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from benchsweep.archive.check._facts import FileFacts, NamedContent
from benchsweep.archive.check._finding import Finding
from benchsweep.archive.notes import moment
from benchsweep.archive.places import Source, below
from benchsweep.archive.references import (
    REFERENCES,
    ReferenceHistory,
    SeenReferences,
    check_kept_file,
    file_name,
    is_history,
    kept_name,
    read_history,
    seen_in,
)
from benchsweep.records import (
    BenchMeasured,
    FieldTesterCompared,
    ReferenceEvent,
    Returned,
    StudyMeasured,
    Withdrawn,
)

__all__ = ["ReferenceRecords", "check_kept", "check_reference", "is_history"]

_RECORD = ".h5"


def check_reference(source: Source) -> FileFacts:
    """Check a history: the checksum of each line, their chain, and that each entry may stand there.

    Raises
    ------
    RecordDamaged, RecordNewer, ArchiveUnreachable, ArchiveError
    """
    history = read_history(source, must_exist=True)
    left = ""
    if not history.events:
        left = "nothing stands in it: whoever began it was killed before the first line was finished"
    elif history.unfinished:
        left = (
            f"its last line, {history.unfinished} bytes, is not finished and does not count: whoever added "
            "it was killed, or the end of the file was cut off"
        )
    whole = history.size - history.unfinished
    # The digest covers all whole lines, the first one too.
    first = hashlib.sha256(f"{history.digest} {whole}".encode()).hexdigest()
    return FileFacts(
        "reference",
        history.digest,
        size=history.size,
        first_block_sha256=first,
        refers=tuple(_named(history)),
        refused=tuple(_refused(source, history)),
        earlier=history.digests[:-1],
        referenced=None if history.kind is None else (history.kind, history.name),
        saw=seen_in(history),
        unfinished=left,
    )


def check_kept(source: Source) -> FileFacts:
    """Check a file of a tester, or the text of a requirement, that is kept under the hash of its bytes.

    Raises
    ------
    RecordDamaged, ArchiveUnreachable, ArchiveError
    """
    content = check_kept_file(source)
    digest = hashlib.sha256(content).hexdigest()
    return FileFacts("attachment", digest, size=len(content), first_block_sha256=digest)


def _named(history: ReferenceHistory) -> Iterator[NamedContent]:
    """Yield the records and kept files that a history names, oldest first."""
    events = history.events
    returned = max((place for place, event in enumerate(events) if isinstance(event, Returned)), default=-1)
    compared = [place for place, event in enumerate(events) if isinstance(event, FieldTesterCompared)]
    latest = {event.number: event for event in events if isinstance(event, StudyMeasured)}
    for place, event in enumerate(events):
        if isinstance(event, BenchMeasured):
            counts = event.accepted and place > returned
            yield NamedContent("record", event.record, event.path, counts)
        elif isinstance(event, FieldTesterCompared):
            told = event.comparison
            last = place == compared[-1]
            yield NamedContent("record", told.record_digest, told.record, last)
            yield NamedContent("kept", told.requirement_digest, kept_name(told.requirement_digest), last)
            if event.file:
                yield NamedContent("kept", event.file, kept_name(event.file), last)
        elif isinstance(event, StudyMeasured) and event.digest:
            counts = latest[event.number] is event
            if event.source.endswith(_RECORD):
                yield NamedContent("record", event.digest, "", counts, event.source)
            else:
                yield NamedContent("kept", event.digest, kept_name(event.digest), counts)


def _refused(source: Source, history: ReferenceHistory) -> Iterator[str]:
    """Yield what breaks the rules of a history whose lines are sound, in words."""
    kind, events = history.kind, history.events
    if kind is None:
        return
    name = file_name(kind, history.name)
    if _in_its_folder(source) and _last(source) != name:
        yield f"holds the {kind} {history.name}, whose file is {name}: it is a copy, or was renamed"
    withdrawn = False
    for before, event in pairwise(events):
        if moment(event.at) < moment(before.at):
            yield f"an entry of {event.at} stands behind one of {before.at}: a clock was set back"
        if isinstance(event, Withdrawn) and withdrawn:
            yield f"it is withdrawn on {event.at}, and was withdrawn before"
        if isinstance(event, Returned) and not withdrawn:
            yield f"it is returned on {event.at}, and was not withdrawn"
        withdrawn = _after(event, withdrawn)


def _after(event: ReferenceEvent, withdrawn: bool) -> bool:
    return isinstance(event, Withdrawn) or (withdrawn and not isinstance(event, Returned))


@dataclass(frozen=True, slots=True)
class _Withdrawal:
    at: datetime
    withdrawn: bool


class ReferenceRecords:
    """Compares the records and files that histories name with those that are there."""

    def __init__(self) -> None:
        self._named: list[tuple[str, NamedContent]] = []
        self._kept: dict[str, str] = {}
        self._refused: list[tuple[str, str]] = []
        self._withdrawn: dict[str, _Withdrawal] = {}
        self._seen = SeenReferences()
        self._sources: dict[tuple[str, str], str] = {}

    def add(self, source: str, facts: FileFacts) -> None:
        """Add a sound file: a history, a kept file, or a correction that withdraws a record."""
        self._named += [(source, each) for each in facts.refers]
        self._refused += [(source, words) for words in facts.refused]
        if facts.referenced is not None and facts.referenced not in self._sources:  # another one is a copy
            self._sources[facts.referenced] = source
            self._seen.add(*facts.referenced, (*facts.earlier, facts.content_hash), facts.saw)
        if facts.kind == "attachment":
            self._kept[facts.content_hash] = source
        if facts.withdrawn is not None:
            at = moment(facts.at)
            for content in facts.about:
                if content not in self._withdrawn or at >= self._withdrawn[content].at:
                    self._withdrawn[content] = _Withdrawal(at, facts.withdrawn)

    def findings(self, unread: Collection[str]) -> Iterator[Finding]:
        """Yield what breaks rules, what counts though withdrawn, and kept files that are lost or nobody's.

        Parameters
        ----------
        unread
            Names of the files that are there but cannot be read.
        """
        yield from (Finding("reference-refused", source, words) for source, words in self._refused)
        yield from self._lost(unread)
        for source, each in self._named:
            found = self._withdrawn.get(each.content_hash)
            if each.kind == "record" and each.counts and found is not None and found.withdrawn:
                words = f"the record {each.place} counts, but it was withdrawn on {found.at.isoformat()}"
                yield Finding("reference-record-withdrawn", source, words)
        for source, each in dict.fromkeys(self._named):
            if each.kind == "kept" and each.content_hash not in self._kept and _last(each.path) not in unread:
                words = f"names the kept file {each.place}, which is not in the archive"
                yield Finding("reference-record-missing", source, words)
        if any(_is_history_name(name) for name in unread):  # it may name any of them
            return
        named = {each.content_hash for _, each in self._named}
        for digest, source in self._kept.items():
            if digest not in named:
                words = (
                    "nothing names it: whoever kept it was killed before the comparison was entered, or "
                    "entries were taken off a history"
                )
                yield Finding("left-over", source, words)

    def _lost(self, unread: Collection[str]) -> Iterator[Finding]:
        """Yield each history that is not what a later entry of another saw, or is gone."""
        unknown = [named for named in self._seen.names() if file_name(*named) in unread]
        for by, seen, words in self._seen.wrong(unknown):
            source = self._sources.get((seen.kind, seen.name))
            if source is None:
                yield Finding("reference-missing", self._sources[by], words)
            else:
                yield Finding("reference-cut", source, words)

    def missing(self, contents: Mapping[bytes, str]) -> Iterator[Finding]:
        """Yield each record that is not there, or not as a history names it.

        Parameters
        ----------
        contents
            Content hash of each file that is there -> its source.
        """
        absent = [
            named
            for named in self._named
            if named[1].kind == "record" and bytes.fromhex(named[1].content_hash) not in contents
        ]
        there: Collection[str] = set(contents.values()) if absent else ()
        for source, each in dict.fromkeys(absent):
            words = f"names the record {each.place}, which"
            at = str(below(_archive_of(source), *each.path.split("/"))) if each.path else ""
            if at in there:
                yield Finding(
                    "reference-record-differs", source, f"{words} has other content than it had then"
                )
            else:
                yield Finding("reference-record-missing", source, f"{words} is not in the archive")


def _is_history_name(name: str) -> bool:
    return name.endswith(".txt") and name.startswith(("channel-", "tester-", "study-"))


def _last(source: Source) -> str:
    return Path(str(source).replace("\\", "/")).name


def _in_its_folder(source: Source) -> bool:
    return Path(str(source).replace("\\", "/")).parent.name == REFERENCES


def _archive_of(source: str) -> str:
    """Return the archive in whose folder of references a file is."""
    place = source.replace("\\", "/").rfind(f"/{REFERENCES}/")
    return source[:place] if place > 0 else "."
