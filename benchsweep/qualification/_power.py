"""When an analyzer was last seen to have been switched on: no calibration survives that.

The power-on bit of IEEE 488.2 is cleared by whoever asks first, be it only `identify`. So the moment is kept
in the person's data folder, by the answer to ``*IDN?``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from benchsweep.definitions import data_folder
from benchsweep.errors import CalibrationExpired, PowerCycled
from benchsweep.records import Calibration

__all__ = ["note_switched_on", "noting_power_cuts", "refuse_older", "switched_on_at"]


def note_switched_on(idn: str) -> None:
    """Remember that the analyzer was switched on some time before now.

    Where the folder cannot be written nothing is remembered: that must not keep a bench from measuring.
    """
    path = _path(idn)
    content = {"idn": idn, "switched_on_before": datetime.now(UTC).isoformat(timespec="milliseconds")}
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(content), encoding="utf-8")
        fresh.replace(path)


def switched_on_at(idn: str) -> str:
    """Return the time (ISO 8601, UTC) before which it was last switched on; empty when that is not known."""
    try:
        content = json.loads(_path(idn).read_text(encoding="utf-8"))
        seen = content["switched_on_before"]
        datetime.fromisoformat(seen)
    except (OSError, ValueError, KeyError, TypeError):
        return ""
    return str(seen)


@contextmanager
def noting_power_cuts(idn: str) -> Iterator[None]:
    """Remember it when the analyzer is switched off and on within the block."""
    try:
        yield
    except PowerCycled:
        note_switched_on(idn)
        raise


def refuse_older(stored: Calibration, idn: str) -> None:
    """Refuse a calibration that was made before the analyzer was last switched on.

    Raises
    ------
    CalibrationExpired
    """
    seen = switched_on_at(idn)
    if seen and datetime.fromisoformat(stored.created_at) < datetime.fromisoformat(seen):
        raise CalibrationExpired(
            f"calibration of {stored.created_at}: the analyzer has been switched on since (seen at {seen})",
            hint="Let the analyzer warm up.",
        )


def _path(idn: str) -> Path:
    name = hashlib.sha256(idn.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    return data_folder() / "analyzers" / f"{name}.json"
