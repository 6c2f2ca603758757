"""How pairs are told apart in a drawing: by dashes and marker as well as by colour.

Three colours are those of M. Okabe and K. Ito, "Color universal design" (2008), the fourth is one of the
wine reds of P. Tol, "Colour schemes" (2021): a lighter purple looks blue to people without red cones. Their
values are from memory; how far apart they look to people without one kind of cone is tested. No two have the
same dashes, so that a line is told without its colour too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Literal, TypeAlias

from benchsweep.records import End
from benchsweep.report.chart import Look
from benchsweep.report.text import Texts

__all__ = [
    "END_LOOKS",
    "GRADED",
    "MARKERS",
    "OTHER",
    "PAIR_LOOKS",
    "course_look",
    "dot_look",
    "marker_legend",
    "pair_legend",
    "trace_look",
]

Marker: TypeAlias = Literal["", "circle", "square", "triangle", "diamond"]

PAIR_LOOKS: Mapping[str, Look] = MappingProxyType(
    {
        "12": Look("#0072B2"),
        "36": Look("#D55E00", (6.0, 2.0)),
        "45": Look("#009E73", (1.5, 1.2)),
        "78": Look("#882255", (6.0, 1.5, 1.2, 1.5)),
    }
)
MARKERS: Mapping[str, Marker] = MappingProxyType(
    {"12": "circle", "36": "square", "45": "triangle", "78": "diamond"}
)
OTHER = Look("#555555")
"""Of what belongs to no single pair: a mean over all."""
GRADED = Look("#000000", (1.0, 1.0), 0.8)
"""Of a trace as a requirement grades it, beside the same as measured."""
END_LOOKS: Mapping[str, Look] = MappingProxyType(
    {"A": Look("#0072B2"), "B": Look("#D55E00", (3.5, 1.2))},
)

_PLAIN, _WORST = 0.8, 1.2
_LIGHT = 0.55


def trace_look(pairs: tuple[str, ...], *, worst: bool = False) -> Look:
    """Return the look of a trace: the first pair receives and gives the line, the second gives the marker.

    Parameters
    ----------
    pairs
        As in `Trace`; more than two are no single pair.
    worst
        The worst of its panel: heavier.
    """
    width = _WORST if worst else _PLAIN
    if not 1 <= len(pairs) <= 2:
        return replace(OTHER, width=width)
    marker = MARKERS.get(pairs[1], "") if len(pairs) == 2 else ""
    return replace(PAIR_LOOKS.get(pairs[0], OTHER), width=width, marker=marker)


def course_look(pair: str, end: End) -> Look:
    """Return the look of the course of a pair over time; what is received at end B is thinner."""
    return replace(PAIR_LOOKS.get(pair, OTHER), width=0.9 if end == "A" else 0.6)


def dot_look(pair: str, *, filled: bool) -> Look:
    """Return the look of dots of a pair that no line joins."""
    colour = PAIR_LOOKS.get(pair, OTHER).colour
    return Look(colour, width=0.0, marker=MARKERS.get(pair, "circle"), filled=filled)


def lightened(colour: str) -> str:
    """Return a colour mixed with white, for what stands behind something heavier of the same colour."""
    parts = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(f"{round(255 - _LIGHT * (255 - part)):02X}" for part in parts)


def pair_legend(texts: Texts, *, markers: bool = False) -> str:
    """Return in words how the receiving pairs are told apart; with `markers` the disturbing ones as well.

    Examples
    --------
    >>> from benchsweep.report.text import english
    >>> pair_legend(english())
    'Line style and colour tell the pair: 12 solid, 36 long dashes, 45 dots, 78 dash and dot.'
    """
    lines = ", ".join(f"{pair} {texts(_line(look))}" for pair, look in PAIR_LOOKS.items())
    if not markers:
        return texts("chart.pair_legend", lines=lines)
    return texts("chart.pairs_legend", lines=lines, markers=marker_legend(texts))


def marker_legend(texts: Texts) -> str:
    """Return the marker of each pair in words, for a sentence."""
    return ", ".join(f"{pair} {texts(_SHAPES[shape])}" for pair, shape in MARKERS.items())


_SHAPES: Mapping[Marker, str] = MappingProxyType(
    {
        "circle": "chart.circle",
        "square": "chart.square",
        "triangle": "chart.triangle",
        "diamond": "chart.diamond",
    }
)


def _line(look: Look) -> str:
    """Return the key of what a line with these dashes is called."""
    if not look.dashes:
        return "chart.solid"
    if len(look.dashes) > 2:
        return "chart.dash_dot"
    return "chart.dashes" if look.dashes[0] >= 3.0 else "chart.dots"
