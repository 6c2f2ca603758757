"""What was found in an archive as a person reads it on a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

__all__ = ["found_text"]

_GAP = "  "
_TIME = 16
_LONGEST = {"specimen": 40, "lot": 14}
_LEAST = 8
_WIDE = 100
_INDENT = f"{' ' * _TIME}{_GAP}"


def found_text(document: Mapping[str, Any], *, width: int) -> str:
    """Return ``benchsweep.find/1`` as text: a line for each record, below it one for each requirement.

    The name of the file is never cut. Up to 100 columns it gets a line of its own, so that the table looks
    the same whatever the names are; on a wider terminal only where there is no room beside the rest. Editions
    of requirements are told where there are several of one name.
    """
    found = document["found"]
    columns = [
        ("specimen", [item["specimen"] for item in found]),
        ("lot", [item["lot"] for item in found]),
        ("length", [_length(item["length_m"]) for item in found]),
    ]
    columns = [(name, cells) for name, cells in columns if name == "specimen" or any(cells)]
    names = [_printable(item["name"]) for item in found]
    natural = [min(max(len(name), *map(len, cells)), _LONGEST.get(name, 99)) for name, cells in columns]
    least = [
        min(_LEAST, own) if name in _LONGEST else own for own, (name, _) in zip(natural, columns, strict=True)
    ]
    gaps = len(_GAP) * (len(columns) + 1) + _TIME
    # Names of files are never cut, so that they can be marked and copied: where there is no room for them
    # beside the rest they get lines of their own.
    room = width - gaps - max(map(len, [*names, "record"]))
    beside = width > _WIDE and sum(least) <= room
    widths = _shrunk(natural, least, room if beside else width - gaps)
    head = [f"{'time (UTC)':<{_TIME}}", *_cells([name for name, _ in columns], widths)]
    lines = [_GAP.join([*head, "record"] if beside else head).rstrip()]
    gradings = _named([grading for item in found for grading in item["gradings"]])
    longest = max(map(len, gradings.values()), default=0)
    for place, item in enumerate(found):
        cells = [_moment(item["created_at"]), *_cells([column[place] for _, column in columns], widths)]
        lines.append(_GAP.join([*cells, names[place]] if beside else cells).rstrip())
        below = [] if beside else [names[place]]
        below += textwrap.wrap(", ".join(_remarks(item)), width - len(_INDENT))
        for grading in item["gradings"]:
            name = gradings[grading["requirement"], grading["edition"]]
            below += _graded(grading, f"{_printable(name):<{longest}}", width - len(_INDENT))
        lines += [f"{_INDENT}{line}" for line in below]
    many = f"{len(found)} records" if len(found) > 1 else "1 record"
    return "\n".join([*lines, "", f"{many} in {_printable(document['archive'])}"])


def _shrunk(natural: Sequence[int], least: Sequence[int], room: int) -> list[int]:
    """Return how wide the columns are: as their cells, or less where the room does not suffice."""
    widths = list(natural)
    over = sum(widths) - room
    for place, smallest in enumerate(least):
        less = min(max(over, 0), widths[place] - smallest)
        widths[place] -= less
        over -= less
    return widths


def _cells(words: Iterable[str], widths: Sequence[int]) -> list[str]:
    return [_cut(word, width).ljust(width) for word, width in zip(words, widths, strict=True)]


def _cut(word: str, width: int) -> str:
    # Specimens of a lot differ at their end, so the middle is left out.
    word = _printable(word)
    if len(word) <= width:
        return word
    tail = (width - 1) // 2
    return f"{word[: width - 1 - tail]}~{word[len(word) - tail :]}"


def _printable(word: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in word)


def _moment(created_at: str) -> str:
    moment = datetime.fromisoformat(created_at)
    moment = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M")


def _length(length_m: float | None) -> str:
    return "" if length_m is None else f"{length_m:g} m"


def _remarks(item: Mapping[str, Any]) -> list[str]:
    words = []
    if item["kind"] != "record":
        words.append(item["kind"])
    if item["withdrawn"]:
        words.append("withdrawn")
    if item["superseded_by"]:
        words.append(f"reduced again into {item['superseded_by'][:12]}")
    if item["reduced_from"]:
        on = (item["reduced_at"] or item["created_at"])[:10]
        words.append(f"reduced again from {item['reduced_from'][:12]} on {on}")
    for many, one in ((item["corrections"], "correction"), (item["comments"], "comment")):
        if many:
            words.append(f"{many} {one}{'s' if many > 1 else ''}")
    return words


def _named(gradings: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], str]:
    """Return requirement and edition -> what to call them: the edition where the name has several."""
    editions: dict[str, set[str]] = {}
    for grading in gradings:
        editions.setdefault(grading["requirement"], set()).add(grading["edition"])
    return {
        (name, edition): f"{name} ({edition})" if len(of) > 1 and edition else name
        for name, of in editions.items()
        for edition in of
    }


def _graded(grading: Mapping[str, Any], name: str, width: int) -> list[str]:
    margin = grading["worst_margin_db"]
    worst = "" if margin is None else f"{margin:8.2f} dB {grading['worst_parameter']}"
    lines = [f"{name}{_GAP}{grading['outcome']:<16}{worst}".rstrip()]
    if grading["outdated"]:
        lines.append(
            f"{_GAP}graded before the correction of {grading['outdated_since'][:10]}: grade it again"
        )
    if grading["why"]:
        because = _printable(f"because {grading['why']}")
        lines += textwrap.wrap(because, width, initial_indent=_GAP, subsequent_indent=_GAP)
    return lines
