"""What a check of an archive found, as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from benchsweep.report.document import clean
from benchsweep.report.terminal._lines import NARROWEST, wrapped

__all__ = ["archive_check_table"]

_INDENT = 4
_MOST = 20
# What comes first is looked at first.
_CALLED = {
    "calibration-conflict": "two calibrations of one name and time",
    "calibration-differs": "not the calibration that the station keeps",
    "stored-calibration-damaged": "damaged calibrations of stations",
    "same-content": "stored twice",
    "same-sweeps": "the same sweeps in two records",
    "source-missing": "reduced from a record that is not there",
    "missing": "on the list, but no longer there",
    "other-content": "not what the list says",
    "orphan": "about a record that is not there",
    "fixture-refused": "fixture definitions that this version refuses",
    "budget-refused": "uncertainty budgets that this version refuses",
    "lot-record-missing": "records of lots that are not there",
    "lot-record-differs": "records of lots that are other ones now",
    "lot-record-withdrawn": "records of lots that were withdrawn",
    "lot-record-twice": "records that count in two lots",
    "lot-missing": "lots that are not there any more",
    "lot-cut": "lots that are not what later ones saw",
    "lot-doubtful": "lots that were doubtful when they were opened, or whose times go back",
    "lot-refused": "lots whose history breaks its own rules",
    "reference-record-missing": "records and files of reference channels and testers that are not there",
    "reference-record-differs": "records of reference channels and testers that have other content",
    "reference-record-withdrawn": "records of reference channels and testers that count and were withdrawn",
    "reference-missing": "histories of channels, testers and studies that are not there any more",
    "reference-cut": "histories of channels, testers and studies that are not what others saw",
    "reference-refused": "histories of channels, testers and studies that break their rules",
    "unfinished": "unfinished work",
    "left-over": "left by killed runs",
}


def archive_check_table(document: Mapping[str, Any], *, width: int = 80, most: int = _MOST) -> str:
    """Return what ``benchsweep.check/1`` says, the worst last.

    Parameters
    ----------
    width
        Columns of the terminal.
    most
        Of each kind of trouble at most so many files are named; the rest is counted.
    """
    width = max(width, NARROWEST)
    lines: list[str] = []
    findings: Sequence[Mapping[str, str]] = document["findings"]
    order = list(_CALLED)
    by_kind = sorted(findings, key=lambda found: order.index(found["finding"]))
    for kind, group in groupby(by_kind, key=lambda found: found["finding"]):
        lines += _section(_CALLED[kind], list(group), width, most)
    lines += _section("written by a later version, not checked", document["newer"], width, most)
    lines += _section("damaged", document["damaged"], width, most)
    for words in (_of_list(document), _summary(document)):
        lines += wrapped(words, width) if words else []
    return "\n".join(lines)


def _of_list(document: Mapping[str, Any]) -> str:
    """Say what became of a list that was to be written, and what of one to compare with."""
    listed, compared = document.get("list"), document.get("compared")
    words = []
    if compared:
        since = "none is new" if not compared["new"] else f"{compared['new']} new since"
        words.append(f"compared with {clean(compared['file'])} of {_files(compared['files'])}, {since}.")
    if listed:
        words.append(
            f"{clean(listed['file'])} lists {_files(listed['files'])}; its SHA-256 is {listed['sha256']}."
            " Sign it and keep it where nobody changes it."
        )
    return " ".join(words)


def _files(count: int) -> str:
    return f"{count} {_plural('file', count)}"


def _section(title: str, found: Sequence[Mapping[str, str]], width: int, most: int) -> list[str]:
    if not found:
        return []
    lines = wrapped(f"{title}: {len(found)}", width)
    for item in found[:most]:
        lines += _indented([item["record"]], _INDENT // 2, width)
        lines += _indented([item["reason"]], _INDENT, width)
    if len(found) > most:
        lines += _indented([f"… and {len(found) - most} more; --json tells all"], _INDENT // 2, width)
    return [*lines, ""]


def _indented(texts: Iterable[str], by: int, width: int) -> list[str]:
    return [f"{'':{by}}{line}" for text in texts for line in wrapped(text, width - by)]


def _summary(document: Mapping[str, Any]) -> str:
    files: Mapping[str, int] = document["files"]
    sound = ", ".join(f"{count} {_plural(kind, count)}" for kind, count in files.items()) or "no file"
    where = f"{clean(document['archive'])}: " if document["archive"] else ""
    damaged, newer, findings = (len(document[name]) for name in ("damaged", "newer", "findings"))
    if not (damaged or newer or findings):
        outcome = "nothing wrong"
    else:
        counts = ((damaged, "damaged"), (newer, "newer"), (findings, "to look at"))
        outcome = ", ".join(f"{count} {words}" for count, words in counts if count)
    return f"{where}{sound} checked in {document['seconds']:.1f} s; {outcome}"


def _plural(kind: str, count: int) -> str:
    return kind if count == 1 or kind.endswith("s") else f"{kind}s"
