from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["utc_now"]


def utc_now(timespec: str = "seconds") -> str:
    """Return the time now as ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec=timespec)
