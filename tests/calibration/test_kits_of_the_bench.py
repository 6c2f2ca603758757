"""The kits of the simulated bench say of its standards what the file of the bench says, figure by figure."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any

import pytest

from benchsweep.calibration import load_kit

CLOSE = 1e-9


@pytest.fixture(scope="module")
def standards() -> dict[str, Any]:
    file = resources.files("benchsweep") / "simulator/bench/benches/default.toml"
    found: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))["standards"]
    return found


KITS = (
    "simulated-contacts",
    "simulated-balanced",
    "simulated-lines",
    "simulated-reflect",
    "simulated-reciprocal",
)


@pytest.mark.parametrize("name", KITS)
def test_definitions_and_their_uncertainties(standards: dict[str, Any], name: str) -> None:
    kit = load_kit(name)
    spread = standards["spread"]
    figures: list[tuple[float, float]] = []
    if kit.open is not None:
        figures += [
            (kit.open.capacitance_farad[0], standards["open_capacitance_f"]),
            (kit.open.uncertainty.capacitance_farad, spread["open_capacitance_f"]),
        ]
    if kit.short is not None:
        figures += [
            (kit.short.inductance_henry[0], standards["short_inductance_h"]),
            (kit.short.uncertainty.inductance_henry, spread["short_inductance_h"]),
        ]
    if kit.load is not None:
        figures += [
            (kit.load.resistance_ohm or 0.0, standards["load_resistance_ohm"]),
            (kit.load.inductance_henry[0], standards["load_inductance_h"]),
            (kit.load.uncertainty.resistance_ohm, spread["load_resistance_ohm"]),
            (kit.load.uncertainty.inductance_henry, spread["load_inductance_h"]),
        ]
    if kit.thru is not None:
        figures += [
            (kit.thru.offset.delay_ps, standards["thru_delay_s"] * 1e12),
            (kit.thru.uncertainty.delay_ps, spread["thru_delay_s"] * 1e12),
        ]
    if kit.reflect is not None:
        figures.append((kit.reflect.delay_ps, standards["reflect"]["delay_s"] * 1e12))
    for number, line in kit.line.items():
        bench = standards["line"][int(number) - 1]
        figures += [
            (line.offset.delay_ps, (standards["thru_delay_s"] + bench["longer_than_thru_s"]) * 1e12),
            (line.offset.z0_ohm, bench["impedance_ohm"]),
            (line.uncertainty.z0_ohm, spread["line_impedance_ohm"]),
            (line.uncertainty.delay_ps, spread["line_delay_s"] * 1e12),
        ]
    for number, pad in kit.reciprocal.items():
        bench = standards["reciprocal"][int(number) - 1]
        figures.append((pad.delay_ps, sum(bench["delay_s"]) * 1e12))
    assert len(figures) >= 5
    for ours, theirs in figures:
        assert ours == pytest.approx(theirs, rel=CLOSE)
