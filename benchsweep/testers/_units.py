"""Units that field testers write, and what brings them to Hz, dB and ns."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

__all__ = [
    "FREQUENCY_UNITS",
    "NUMBER_UNITS",
    "TIME_UNITS",
    "same_unit",
    "unit_in_brackets",
]

FREQUENCY_UNITS: Mapping[str, float] = MappingProxyType({"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9})
"""Unit -> Hz."""
# The micro sign and the Greek letter look alike; both are written.
TIME_UNITS: Mapping[str, float] = MappingProxyType(
    {"ps": 1e-3, "ns": 1.0, "us": 1e3, "\N{MICRO SIGN}s": 1e3, "\N{GREEK SMALL LETTER MU}s": 1e3, "s": 1e9}
)
"""Unit -> ns."""
NUMBER_UNITS: Mapping[str, float] = MappingProxyType({"dB": 1.0, **TIME_UNITS})
"""Unit -> dB or ns."""

_BRACKETS = re.compile(r"[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*$")


def unit_in_brackets(heading: str) -> str | None:
    """Return what stands in brackets at the end of a heading, with the case of a unit that there is.

    Examples
    --------
    >>> unit_in_brackets("Frequency [mhz]")
    'MHz'
    """
    found = _BRACKETS.search(heading)
    return None if found is None else same_unit(found[1]) or found[1]


def same_unit(text: str) -> str | None:
    """Return the unit that `text` is but for case, None where it is none. ``mHz`` is read as MHz.

    Examples
    --------
    >>> same_unit("DB"), same_unit("furlong")
    ('dB', None)
    """
    known = (*FREQUENCY_UNITS, *NUMBER_UNITS)
    return text if text in known else next((one for one in known if one.lower() == text.lower()), None)
