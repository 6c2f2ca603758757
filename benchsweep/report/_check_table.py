"""What a check of an archive found."""

from __future__ import annotations

from benchsweep.report.terminal._check import (
    archive_check_table,
)

__all__ = [
    "archive_check_table",
]
