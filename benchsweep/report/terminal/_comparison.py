"""What a field tester told beside what the bench measured, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import (
    Agreement,
    ComparedTrace,
    Comparison,
    Parameter,
)
from benchsweep.report.terminal._english import (
    number,
    pairs_words,
    parameter_words,
    signed,
    uncertainty_words,
)
from benchsweep.report.terminal._field_result import misfits, remarks_on
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, plain_times, wrapped

__all__ = ["comparison_table"]

_MOST_ROWS = 24
_MOST_REASONS = 6
_MOST_NAMES = 6
_HEADS = ["parameter", "end", "pairs", "MHz", "bench", "tester", "difference", "U", "E_n", "outcome"]


def comparison_table(
    found: Comparison,
    *,
    drift: Sequence[str] = (),
    repairs: str = "",
    every: bool = False,
    width: int = 80,
) -> str:
    """Return a comparison as plain text of at most `width` columns, at least 40.

    The outcome and its reason first, then what does not fit and what is doubtful; a row for each trace, those
    that do not agree first; where the uncertainty comes from; limits of agreement.

    Parameters
    ----------
    drift
        What is seen to drift, in words.
    repairs
        What was changed on the tester before.
    every
        Print every row; else the furthest of each parameter and end, and all that do not agree.
    """
    width = max(width, NARROWEST)
    lines = entry(
        "outcome", [f"{found.outcome.value}: {found.words}" if found.words else found.outcome.value], width
    )
    lines += entry("does not fit", misfits(found.suspicions), width)
    lines += entry("doubtful", found.doubts, width)
    for label, texts in (
        ("drift", drift),
        ("tester", [found.tester, f"changed before: {repairs}" if repairs else ""]),
        ("channel", [found.channel]),
        ("bench", [f"record {found.record}"]),
        ("told by", [_source(found)]),
        ("against", [found.requirement]),
    ):
        lines += entry(label, texts, width)
    rows = _chosen(found.rows, every=every)
    if rows:
        lines += ["", *tabled(_HEADS, [_row(row) for row in rows], width, figures=_HEADS[3:9])]
        lines += wrapped(
            "difference: tester less bench at the bench's worst margin, dB (delay, skew: ns); U: k = 2", width
        )
        if any(by_the_band(row) for row in rows):
            lines += wrapped(
                "(band): at the worst margin it agrees, but more than a quarter of its points lie beyond",
                width,
            )
        left = sum(row.decisive is not None for row in found.rows) - len(rows)
        if left:
            lines += wrapped(
                f"{left} more agree and are not shown; --every shows them, --json all numbers", width
            )
    tail: list[str] = entry("undecided", _reasons(found.rows), width)
    tail += entry("not compared", _nothing(found.rows, every=every), width)
    tail += entry("not told", found.missing, width)
    tail += entry("uncertainty", found.budget, width)
    tail += entry("agreement", _limits(found), width)
    tail += entry("note", [*map(plain_times, found.notes), *remarks_on(found.suspicions)], width)
    if tail:
        lines += ["", *tail]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _source(found: Comparison) -> str:
    if not found.source:
        return "numbers that were typed in"
    return f"{found.source}, read with {found.mapping}" if found.mapping else found.source


def _chosen(rows: Sequence[ComparedTrace], *, every: bool) -> list[ComparedTrace]:
    order = list(Parameter)
    ranked = sorted(
        (row for row in rows if row.decisive is not None),
        key=lambda row: (
            row.outcome is Agreement.AGREES,
            row.outcome is not Agreement.DISAGREES,
            order.index(row.parameter),
            row.end or "",
            row.pairs,
        ),
    )
    if every:
        return ranked
    furthest: dict[tuple[Parameter, str | None], ComparedTrace] = {}
    for row in ranked:
        key = (row.parameter, row.end)
        if key not in furthest or _far(row) > _far(furthest[key]):
            furthest[key] = row
    kept = {id(row) for row in furthest.values()}
    bad = [row for row in ranked if row.outcome is not Agreement.AGREES]
    shown = [row for row in ranked if row.outcome is not Agreement.AGREES or id(row) in kept]
    return shown if len(bad) <= _MOST_ROWS else shown[:_MOST_ROWS]


def _far(row: ComparedTrace) -> float:
    point = row.decisive
    if point is None:
        return -1.0
    return abs(point.e_n if point.e_n is not None else point.difference)


def _row(row: ComparedTrace) -> list[str]:
    point = row.decisive
    head = [parameter_words(row.parameter), row.end or "", pairs_words(row.pairs)]
    if point is None:
        return [*head, "-", "-", "-", "-", "-", "-", row.outcome.value]
    return [
        *head,
        "-" if point.frequency_hz is None else f"{point.frequency_hz / 1e6:.4g}",
        number(point.bench),
        number(point.tester),
        signed(point.difference),
        uncertainty_words(point.uncertainty),
        signed(point.e_n),
        f"{row.outcome.value} (band)" if by_the_band(row) else row.outcome.value,
    ]


def by_the_band(row: ComparedTrace) -> bool:
    """Tell whether a trace disagrees by its points over the band only, not at the bench's worst margin."""
    point = row.decisive
    return (
        row.outcome is Agreement.DISAGREES
        and point is not None
        and point.e_n is not None
        and abs(point.e_n) <= 1.0
    )


def _reasons(rows: Sequence[ComparedTrace]) -> list[str]:
    """Return why rows with a difference are undecided, each reason once."""
    undecided = [row for row in rows if row.outcome is Agreement.UNDECIDED and row.decisive is not None]
    told = list(dict.fromkeys(row.words for row in undecided if row.words))
    more = [f"… and {len(told) - _MOST_REASONS} more"] if len(told) > _MOST_REASONS else []
    return [*told[:_MOST_REASONS], *more]


def _nothing(rows: Sequence[ComparedTrace], *, every: bool) -> list[str]:
    """Return which traces could not be compared at all; why only where every row is wanted."""
    empty = [row for row in rows if row.decisive is None]
    if every:
        return [row.words for row in empty]
    told = []
    for parameter in dict.fromkeys(row.parameter for row in empty):
        names = [
            f"{row.end or ''} {pairs_words(row.pairs)}".strip() for row in empty if row.parameter is parameter
        ]
        more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        told.append(f"{parameter_words(parameter)} {', '.join(names[:_MOST_NAMES])}{more}")
    if told:
        told.append(
            "no point of these counts: far from the limit, near the noise, beside a null (--every says why)"
        )
    return told


def _limits(found: Comparison) -> list[str]:
    """Return bias and limits of agreement of each parameter, and once what limits their meaning."""
    told = [
        f"{parameter_words(parameter)}: bias {signed(limits.bias)}, limits of agreement "
        f"{signed(limits.lower)} to {signed(limits.upper)} {parameter.unit} ({limits.count} results)"
        for parameter, limits in found.bland_altman
    ]
    if any(limits.independent == 1 for _, limits in found.bland_altman):
        told.append("all of one channel: they tell nothing of another channel")
    return told
