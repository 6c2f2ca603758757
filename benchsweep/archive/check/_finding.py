from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Finding", "FindingKind"]

FindingKind = Literal[
    "newer-format",
    "calibration-conflict",
    "calibration-differs",
    "stored-calibration-damaged",
    "fixture-refused",
    "budget-refused",
    "same-content",
    "same-sweeps",
    "orphan",
    "source-missing",
    "missing",
    "other-content",
    "lot-record-missing",
    "lot-record-differs",
    "lot-record-withdrawn",
    "lot-record-twice",
    "lot-missing",
    "lot-cut",
    "lot-doubtful",
    "lot-refused",
    "reference-record-missing",
    "reference-record-differs",
    "reference-record-withdrawn",
    "reference-refused",
    "reference-missing",
    "reference-cut",
    "left-over",
    "unfinished",
]
"""Written by a later version; another record holds another calibration of the same name and time; the one
that is stored under that name and time is another one, or damaged; a text of a definition that no longer
passes; the same record stored twice; the same sweeps in two records; a note or grading whose record is not
there; a record reduced again whose source is not there; on a list kept elsewhere, but not there, or there
with other content; a record that a lot names is not there, has other content, or counts although it was
withdrawn; one record counts in two lots; a lot that a later one saw is not there, or has not the entries that
it had then; something was wrong with other lots when one was opened, or its times go back; the history of a
lot breaks the rules of a lot; a record or kept file that the history of a channel, tester or study names is
not there, has other content, or counts although it was withdrawn; such a history breaks its rules; one that
another saw is not there, or has not the entries that it had; what a killed run left; work not finished."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a person should look at although no byte is damaged.

    Parameters
    ----------
    kind
        What kind of thing it is.
    source
        The file that it is about.
    words
        What was found, in a sentence.
    """

    kind: FindingKind
    source: str
    words: str
