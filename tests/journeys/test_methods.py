"""Every method of calibration through the whole program: without noise the specimen comes back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.calibration import METHODS, Method
from benchsweep.errors import CalibrationError
from benchsweep.qualification import calibrate, check_specimen, load_station, open_bench, qualify
from benchsweep.records import CONTACTS_OF_PAIR, SMatrix
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.specimen import load_specimen

STATION = """\
schema = 1
name = "methods"
[analyzer]
ports = {ports}
[sweep]
start_mhz = {start}
stop_mhz = 500.0
points = 21
if_bandwidth_hz = 1000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
"""
SEED = 5
# Lines are too short or too long to tell anything at the edges of the other grids: theirs begins higher.
WITH_LINES = ("thru-reflect-line", "multiline")
WORKS: tuple[tuple[str, Method, str, int], ...] = (
    ("simulated-contacts", "short-open-load-thru", "sense-function", 4),
    ("simulated-contacts", "short-open-load-thru", "named-measurement", 8),
    ("simulated-contacts", "unknown-thru", "named-measurement", 4),
    ("simulated-contacts", "unknown-thru", "quoted-parameter", 8),
    ("simulated-reflect", "line-reflect-match", "named-measurement", 4),
    ("simulated-reflect", "line-reflect-reflect-match", "numbered-measurement", 4),
    ("simulated-lines", "thru-reflect-line", "named-measurement", 4),
    ("simulated-lines", "multiline", "named-measurement", 4),
    # No words for ratios of receivers: the switch terms come from the reciprocal two-ports of the kit.
    ("simulated-reciprocal", "unknown-thru", "sense-function", 4),
)


def measured(folder: Path, kit: str, method: Method, family: str, ports: int, start_mhz: float) -> SMatrix:
    path = folder / "methods.toml"
    path.write_text(STATION.format(start=start_mhz, ports=ports), encoding="utf-8")
    options = BenchOptions(specimen="cord-2m", seed=SEED, ports=ports, noiseless=True, family=family)
    with (
        running_bench(options) as served,
        open_bench(load_station(str(path)).at_own_bench(served.address), prompt=None) as bench,
    ):
        made = calibrate(
            bench, kit=kit, method=method, folder=folder / "calibrations", progress=lambda _: None
        )
        assert made.calibration.method.startswith(
            method if method != "short-open-load-thru" else "short-open-load"
        )
        result = qualify(
            bench,
            check_specimen("cord", 2.0),
            [],
            solved=made.calibration,
            folder=folder / "archive",
            progress=lambda _: None,
        )
    return result.evaluation.measurement.corrected


def true_matrix(corrected: SMatrix) -> np.ndarray:
    specimen = load_specimen("cord-2m", seed=SEED)
    order = [specimen.conductors.index(label[0] + label[-1]) for label in corrected.ports]
    return specimen.scatter(corrected.frequency_hz)[:, order][:, :, order]


@pytest.mark.parametrize(("kit", "method", "family", "ports"), WORKS)
def test_without_noise_the_specimen_comes_back_to_1e_9(
    tmp_path: Path, kit: str, method: Method, family: str, ports: int
) -> None:
    start_mhz = 120.0 if method in WITH_LINES else 5.0
    corrected = measured(tmp_path, kit, method, family, ports, start_mhz)
    assert len(corrected.ports) == 2 * sum(map(len, CONTACTS_OF_PAIR.values()))
    assert np.max(np.abs(corrected.s - true_matrix(corrected))) < 1e-9


def test_every_method_of_several_ports_is_among_them() -> None:
    assert {method for _, method, _, _ in WORKS} == set(METHODS) - {"short-open-load"}


@pytest.mark.parametrize(
    ("kit", "method"), [("simulated-reflect", "line-reflect-match"), ("simulated-lines", "multiline")]
)
def test_switch_terms_that_nobody_can_tell_are_asked_for(tmp_path: Path, kit: str, method: Method) -> None:
    """Lines are reciprocal, but as none of them reflects they tell two of three unknowns at most."""
    with pytest.raises(CalibrationError, match="switch terms"):
        measured(tmp_path, kit, method, "sense-function", 4, 120.0)


def test_lines_that_are_too_short_are_named_with_their_frequencies(tmp_path: Path) -> None:
    with pytest.raises(CalibrationError, match=r"180 degrees of each other at 5 to .* MHz"):
        measured(tmp_path, "simulated-lines", "thru-reflect-line", "named-measurement", 4, 5.0)
