"""Calibrating both modes behind tapped baluns of the simulated bench: what their balance leaves.

Kit `simulated-balanced`: open, short and load on both legs, thrus that join d with d and c with c, and the
exchange that joins d with c of one balun. Each port is calibrated as if it had an error box of its own; the
box of a real balun mixes d and c. With P, T, U, R the blocks of a balun between its two ports (50 ohm side,
tap) and the modes of the device, ``y = P x + T b`` and ``a = U x + R b``, and with only their diagonals
known, ``b' = T0^-1 (y - P0 x)`` and ``a' = U0 x + R0 b'`` are taken for the waves. That is what is expected
here, from the baluns and the specimen as the bench says they truly are; the bench computes neither with
code of the stages.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from benchsweep.definitions import find_definition
from benchsweep.qualification import (
    calibrate,
    check_specimen,
    load_requirements,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import balun_matrix, load_bench
from benchsweep.simulator.specimen import load_specimen
from tests.fixture.conftest import MODES_OF_LEGS, PAIR_LEGS

PORTS = 8


@dataclass(frozen=True)
class Tapped:
    """Noiseless bench with 16 ports: what was measured and what is true, in modes; the baluns' blocks."""

    found: np.ndarray
    true: np.ndarray
    blocks: dict[str, np.ndarray]

    def expected(self) -> np.ndarray:
        diagonal = {name: block * np.eye(2 * PORTS) for name, block in self.blocks.items()}
        x = np.linalg.solve(self.blocks["U"], np.eye(2 * PORTS) - self.blocks["R"] @ self.true)  # for a = 1
        y = self.blocks["P"] @ x + self.blocks["T"] @ self.true
        b = np.linalg.solve(diagonal["T"], y - diagonal["P"] @ x)
        return np.asarray(b @ np.linalg.inv(diagonal["U"] @ x + diagonal["R"] @ b))


def qualified_behind_taps(folder: Path, balance_db: float, seed: int = 5) -> Tapped:
    text = find_definition("benches", "baluns-tapped").read_text(encoding="utf-8")
    for key in ("output_signal_balance_db", "common_mode_rejection_db"):
        assert f"{key} = 50.0" in text
        text = text.replace(f"{key} = 50.0", f"{key} = {balance_db}")
    path = folder / "tapped.toml"
    path.write_text(text, encoding="utf-8")
    with running_bench(BenchOptions(bench=str(path), ports=16, noiseless=True, seed=seed)) as served:
        station = load_station("simulated-baluns-tapped").at_address(served.address)
        sweep = station.sweep.model_copy(update={"start_mhz": 10.0, "stop_mhz": 500.0, "points": 50})
        with open_bench(station.model_copy(update={"sweep": sweep}), prompt=None) as opened:
            assert opened.station.calibration.kit == "simulated-balanced"
            calibration = calibrate(opened, folder=folder / "calibrations", progress=str).calibration
            assert "exchange" in calibration.method
            measurement = qualify(
                opened,
                check_specimen("truth", 2.0),
                load_requirements(["tia-6a-cord"]),
                solved=calibration,
                folder=folder / "archive",
                progress=str,
            ).evaluation.measurement
    corrected, grid = measurement.corrected, measurement.corrected.frequency_hz
    specimen = load_specimen("cord-2m", seed=seed)
    legs = [
        specimen.conductors.index(f"{end}{contact}") for end in "AB" for contact in (1, 2, 3, 6, 4, 5, 7, 8)
    ]
    true = PAIR_LEGS @ specimen.scatter(grid)[:, legs][:, :, legs] @ PAIR_LEGS.T
    order = [
        corrected.ports.index(f"{end}:{pair}/{mode}")
        for end in "AB"
        for pair in ("12", "36", "45", "78")
        for mode in "dc"
    ]
    blocks = {name: np.zeros((grid.size, 2 * PORTS, 2 * PORTS), dtype=complex) for name in "PTUR"}
    turn = np.eye(4)
    turn[2:, 2:] = MODES_OF_LEGS
    for n in range(PORTS):
        balun = turn @ balun_matrix(load_bench(str(path)), seed, n + 1, grid) @ turn.T
        at = slice(2 * n, 2 * n + 2)
        blocks["P"][:, at, at], blocks["T"][:, at, at] = balun[:, :2, :2], balun[:, :2, 2:]
        blocks["U"][:, at, at], blocks["R"][:, at, at] = balun[:, 2:, :2], balun[:, 2:, 2:]
    return Tapped(corrected.s[:, order][:, :, order], true, blocks)


def left_db(errors: np.ndarray) -> tuple[float, float, float]:
    """Largest residual of TCL, of all of the differential and of all of the common mode, in dB."""
    n = 2 * np.arange(PORTS)
    parts = errors[:, n + 1, n], errors[:, 0::2, 0::2], errors[:, 1::2, 1::2]
    tcl, d, c = (float(20 * np.log10(np.abs(part).max())) for part in parts)
    return tcl, d, c


def test_behind_taps_balance_is_the_floor_of_tcl_and_enters_the_modes_times_conversion(
    tmp_path: Path,
) -> None:
    """TCL is off by 7 dB more than the balance, whatever the device; d and c by balance times conversion.

    Found with 40, 50, 60 dB: TCL -32.8, -42.8, -52.8; d -55.7, -65.9, -75.9; c -54.0, -64.0, -74.0 dB.
    """
    levels = {}
    for balance_db in (40.0, 60.0):
        folder = tmp_path / str(balance_db)
        folder.mkdir()
        tapped = qualified_behind_taps(folder, balance_db)
        errors, expected = tapped.found - tapped.true, tapped.expected() - tapped.true
        # To the second order. The exchange is known to the balance, which is a part of what converts.
        balance = 10 ** (-balance_db / 20)
        converted = np.abs(tapped.true[:, 1::2, 0::2]).max()
        assert np.abs(errors - expected).max() < 6.0 * balance**2 + 2.0 * balance * converted
        np.testing.assert_allclose(left_db(errors), left_db(expected), atol=0.3)
        levels[balance_db] = np.array(left_db(errors))
        assert levels[balance_db][0] == pytest.approx(-balance_db + 7.2, abs=0.5)
        assert np.all(levels[balance_db][1:] < -balance_db - 13.0)
    np.testing.assert_allclose(levels[40.0] - levels[60.0], 20.0, atol=0.5)


def test_behind_taps_of_infinite_balance_every_mode_comes_back(tmp_path: Path) -> None:
    tapped = qualified_behind_taps(tmp_path, 200.0)
    assert np.abs(tapped.found - tapped.true).max() < 1e-9
    assert np.abs(tapped.true[:, 1::2, 0::2]).max() > 1e-3  # which convert
