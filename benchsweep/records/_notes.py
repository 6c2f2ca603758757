from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

__all__ = ["AMBIENT", "Comment", "Correction", "CorrectionsInForce", "Note", "corrections_in_force"]

_TEXTS = ("identifier", "lot", "product", "description", "operator")
AMBIENT = "ambient."
"""What the key of a changed ambient value begins with; ``ambient.temperature_degc``."""


@dataclass(frozen=True, slots=True)
class Comment:
    """What somebody says of a record; it changes nothing.

    Parameters
    ----------
    record
        Content hash of the record.
    by
        Who says so.
    at
        ISO 8601 time in UTC.
    text
        What is said.
    """

    record: str
    by: str
    at: str
    text: str


@dataclass(frozen=True, slots=True)
class Correction:
    """That something noted with a record was wrong. What was measured cannot be corrected.

    Parameters
    ----------
    record
        Content hash of the record, which stays as it is.
    by
        Who corrects it.
    at
        ISO 8601 time in UTC.
    reason
        Why.
    changes
        What is to be read in place of what the record says. ``identifier``, ``lot``, ``product``,
        ``description`` and ``length_m`` of the specimen, ``operator``, and ambient values as
        ``ambient.temperature_degc``. Lengths and ambient values are numbers, or None: not known; all others
        are texts.
    withdrawn
        True: the record is not to be used any more. False: it is to be used again. None: nothing is said.
    """

    record: str
    by: str
    at: str
    reason: str
    changes: Mapping[str, str | float | None] = field(default_factory=lambda: MappingProxyType({}))
    withdrawn: bool | None = None

    def __post_init__(self) -> None:
        for key, value in self.changes.items():
            number = key == "length_m" or (key.startswith(AMBIENT) and len(key) > len(AMBIENT))
            if not number and key not in _TEXTS:
                raise ValueError(f"{key!r} is nothing that can be corrected")
            if number and value is not None and not (isinstance(value, float) and math.isfinite(value)):
                raise ValueError(f"{key}: {value!r} is no number")
            if not number and not isinstance(value, str):
                raise ValueError(f"{key}: {value!r} is no text")
        object.__setattr__(self, "changes", MappingProxyType(dict(self.changes)))

    @property
    def weighty(self) -> bool:
        """Whether verdicts depend on it: a length, an ambient value, or whether the record is to be used."""
        numbers = any(key == "length_m" or key.startswith(AMBIENT) for key in self.changes)
        return numbers or self.withdrawn is not None


Note = Comment | Correction
"""What is said of a record afterwards."""


@dataclass(frozen=True, slots=True)
class CorrectionsInForce:
    """What holds after all corrections of one record.

    Parameters
    ----------
    changes
        Key as in `Correction.changes` -> the last correction that changes it.
    withdrawn
        The correction that withdrew the record; None when it is not withdrawn, or used again.
    """

    changes: Mapping[str, Correction]
    withdrawn: Correction | None

    def value(self, key: str, else_: str | float | None) -> str | float | None:
        """Return the corrected value of `key`; `else_` where nothing corrects it."""
        return self.changes[key].changes[key] if key in self.changes else else_


def corrections_in_force(notes: Iterable[Note]) -> CorrectionsInForce:
    """Return what holds after all corrections among `notes`, which are in time order.

    A later correction wins over an earlier one, each key by itself.
    """
    changes: dict[str, Correction] = {}
    withdrawn: Correction | None = None
    for note in notes:
        if isinstance(note, Correction):
            changes |= dict.fromkeys(note.changes, note)
            if note.withdrawn is not None:
                withdrawn = note if note.withdrawn else None
    return CorrectionsInForce(MappingProxyType(changes), withdrawn)
