from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from benchsweep.calibration import check_usable, load_kit, solve
from benchsweep.errors import CalibrationError, CalibrationExpired, CalibrationMismatch
from benchsweep.records import Calibration, SweepSettings

MADE = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
GRID = np.linspace(1e6, 500e6, 5)


@pytest.fixture(scope="module")
def calibration(model: Any) -> Calibration:
    hookups = model.calibration_hookups(model.Bench.random(3, 5, seed=1), (1, 2, 3))
    return solve(load_kit("simulated-contacts"), hookups, settings=model.settings, **model.meta)


def check(calibration: Calibration, **changes: Any) -> None:
    arguments: dict[str, Any] = {
        "frequency_hz": GRID,
        "analyzer_ports": (1, 3),
        "idn": "bench 1",
        "settings": SweepSettings(1e6, 500e6, 5, 1e3),
        "now": MADE + timedelta(hours=7.9),
        "max_age_hours": 8.0,
    }
    check_usable(calibration, **(arguments | changes))


def test_a_fitting_calibration_may_be_used(calibration: Calibration) -> None:
    check(calibration)
    check(calibration, settings=SweepSettings(1e6, 500e6, 5, 10.0, averages=8, power_dbm=-20.0))
    check(calibration, settings=SweepSettings(None, None, None, 1e3))
    check(calibration, now=MADE - timedelta(minutes=2))  # two clocks never agree


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"idn": "bench 2"}, "belongs to analyzer 'bench 1', this one is 'bench 2'"),
        ({"analyzer_ports": (1, 4, 5)}, "port 4, 5 is not calibrated; calibrated are 1, 2, 3"),
        (
            {"frequency_hz": np.linspace(1e6, 600e6, 5)},
            "5 points from 1 to 500 MHz, measured 5 points from 1 to 600",
        ),
        ({"frequency_hz": np.linspace(1e6, 500e6, 6)}, "calibrated 5 points .* measured 6 points"),
        ({"frequency_hz": np.geomspace(1e6, 500e6, 5)}, "frequency grid"),
        ({"settings": SweepSettings(1e6, 500e6, 11, 1e3)}, "has 5 points, the sweep is set to 11"),
        ({"settings": SweepSettings(1e6, 250e6, 5, 1e3)}, "stops at 500 MHz, the sweep is set to 250 MHz"),
        ({"reached": "relay matrix x, map 1"}, "with no relays; now it is relay matrix x, map 1"),
        ({"settings": SweepSettings(2e6, 500e6, 5, 1e3)}, "starts at 1 MHz, the sweep is set to 2 MHz"),
    ],
)
def test_a_calibration_of_something_else_is_refused(
    calibration: Calibration, changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(CalibrationMismatch, match=words) as caught:
        check(calibration, **changes)
    assert "calibrate again" in caught.value.hint
    assert caught.value.exit_code == 5


def test_a_calibration_through_relays_is_not_one_of_the_bare_ports(calibration: Calibration) -> None:
    through = dataclasses.replace(calibration, reached="relay matrix x, map 1")
    check(through, reached="relay matrix x, map 1")
    for other in ("", "relay matrix x, map 2", "relay matrix y, map 1"):
        with pytest.raises(CalibrationMismatch, match="measured with relay matrix x, map 1; now it is"):
            check(through, reached=other)


def test_a_calibration_belongs_to_the_command_family_and_its_content(calibration: Calibration) -> None:
    made = dataclasses.replace(calibration, reached="command family mill 01; relay matrix x, map 1")
    check(made, reached="command family mill 01; relay matrix x, map 1")
    with pytest.raises(
        CalibrationMismatch, match=r"measured with command family mill 01; now it is command family mill 02$"
    ):
        check(made, reached="command family mill 02; relay matrix x, map 1")
    # One that was stored before the family was noted.
    with pytest.raises(
        CalibrationMismatch, match=r"with no command family noted; now it is command family mill 01$"
    ):
        check(calibration, reached="command family mill 01")


def test_age(calibration: Calibration) -> None:
    with pytest.raises(CalibrationExpired, match=r"is 8\.1 h old; this station allows 8 h") as caught:
        check(calibration, now=MADE + timedelta(hours=8.1))
    assert "calibrat" in caught.value.hint
    with pytest.raises(CalibrationExpired, match="in the future") as caught:
        check(calibration, now=MADE - timedelta(hours=3))
    assert "clock" in caught.value.hint
    naive = dataclasses.replace(calibration, created_at="2026-01-05T08:00:00")  # taken as UTC
    check(naive)
    check(dataclasses.replace(calibration, created_at="2026-01-05T10:00:00+02:00"))
    with pytest.raises(CalibrationError, match="'yesterday' cannot be read"):
        check(dataclasses.replace(calibration, created_at="yesterday"))
