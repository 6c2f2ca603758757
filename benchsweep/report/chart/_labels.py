"""Words that do not meet: names at the right ends of curves, and words inside a panel."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeAlias

from benchsweep.report.chart._lettering import number, text, width

__all__ = ["Places", "Spot", "apart"]

_GAP = 1.0

Spot: TypeAlias = tuple[float, float, bool]
"""One end of words, the height of their middle, and whether they run to the left from there."""


def apart(wanted: Sequence[float], height: float, low: float, high: float) -> list[float]:
    """Return rising positions at least `height` apart, as near to the rising `wanted` as can be.

    Between `low` and `high` if there is room. Those that push each other stand around the mean of what they
    want (pool adjacent violators; M. Ayer and others, 1955).
    """
    groups: list[tuple[float, int]] = []  # sum and count of wanted positions less the heights before each
    for index, want in enumerate(wanted):
        groups.append((want - index * height, 1))
        while len(groups) > 1 and groups[-2][0] * groups[-1][1] > groups[-1][0] * groups[-2][1]:
            (one, few), (other, more) = groups[-2:]
            groups[-2:] = [(one + other, few + more)]
    level = [total / count for total, count in groups for _ in range(count)]
    top = high - height * (len(level) - 1)
    return [max(min(place, top), low) + index * height for index, place in enumerate(level)]


class Places:
    """Finds room for words inside a box."""

    def __init__(self, left: float, top: float, right: float, bottom: float) -> None:
        self._box = (left, top, right, bottom)
        self._taken: list[tuple[float, float, float, float]] = []

    def take(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep words off a rectangle."""
        self._taken.append((left, top, right, bottom))

    def write(self, spots: Iterable[Spot], words: str, size: float, *, bold: bool = False) -> str:
        """Return words on white at the first spot with room; at the one with most if there is none.

        Parameters
        ----------
        spots
            Where the words may stand, in the order in which it is wanted.
        """
        wide, half = width(words, size, bold=bold), 0.5 * size + 0.3
        best, least, ends = None, 0.0, False
        for x, y, leftward in spots:
            x = x - wide if leftward else x
            x = min(max(x, self._box[0] + 1.0), max(self._box[2] - wide - 1.0, self._box[0] + 1.0))
            y = min(max(y, self._box[1] + half), self._box[3] - half)
            spot = (x - _GAP, y - half, x + wide + _GAP, y + half)
            meets = sum(_common(spot, other) for other in self._taken)
            if best is None or meets < least:
                best, least, ends = spot, meets, leftward
            if meets == 0.0:
                break
        if best is None:
            return ""
        self.take(*best)
        left, top, right, bottom = best
        halo = (
            f'<rect x="{number(left)}" y="{number(top)}" width="{number(right - left)}" '
            f'height="{number(bottom - top)}" fill="#fff" fill-opacity=".85"/>'
        )
        more = ' font-weight="bold"' if bold else ""
        x = right - _GAP if ends else left + _GAP
        return halo + text(x, (top + bottom) / 2.0, words, size, more + ' text-anchor="end"' * ends)


def _common(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    tall = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(tall, 0.0)
