"""Numbers of documents that are printed as JSON."""

from __future__ import annotations

import math

__all__ = ["json_number"]


def json_number(value: float | None) -> float | None:
    """Return a number for a document: JSON knows no infinity and no NaN, both become null."""
    return None if value is None or not math.isfinite(value) else float(value)
