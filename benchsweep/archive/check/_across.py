"""What only shows when the files of an archive are compared: conflicts, duplicates, orphans."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from benchsweep.archive.check._facts import AppliedCalibration, FileFacts
from benchsweep.archive.check._finding import Finding, FindingKind
from benchsweep.archive.check._lots import LotRecords
from benchsweep.archive.check._references import ReferenceRecords

__all__ = ["Comparison"]


class Comparison:
    """Compares the files of an archive with each other, one after the other.

    It keeps a few hashes and the name of each file, some 400 bytes a record, and no content.

    Parameters
    ----------
    whole
        All files of the archive will be added: what is not there is missing.
    """

    def __init__(self, *, whole: bool) -> None:
        self._whole = whole
        self._contents: dict[bytes, str] = {}
        self._sweeps: dict[bytes, str] = {}
        self._calibrations: dict[tuple[str, str], tuple[str, str]] = {}
        self._wanted: list[tuple[FindingKind, str, bytes]] = []
        self._lots = LotRecords()
        self._references = ReferenceRecords()

    def add(self, source: str, facts: FileFacts) -> Iterator[Finding]:
        """Add a sound file; yield what is found beside those added before."""
        if (first := self._same(self._contents, facts.content_hash, source)) is not None:
            yield Finding("same-content", source, f"holds the same as {first}, to the bit")
        elif facts.sweeps and not facts.reduced_from:
            if (first := self._same(self._sweeps, facts.sweeps, source)) is not None:
                words = f"holds the same sweeps as {first}, under another specimen, time or calibration"
                yield Finding("same-sweeps", source, words)
        if facts.calibration is not None:
            yield from self._calibration(source, facts.calibration)
        if facts.unfinished:
            yield Finding("left-over", source, facts.unfinished)
        if self._whole:
            self._lots.add(source, facts)
            self._references.add(source, facts)
            self._wanted += [("orphan", source, bytes.fromhex(content)) for content in facts.about]
            if facts.reduced_from:
                self._wanted.append(("source-missing", source, bytes.fromhex(facts.reduced_from)))

    def stored(self, source: str, calibration: AppliedCalibration) -> Iterator[Finding]:
        """Compare a calibration that is stored for a station with the one embedded in records."""
        named = (calibration.identifier, calibration.created_at)
        fingerprint, embedded = self._calibrations.get(named, (calibration.fingerprint, ""))
        if fingerprint != calibration.fingerprint:
            words = (
                f"the calibration {named[0]} of {named[1]} stored in {source} is not the one that was applied"
            )
            yield Finding("calibration-differs", embedded, words)

    def applies(self, identifier: str, created_at: str) -> bool:
        """Tell whether a record was found to which the calibration of that name and time was applied."""
        return (identifier, created_at) in self._calibrations

    @property
    def calibrations(self) -> int:
        """How many calibrations were applied to the records added."""
        return len(self._calibrations)

    def lots(self, unread: Collection[str]) -> Iterator[Finding]:
        """Yield what is wrong with lots beside each other and with the corrections of records.

        That is what counts in a lot although its record was withdrawn or counts in another lot, too, and lots
        that are not what later ones saw. To be asked when all files were added.

        Parameters
        ----------
        unread
            Names of the files that are there but cannot be read.
        """
        yield from self._lots.withdrawn()
        yield from self._lots.twice()
        yield from self._lots.lost(unread)

    def references(self, unread: Collection[str]) -> Iterator[Finding]:
        """Yield what is wrong with histories of channels, testers and studies beside the other files.

        Parameters
        ----------
        unread
            Names of the files that are there but cannot be read.
        """
        yield from self._references.findings(unread)

    def missing(self) -> Iterator[Finding]:
        """Yield what points at a record that was not among all files added."""
        yield from self._lots.missing(self._contents)
        yield from self._references.missing(self._contents)
        for kind, source, content in self._wanted:
            if content not in self._contents:
                what = "is about" if kind == "orphan" else "was reduced again from"
                words = f"{what} the record {content.hex()[:16]}…, which is not in the archive"
                yield Finding(kind, source, words)

    def _same(self, known: dict[bytes, str], digest: str, source: str) -> str | None:
        """Return the file that has this digest already; else remember it."""
        if not digest:
            return None
        first = known.setdefault(bytes.fromhex(digest), source)
        return None if first == source else first

    def _calibration(self, source: str, applied: AppliedCalibration) -> Iterator[Finding]:
        named = (applied.identifier, applied.created_at)
        fingerprint, first = self._calibrations.setdefault(named, (applied.fingerprint, source))
        if fingerprint != applied.fingerprint:
            words = f"holds another calibration {named[0]} of {named[1]} than {first}"
            yield Finding("calibration-conflict", source, words)
