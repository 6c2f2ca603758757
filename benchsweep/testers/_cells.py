"""Cells to numbers: whole columns at once, and cell by cell where something is unusual."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.testers._names import folded
from benchsweep.testers._units import same_unit

__all__ = ["CellReader", "WrongCell"]

_NUMBER = {
    ".": re.compile(r"([+\-\u2212]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.,].*)?", re.ASCII),
    ",": re.compile(r"([+\-\u2212]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.,].*)?", re.ASCII),
}
_LONGEST = 40


class WrongCell(ValueError):
    """A cell that is no number; `index` is its place in the column, `hint` what may help."""

    def __init__(self, index: int, why: str, hint: str = "") -> None:
        super().__init__(why)
        self.index = index
        self.hint = hint


class CellReader:
    """Reads cells of one file: its decimal mark, and the texts that stand for nothing measured."""

    def __init__(self, decimal: str, not_measured: Sequence[str]) -> None:
        self._decimal = decimal
        self._nothing = frozenset(folded(text) for text in not_measured)

    def column(self, cells: Sequence[str], units: Mapping[str, float], factor: float) -> NDArray[np.float64]:
        """Return the numbers of a column times `factor`; NaN where nothing was measured.

        Parameters
        ----------
        units
            Units that may stand behind a number, and what brings each to the unit that is returned: a cell
            with one goes by it, whatever `factor` is.

        Raises
        ------
        WrongCell
        """
        plain = self._plain(cells)
        if plain is not None:
            return plain * factor
        return np.array(
            [self._one(cell, index, units, factor) for index, cell in enumerate(cells)], dtype=np.float64
        )

    def _plain(self, cells: Sequence[str]) -> NDArray[np.float64] | None:
        """Return all numbers where every cell is one and nothing else, None where one of them is not."""
        text = "\n".join(cells)
        # float() takes 1_000 and digits of other scripts; a file of measurements holds neither. A line end
        # inside a cell would shift the others.
        if not text.isascii() or "_" in text or text.count("\n") != len(cells) - 1:
            return None
        if self._decimal == ",":
            if "." in text:
                return None
            cells = text.replace(",", ".").split("\n")
        try:
            values = np.fromiter(map(float, cells), dtype=np.float64, count=len(cells))
        except ValueError:
            return None
        return values if np.isfinite(values).all() else None

    def _one(self, cell: str, index: int, units: Mapping[str, float], factor: float) -> float:
        text = cell.strip()
        if folded(text) in self._nothing:
            return np.nan
        found = _NUMBER[self._decimal].fullmatch(text)
        if found is None:
            raise self._no_number(text, index)
        number = float(found[1].replace(",", ".").replace("\N{MINUS SIGN}", "-"))
        if not np.isfinite(number):
            raise WrongCell(index, f"{_short(text)} is too large for a number")
        if found[2] is None:
            return number * factor
        unit = same_unit(found[2].strip())
        if unit is None or unit not in units:
            raise WrongCell(
                index,
                f"{_short(text)}: the unit {_short(found[2])} does not fit",
                f"Fit: {', '.join(units)}.",
            )
        return number * units[unit]

    def _no_number(self, text: str, index: int) -> WrongCell:
        if text.startswith(("=", "@")):
            return WrongCell(
                index, f"{_short(text)} is a formula, no number", "Export values in place of formulas."
            )
        other = "," if self._decimal == "." else "."
        if _NUMBER[other].fullmatch(text):
            return WrongCell(
                index,
                f"{_short(text)} has the decimal mark {other!r}, the mapping says {self._decimal!r}",
                f'Write decimal = "{other}" in the mapping\'s table [file], if the whole file is so.',
            )
        return WrongCell(
            index,
            f"{_short(text)} is no number",
            "Texts that stand for nothing measured are listed in the mapping: file.not_measured.",
        )


def _short(text: str) -> str:
    return repr(text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…")
