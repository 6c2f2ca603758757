"""Characters that a curve, a line and a mark are drawn with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["ASCII", "UNICODE", "Canvas", "Glyphs"]

Floats = NDArray[np.float64]

_BRAILLE = 0x2800
# Bits of a Braille pattern by row from above and column (Unicode, "Braille Patterns").
_DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]])


@dataclass(frozen=True, slots=True)
class Glyphs:
    """Characters of one kind of terminal.

    Parameters
    ----------
    dots
        How many dots a character has, across and down.
    level
        A line in a character, from the highest to the lowest.
    """

    dots: tuple[int, int]
    level: str
    side: str
    tick: str
    below: str
    tick_below: str
    corner: str
    sample: str
    mark: str = "X"

    def character(self, dots: NDArray[np.bool_]) -> str:
        """Return the character with these dots, ``(down, across)`` bool."""
        if self.dots == (2, 4):
            bits = int(_DOTS[dots].sum())
            return chr(_BRAILLE + bits) if bits else " "
        upper, lower = bool(dots[0, 0]), bool(dots[1, 0])
        return {(False, False): " ", (True, False): "'", (False, True): ".", (True, True): ":"}[upper, lower]

    def all(self) -> str:
        """Return characters of every sort that is used."""
        braille = chr(_BRAILLE + 1) + chr(_BRAILLE + 0xFF) if self.dots == (2, 4) else "'.:"
        return braille + self.level + self.side + self.tick + self.below + self.tick_below + self.corner


UNICODE = Glyphs((2, 4), "▔─▁", "│", "┤", "─", "┬", "└", "⠤⠒⠉")
ASCII = Glyphs((1, 2), '"-_', "|", "+", "-", "+", "+", ".:'")


class Canvas:
    """An area of characters over a range of x and y.

    Parameters
    ----------
    columns, rows
        Its size in characters.
    x, y
        Least and greatest value of each axis.
    """

    def __init__(
        self, columns: int, rows: int, x: tuple[float, float], y: tuple[float, float], glyphs: Glyphs
    ) -> None:
        self.columns, self.rows = columns, rows
        self._x, self._y = x, y
        self._glyphs = glyphs
        self._dots = np.zeros((rows * glyphs.dots[1], columns * glyphs.dots[0]), dtype=bool)
        self._limit: dict[int, tuple[int, int]] = {}
        self._mark: tuple[int, int] | None = None

    def column(self, x: float) -> int:
        """Return the character column of a value of x."""
        low, high = self._x
        return min(max(int((x - low) / (high - low) * self.columns), 0), self.columns - 1)

    def _down(self, y: Floats | float, size: int) -> NDArray[np.int_]:
        """Return how far down values of y stand in an area of `size` steps."""
        low, high = self._y
        return np.clip(np.floor((high - np.asarray(y)) / (high - low) * size), 0, size - 1).astype(int)

    def trace(self, x: Floats, y: Floats) -> None:
        """Draw a curve: of every step across all that it goes through, so that no peak is lost."""
        down, across = self._dots.shape
        edges = np.linspace(*self._x, across + 1)
        at_edge = np.interp(edges, x, y)
        low, high = np.minimum(at_edge[:-1], at_edge[1:]), np.maximum(at_edge[:-1], at_edge[1:])
        step = np.clip(((x - self._x[0]) / (self._x[1] - self._x[0]) * across).astype(int), 0, across - 1)
        np.minimum.at(low, step, y)
        np.maximum.at(high, step, y)
        top, bottom = self._down(high, down), self._down(low, down)
        line = np.arange(down)[:, None]
        self._dots |= (line >= top) & (line <= bottom)

    def limit(self, x: Floats, y: Floats) -> None:
        """Draw a line of one level for each column; where `y` is NaN at the nearest point there is none."""
        levels = len(self._glyphs.level)
        middle = self._x[0] + (np.arange(self.columns) + 0.5) / self.columns * (self._x[1] - self._x[0])
        right = np.clip(np.searchsorted(x, middle), 1, x.size - 1)
        nearest = np.where(middle - x[right - 1] < x[right] - middle, right - 1, right)
        known = np.isfinite(y)
        if not known.any():
            return
        value = np.interp(middle, x[known], y[known])
        for column in np.flatnonzero(known[nearest]):
            place = int(self._down(float(value[column]), self.rows * levels))
            self._limit[int(column)] = divmod(place, levels)

    def mark(self, x: float, y: float) -> None:
        """Mark a point; the mark covers all else."""
        self._mark = (int(self._down(y, self.rows)), self.column(x))

    def lines(self) -> list[str]:
        """Return the lines from above.

        Where a curve crosses a line it covers it. Where it keeps within the characters of the line, every
        second of them shows the line, so that both are seen, each where it is.
        """
        across, down = self._glyphs.dots
        cells = self._dots.reshape(self.rows, down, self.columns, across).swapaxes(1, 2)
        drawn = [[self._glyphs.character(cell) for cell in row] for row in cells]
        for column, (row, level) in self._seen().items():
            drawn[row][column] = self._glyphs.level[level]
        if self._mark is not None:
            row, column = self._mark
            drawn[row][column] = self._glyphs.mark
        return ["".join(row) for row in drawn]

    def limit_sample(self) -> str:
        """Return the characters that the line is drawn with, three at most; empty where none is seen."""
        seen = {level for column, (row, level) in self._seen().items() if (row, column) != self._mark}
        words = "".join(self._glyphs.level[level] for level in sorted(seen))
        return words * 3 if len(words) == 1 else words

    def _seen(self) -> dict[int, tuple[int, int]]:
        """Return column -> row and level of the line where it is not covered by the curve."""
        across, down = self._glyphs.dots
        cells = self._dots.reshape(self.rows, down, self.columns, across)
        taken: NDArray[np.bool_] = np.any(cells, axis=(1, 3))
        seen: dict[int, tuple[int, int]] = {}
        shared = 0  # how many columns up to here the two have had the same characters
        for column in range(self.columns):
            if column not in self._limit:
                shared = 0
                continue
            row, level = self._limit[column]
            shared = shared + 1 if taken[row, column] else 0
            if shared % 2 == 0:
                seen[column] = row, level
        return seen
