from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration._apply import refuse_other_grid, refuse_other_ports
from benchsweep.errors import CalibrationError, CalibrationExpired, CalibrationMismatch
from benchsweep.records import Calibration, SweepSettings

__all__ = ["check_usable"]

_HINT = "A calibration holds for one analyzer, grid and set of ports, and for a time: calibrate again."
_CLOCK_TOLERANCE_HOURS = 0.1
"""A calibration may look this much younger than now before the clocks are doubted."""


def check_usable(
    calibration: Calibration,
    *,
    frequency_hz: NDArray[np.float64],
    analyzer_ports: Sequence[int],
    idn: str,
    settings: SweepSettings,
    now: datetime,
    max_age_hours: float,
    reached: str = "",
) -> None:
    """Raise unless `calibration` may be used for a measurement.

    Parameters
    ----------
    calibration
        The candidate.
    frequency_hz
        ``(n_freq,)`` grid of the measurement, as the analyzer reports it.
    analyzer_ports
        Ports that will be swept.
    idn
        ``*IDN?`` of the analyzer that will measure.
    settings
        Settings of the measurement as read back. Its grid, where given, must be the calibrated one. IF
        bandwidth, averages and power may differ: they change the noise and not the error terms of a receiver
        that stays within its linear range.
    now
        The present, with its time zone.
    max_age_hours
        Oldest calibration that the station allows.
    reached
        With which command family and through which relays the ports are reached now, see `Calibration`.

    Raises
    ------
    CalibrationMismatch
        Another analyzer, command family, ports, grid or way through relays.
    CalibrationExpired
        Too old, or dated in the future.
    CalibrationError
        Its date cannot be read.
    """
    if calibration.idn != idn:
        raise CalibrationMismatch(
            f"calibration {calibration.identifier} belongs to analyzer {calibration.idn!r}, "
            f"this one is {idn!r}",
            hint=_HINT,
        )
    if calibration.reached != reached:
        then, today = _differences(calibration.reached, reached)
        raise CalibrationMismatch(
            f"calibration {calibration.identifier} was measured with {then}; now it is {today}", hint=_HINT
        )
    refuse_other_ports(calibration.terms.analyzer_ports, analyzer_ports, hint=_HINT)
    _check_settings(calibration, settings)
    refuse_other_grid(calibration.terms.frequency_hz, frequency_hz, hint=_HINT)
    _check_age(calibration, now, max_age_hours)


def _differences(before: str, now: str) -> tuple[str, str]:
    """Return the parts of two such lists that differ, in words."""
    parts = [text.split("; ") if text else [] for text in (before, now)]
    only = [[part for part in parts[i] if part not in parts[1 - i]] for i in (0, 1)]
    families = any(part.startswith("command family") for part in (*only[0], *only[1]))
    nothing = "no command family noted" if families else "no relays"
    return "; ".join(only[0]) or nothing, "; ".join(only[1]) or nothing


def _check_settings(calibration: Calibration, settings: SweepSettings) -> None:
    grid = calibration.terms.frequency_hz
    if settings.points is not None and settings.points != grid.size:
        raise CalibrationMismatch(
            f"calibration {calibration.identifier} has {grid.size} points, "
            f"the sweep is set to {settings.points}",
            hint=_HINT,
        )
    for word, calibrated, asked in (
        ("starts", float(grid[0]), settings.start_hz),
        ("stops", float(grid[-1]), settings.stop_hz),
    ):
        if asked is not None and not np.isclose(calibrated, asked, rtol=1e-9, atol=0.0):
            raise CalibrationMismatch(
                f"calibration {calibration.identifier} {word} at {calibrated / 1e6:.9g} MHz, "
                f"the sweep is set to {asked / 1e6:.9g} MHz",
                hint=_HINT,
            )


def _check_age(calibration: Calibration, now: datetime, max_age_hours: float) -> None:
    try:
        created = datetime.fromisoformat(calibration.created_at)
    except ValueError as error:
        raise CalibrationError(
            f"calibration {calibration.identifier}: its date {calibration.created_at!r} cannot be read",
            hint=_HINT,
        ) from error
    if created.tzinfo is None:
        created = created.replace(tzinfo=UTC)
    age_hours = (now - created).total_seconds() / 3600.0
    if age_hours < -_CLOCK_TOLERANCE_HOURS:
        raise CalibrationExpired(
            f"calibration {calibration.identifier} is dated {calibration.created_at}, "
            f"{-age_hours:.1f} h in the future",
            hint=f"Check the clock of this computer. {_HINT}",
        )
    if age_hours > max_age_hours:
        raise CalibrationExpired(
            f"calibration {calibration.identifier} is {age_hours:.1f} h old; "
            f"this station allows {max_age_hours:g} h",
            hint=_HINT,
        )
