"""What a chart shows, before it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Axis", "Band", "Chart", "Curve", "LimitLine", "Look", "Mark", "Panel", "Picture", "Span"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Look:
    """How a curve looks: told by its dashes and its marker as well as by its colour.

    Parameters
    ----------
    colour
        ``#rrggbb``, at least 3 : 1 against white.
    dashes
        Lengths of strokes and gaps in drawing units; empty: a solid line.
    width
        In drawing units (1 unit is 1/72 inch where the chart is printed at its own size); 0: no line, a
        marker at each point, whose `x` need not rise.
    marker
        A shape at some of its points; empty: none.
    filled
        Markers are filled with the colour; else white.
    """

    colour: str
    dashes: tuple[float, ...] = ()
    width: float = 0.9
    marker: Literal["", "circle", "square", "triangle", "diamond"] = ""
    filled: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One curve, at all its points; the drawing leaves out what cannot be seen.

    Parameters
    ----------
    name
        Told in the readout, and written at its right end.
    x, y
        ``(n,)`` float64, `x` rising. `y` may be infinite or NaN: nothing is drawn there.
    look
        How it is drawn.
    pairs
        The pairs it belongs to, for those who want to see some only.
    limit
        Place in `Panel.limits` of the line that it is held against; None: none.
    idle
        ``(n,)`` bool, True where no limit counts for it: drawn thinner there; None: it counts all over.
    low, high
        ``(n,)`` float64, zero or greater: how far the true value may lie below and above `y` (k = 2),
        drawn as a band from ``y - low`` to ``y + high``; may be infinite; None: not known.
    short
        Written at its right end instead of its name; empty: its name.
    """

    name: str
    x: Floats
    y: Floats
    look: Look
    pairs: tuple[str, ...] = ()
    limit: int | None = None
    idle: Mask | None = None
    low: Floats | None = None
    high: Floats | None = None
    short: str = ""

    @property
    def label(self) -> str:
        """What is written at its right end."""
        return self.short or self.name


@dataclass(frozen=True, slots=True, eq=False)
class LimitLine:
    """A limit; the side on which values fail is shaded.

    Parameters
    ----------
    name
        Told in the readout, and written at its right end if it is the only limit of its panel.
    x, y
        ``(n,)`` float64; NaN where there is no limit.
    sense
        ``min``: values below it fail; ``max``: values above it fail.
    idle
        True where it counts for none of the curves: drawn thin, not shaded.
    held
        True where a cap or a floor holds: drawn hollow.
    short
        Written at its right end where there are several (``2``, ``1, 3``); empty: its name.
    """

    name: str
    x: Floats
    y: Floats
    sense: Literal["min", "max"]
    idle: Mask | None = None
    held: Mask | None = None
    short: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """What lies between two curves, such as the least and the greatest of many specimens."""

    name: str
    x: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Mark:
    """A point to look at.

    Parameters
    ----------
    x, y
        Where.
    kind
        ``worst``: a ring; ``dot``: a filled dot; ``acceptance``: a short bar: where a value
        begins to be accepted; ``words``: its words alone, beside something that is drawn already.
    words
        Written beside it; may be empty.
    low, high
        How far the true value may lie below and above `y`, zero or greater, drawn as a bar; None: not known.
        May be infinite.
    pairs
        The pairs of the curve that it lies on.
    """

    x: float
    y: float
    kind: Literal["worst", "dot", "acceptance", "words"] = "worst"
    words: str = ""
    low: float | None = None
    high: float | None = None
    pairs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the x axis, hatched, with words above it; of no width: an upright line.

    `faint`: a thin dotted line without hatching (where a specimen begins and ends).
    """

    begin: float
    end: float
    words: str = ""
    faint: bool = False


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis.

    Parameters
    ----------
    words, unit
        ``frequency`` and ``MHz``; the unit may be empty.
    log
        Logarithmic.
    low, high
        Its ends; None: from what is shown.
    ticks
        Places and their words; None: round numbers.
    loss
        Values are magnitudes over 1, with or without a sign; the readout tells the loss that each is,
        ``-20 lg |value|``, in `unit`.
    """

    words: str
    unit: str = ""
    log: bool = False
    low: float | None = None
    high: float | None = None
    ticks: tuple[tuple[float, str], ...] | None = None
    loss: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One pair of axes and what is drawn in it."""

    title: str
    x: Axis
    y: Axis
    curves: tuple[Curve, ...] = ()
    limits: tuple[LimitLine, ...] = ()
    marks: tuple[Mark, ...] = ()
    bands: tuple[Band, ...] = ()
    spans: tuple[Span, ...] = ()
    levels: tuple[float, ...] = ()
    """Values of y at which a thin line runs across (a nominal impedance, a margin of zero)."""
    note: str = ""
    """A few words in a corner (how far two places have to be apart to be seen as two)."""
    note_length: float = 0.0
    """A length along the x axis, drawn as a bar beside the note; 0: none."""
    name: str = ""
    """Names it among the panels (``end B``) where its title says more; empty: its title."""
    clear_words: bool = False
    """Words of marks stand beside the curves, where there is room; for panels of few curves."""


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Panels side by side.

    Parameters
    ----------
    name
        Names it inside a document, unique there: letters, digits and hyphens.
    words
        What it shows, for those who hear it: one sentence.
    panels
        What is in it, row by row.
    across
        How many panels stand side by side; a lone panel keeps the size it would have among these.
    panel_height
        From the top of a title of one line to the words of the x axis, in drawing units. Grows with the lines
        of titles and the number of curves named in a panel.
    shared_y
        All panels have one y scale.
    named_curves
        Curves are named at their right ends; else those that differ in name or look are shown once, in a line
        above the panels, if there are eight or fewer.
    """

    name: str
    words: str
    panels: tuple[Panel, ...]
    across: int = 2
    panel_height: float = 200.0
    shared_y: bool = True
    named_curves: bool = True


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart as it is printed.

    Parameters
    ----------
    name, words
        Of the chart.
    svg
        One ``<svg>`` element, without a script.
    readout
        What a person can read off it, as JSON (see `_readout.py`); empty: nothing.
    """

    name: str
    words: str
    svg: str
    readout: str = ""
