"""What stands between a specimen and a pass."""

from __future__ import annotations

from benchsweep.report.terminal._english import (
    nearest_words,
    stopping_words,
)

__all__ = [
    "nearest_words",
    "stopping_words",
]
