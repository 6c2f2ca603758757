"""What stands about a plot, and rows of cells below heads."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from benchsweep.report.document import clean
from benchsweep.report.terminal._canvas import Glyphs
from benchsweep.report.terminal._lines import columns, padded, wrapped

__all__ = ["framed", "number_axis", "tabled"]

Tick = tuple[float, str]


def framed(
    drawn: Sequence[str], ticks: Sequence[Tick], left: int, glyphs: Glyphs, span: tuple[float, float]
) -> list[str]:
    """Return the lines of a plot with numbers to their left.

    Parameters
    ----------
    drawn
        The lines, from above.
    ticks
        Values and how they are written.
    left
        How many columns the numbers take.
    span
        Lowest and highest value shown.
    """
    low, high = span
    named = {
        min(int((high - value) / (high - low) * len(drawn)), len(drawn) - 1): words for value, words in ticks
    }
    return [
        f"{named.get(at, ''):>{left - 1}} {glyphs.tick if at in named else glyphs.side}{line}"
        for at, line in enumerate(drawn)
    ]


def number_axis(
    places: Sequence[tuple[int, str]], across: int, left: int, glyphs: Glyphs, *, unit: str = ""
) -> list[str]:
    """Return the line below a plot and the one with the words at it.

    Parameters
    ----------
    places
        Column and words; the first matter most: who has no room is left out.
    across
        Columns of the plot.
    unit
        What stands in front of the words.
    """
    rule = [glyphs.below] * across
    words_below = [" "] * (across + 1)
    for at, words in places:
        start = min(max(at - len(words) // 2, 0), max(across - len(words), 0))
        taken = words_below[max(start - 1, 0) : start + len(words) + 1]
        if len(words) > across or any(char != " " for char in taken):
            continue
        words_below[start : start + len(words)] = words
        rule[at] = glyphs.tick_below
    return [f"{'':>{left}}{glyphs.corner}{''.join(rule)}", f"{unit:>{left}} {''.join(words_below)}"]


def tabled(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    width: int,
    *,
    figures: Collection[str] = (),
    spare: Sequence[str] = (),
) -> list[str]:
    """Return rows of cells below heads; where they are too wide, one sentence for each row.

    Parameters
    ----------
    figures
        Heads of the columns that end at the same place.
    spare
        Heads of the columns that are left out first where there is no room, one after the other.
    """
    cells = [[clean(cell) for cell in row] for row in rows]
    widths = [max(columns(line[i]) for line in (heads, *cells)) for i in range(len(heads))]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= width else 1
    if sum(widths) + gap * (len(widths) - 1) > width:
        if spare:
            kept = [at for at, head in enumerate(heads) if head != spare[0]]
            fewer = [[row[at] for at in kept] for row in cells]
            return tabled([heads[at] for at in kept], fewer, width, figures=figures, spare=spare[1:])
        told = (
            ", ".join(f"{head} {cell}".strip() for head, cell in zip(heads, row, strict=True) if cell)
            for row in cells
        )
        return [line for text in told for line in wrapped(text, width)]
    lines = []
    for line in (heads, *cells):
        texts = [
            " " * (widths[i] - columns(cell)) + cell if heads[i] in figures else padded(cell, widths[i])
            for i, cell in enumerate(line)
        ]
        lines.append((" " * gap).join(texts).rstrip())
    return [lines[0], "-" * min(sum(widths) + gap * (len(widths) - 1), width), *lines[1:]]
