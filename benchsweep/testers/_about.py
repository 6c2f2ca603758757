"""What a file says of the whole measurement: when, by whom, which tester and channel, the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NoReturn

from benchsweep.testers._columns import Header
from benchsweep.testers._lines import wrong
from benchsweep.testers._mapping import FieldMapping, Told
from benchsweep.testers._names import Translator, folded

__all__ = ["AboutReader"]

_FIELDS = ("at", "by", "tester", "channel", "requirement", "outcome")
_LONGEST = 200


class AboutReader:
    """Collects texts above the table and in its columns; a column must say the same in every row."""

    def __init__(self, name: str, header: Header, mapping: FieldMapping, names: Translator) -> None:
        self._name = name
        self._mapping = mapping
        self._names = names
        self._found: dict[str, tuple[str, int, int]] = {}
        self._columns: dict[str, int] = {}
        self.notes: list[str] = []
        for field in _FIELDS:
            told: Told | None = getattr(mapping.about, field)
            if told is None:
                continue
            if told.text is not None:
                self._found[field] = (told.text, 0, 0)
            elif told.key is not None:
                self._look_above(field, told.key, header)
            elif told.column is not None and (place := header.place(told.column)) is not None:
                self._columns[field] = place

    def _look_above(self, field: str, key: str, header: Header) -> None:
        name = folded(key)
        for line, cells in header.before:
            # A key may end in a colon, as people write it.
            if folded(cells[0]).removesuffix(":").rstrip() != name.removesuffix(":") or len(cells) < 2:
                continue
            text = cells[1].strip()
            first = self._found.setdefault(field, (text, line, 2))
            if first[0] != text and field not in ("at", "outcome"):
                self._refuse_another(text, first, line, 2)

    def take(self, lines: Sequence[int], rows: Sequence[Sequence[str]]) -> None:
        """Look at a block of rows.

        Raises
        ------
        DataFileError
            A column says something else than before: the file holds several measurements.
        """
        for field, place in self._columns.items():
            for text in dict.fromkeys(row[place].strip() for row in rows):
                if not text:
                    continue
                row = next(n for n, cells in enumerate(rows) if cells[place].strip() == text)
                first = self._found.setdefault(field, (text, lines[row], place + 1))
                if first[0] == text or field in ("at", "outcome"):
                    continue
                self._refuse_another(text, first, lines[row], place + 1)
            if field == "outcome":
                self._one_outcome(rows, place)

    def _refuse_another(self, text: str, first: tuple[str, int, int], line: int, column: int) -> NoReturn:
        raise wrong(
            self._name,
            f"says {text[:60]!r} where line {first[1]} says {first[0][:60]!r}: several measurements",
            line=line,
            column=column,
            hint="Export one measurement to a file, or leave rows out by [[without]] in the mapping.",
        )

    def _one_outcome(self, rows: Sequence[Sequence[str]], place: int) -> None:
        """Let one failed row be the outcome: each row has its own."""
        if any(self._names.outcome(row[place]) == "fail" for row in rows):
            text = next(row[place] for row in rows if self._names.outcome(row[place]) == "fail")
            self._found["outcome"] = (text.strip(), 0, place + 1)

    def told(self) -> dict[str, str]:
        """Return the fields of a `FieldResult` that were told.

        Raises
        ------
        DataFileError
            A time that is not as the mapping says.
        """
        found = {field: self._plain(text) for field, (text, _, _) in self._found.items()}
        if found.get("at"):
            found["at"] = self._time(*self._found["at"])
        if found.get("outcome"):
            outcome = self._names.outcome(found["outcome"])
            if not outcome:
                self.notes.append(f"the tester's verdict {found['outcome']!r} is neither pass nor fail here")
            found["outcome"] = outcome
        return found

    def _plain(self, text: str) -> str:
        """Return `text` without what a terminal or a page would take for an order, and not too long."""
        shown = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)
        return shown if len(shown) <= _LONGEST else f"{shown[: _LONGEST - 1]}…"

    def _time(self, text: str, line: int, column: int) -> str:
        told = self._mapping.about.at
        form = told.format if told is not None else None
        try:
            time = datetime.fromisoformat(text) if form is None else datetime.strptime(text, form)  # noqa: DTZ007
        except ValueError:
            raise wrong(
                self._name,
                f"{text[:60]!r} is no time as {form or 'ISO 8601, 2026-11-20T10:15:00'}",
                line=line,
                column=column,
                hint="Say in the mapping how the tester writes times: about.at.format, as strptime reads it.",
            ) from None
        return time.isoformat()
