"""A lot computed again, as text for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from benchsweep.records import Parameter
from benchsweep.report.terminal._english import parameter_words, signed
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry
from benchsweep.report.terminal._lot_plan import characteristic_words

__all__ = ["lot_proof_table"]

_MOST = 20


def lot_proof_table(document: Mapping[str, Any], *, width: int = 80) -> str:
    """Return what ``benchsweep.lot-proof/1`` says: the decision now, the one that was made, what differs.

    Plain text of at most `width` columns, at least 40. Of each reel of the sample: its outcome as it was and
    as it is now, the smallest margin now, and how far the matrix computed from the raw sweeps is from the one
    in the record.
    """
    width = max(width, NARROWEST)
    decision, was = document["decision"], document["was"]
    lines: list[str] = []
    for label, texts in (
        ("now", [decision["words"]]),
        (
            "decided",
            [
                "nothing yet: the lot is open, so that only results can be proved, no decision"
                if was is None
                else was["words"]
            ],
        ),
        ("proof", [_proof_words(document)]),
        ("differs", _first(document["differs"])),
        ("doubtful", document["doubts"]),
        (
            "variables",
            [
                f"{characteristic_words(each['characteristic'])}: "
                f"{each['words'].removeprefix(each['characteristic'] + ': ')}"
                for each in document["variables"]
            ],
        ),
        ("lot", [document["lot"]]),
        ("against", [_against(document)]),
        ("digest", [document["digest"], _kept(document)]),
    ):
        lines += entry(label, texts, width)
    reels: Sequence[Mapping[str, Any]] = document["reels"]
    if reels:
        lines += ["", *_reels(reels, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _proof_words(document: Mapping[str, Any]) -> str:
    count = len(document["reels"])
    tested = f"{count} record{'' if count == 1 else 's'}"
    if document["against"]:
        other = len(document["other_outcome"])
        which = f", {other} with another outcome" if other else ""
        return f"{tested} graded against another requirement{which}; nothing was changed"
    if document["same"]:
        return f"the draw, {tested} and the decision are as they were"
    count = len(document["differs"])
    return f"not as it was: {count} difference{'' if count == 1 else 's'}"


def _kept(document: Mapping[str, Any]) -> str:
    """Return what was found of the digest that somebody kept."""
    found = document.get("digest_kept")
    return f"the one that was kept {found}" if found else ""


def _against(document: Mapping[str, Any]) -> str:
    edition = f", {document['edition']}" if document["edition"] else ""
    return f"{document['requirement']}{edition}"


def _first(words: Sequence[str]) -> Sequence[str]:
    more = [f"… and {len(words) - _MOST} more; --json tells all"] if len(words) > _MOST else []
    return [*words[:_MOST], *more]


def _reels(reels: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    heads = ["reel", "was", "now", "margin", "parameter", "raw sweeps"]
    rows = []
    for each in reels:
        worst = _worst(each["result"])
        raw = each["matrix_difference"]
        rows.append(
            [
                each["reel"],
                each["was"],
                each["outcome"] or "none",
                "-" if worst is None else signed(worst["worst_margin"]),
                "" if worst is None else parameter_words(Parameter(worst["parameter"])),
                "none kept" if raw is None else f"differ by {raw:.0e}" if raw else "equal",
            ]
        )
    return tabled(heads, rows, width, figures=("margin",))


def _worst(result: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """Return the smallest margin in decibels; in nanoseconds where there is none in decibels."""
    margins = (
        [] if result is None else [each for each in result["margins"] if each["worst_margin"] is not None]
    )
    first = [each for each in margins if each["unit"] == "dB"] or margins
    return min(first, key=lambda each: float(each["worst_margin"]), default=None)
