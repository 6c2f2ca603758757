"""A bundle of cables on the embedded bench, from the command line to the verdict, and what can go wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep.archive import read_record
from benchsweep.errors import AcquisitionError
from benchsweep.qualification import (
    Bench,
    Qualified,
    check_specimen,
    load_requirements,
    load_station,
    open_bench,
    qualify,
    usable_calibration,
)
from benchsweep.records import Calibration, Parameter, parse_leg
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.specimen import SimulatedSpecimen, load_specimen

Run = Callable[..., Any]

STATION = """
schema = 1
name = "bundles"

[analyzer]
address = "{address}"

[sweep]
start_mhz = 1.0
stop_mhz = 500.0
points = {points}
if_bandwidth_hz = 100.0
averages = 1
power_dbm = 0.0

[switch]
kind = "simulated"

[fixture]
name = "contacts"

[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
when_missing = "calibrate"
"""

# Two disturbing cables, short so that what the far ends sit on matters.
BUNDLE = """
schema = 1
name = "bundle-of-three"
kind = "bundle"
category = "6a"
length_m = 20.0
disturbing = 2
"""


@dataclass
class Place:
    """An open bench with its calibration and a folder."""

    bench: Bench
    solved: Calibration
    specimen: str

    def qualify(
        self, folder: Path, disturbing: int = 2, on_progress: Callable[[str], None] = lambda _: None
    ) -> Qualified:
        """Qualify the bundle; the archive is in `folder`."""

        return qualify(
            self.bench,
            check_specimen("bundle", 20.0),
            load_requirements(["tia-6a-channel-alien"]),
            solved=self.solved,
            folder=folder,
            disturbing=disturbing,
            progress=on_progress,
        )

    def arm(self, fault: str) -> None:
        self.bench.analyzer.link.write_checked(f'BENCh:FAULt "{fault}"', doing="arming")


@contextmanager
def place(folder: Path, *, ports: int = 16, points: int = 9) -> Iterator[Place]:
    specimen = folder / "bundle-of-three.toml"
    specimen.write_text(BUNDLE, encoding="utf-8")
    options = BenchOptions(specimen=str(specimen), ports=ports, noiseless=True, seed=11)
    with running_bench(options) as served:
        station = folder / "station.toml"
        station.write_text(STATION.format(address=served.address, points=points), encoding="utf-8")
        with open_bench(load_station(str(station)), prompt=None) as bench:
            solved = usable_calibration(bench, folder=folder / "calibrations", progress=lambda _: None)
            yield Place(bench, solved, str(specimen))


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    with place(tmp_path_factory.mktemp("bundle")) as made:
        yield made


def on_terminations(s: np.ndarray, kept: list[int], frequency_hz: np.ndarray) -> np.ndarray:
    """The matrix at the `kept` ports, all others on 51 ohm and 0.2 pF as the fixture says."""
    rest = [at for at in range(s.shape[1]) if at not in kept]
    y = 50.0 * (1 / 51.0 + 2j * np.pi * frequency_hz * 0.2e-12)
    gamma = ((1 - y) / (1 + y))[:, None, None] * np.eye(len(rest))
    aa, ab = s[:, kept][:, :, kept], s[:, kept][:, :, rest]
    ba, bb = s[:, rest][:, :, kept], s[:, rest][:, :, rest]
    return np.asarray(aa + ab @ gamma @ np.linalg.inv(np.eye(len(rest)) - bb @ gamma) @ ba)


def test_without_noise_the_bundle_comes_back_to_1e_9(here: Place, tmp_path: Path) -> None:
    check_truth(here, tmp_path, hookups=1 + 2 * 4)


def test_with_fewer_ports_too(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    hookups = {8: 6 + 2 * 16} | ({4: 28 + 2 * 64} if request.config.getoption("thorough") else {})
    for ports, wanted in hookups.items():
        folder = tmp_path / str(ports)
        folder.mkdir()
        with place(folder, ports=ports, points=5) as fewer:
            check_truth(fewer, folder, hookups=wanted)


def check_truth(at_hand: Place, folder: Path, *, hookups: int) -> None:
    """Every coupling against the matrix of the two cables, closed by hand with the terminations."""
    measured = at_hand.qualify(folder)
    measurement = read_record(measured.record)
    specimen = load_specimen(at_hand.specimen, seed=11)
    assert len(measurement.hookups) == hookups
    grid = measurement.corrected.frequency_hz
    conductors = [f"{end}{contact}" for end in "AB" for contact in range(1, 9)]
    seen = set()
    for coupling in measurement.couplings:
        legs = [parse_leg(label) for label in coupling.ports]
        (cable,) = {leg.port.cable for leg in legs} - {0}
        at = [
            conductors.index(f"{leg.port.end}{leg.contact}") + (16 if leg.port.cable else 0) for leg in legs
        ]
        truth = on_terminations(specimen.together(grid, (0, cable)), at, grid)
        assert np.abs(coupling.s - truth).max() < 1e-9
        seen |= {(one.port, two.port) for one in legs for two in legs if two.port.cable > one.port.cable}
    assert len(seen) == 2 * 8 * 8
    # The disturbed cable by itself is unmoved by the others.
    alone = [
        conductors.index(f"{leg.port.end}{leg.contact}")
        for leg in map(parse_leg, measurement.corrected.ports)
    ]
    own = specimen.scatter(grid)[:, alone][:, :, alone]
    assert np.abs(measurement.corrected.s - own).max() < 1e-9
    check_power_sums(measured, specimen)


def check_power_sums(measured: Qualified, specimen: SimulatedSpecimen) -> None:
    """Graded traces against the model on 50 ohm: only the terminations of the bench are between them.

    Those reflect -40 dB and more, and what comes to the far end of 20 m is little less than what comes to the
    near end, or more where that is below 90 dB: 0.25 dB.
    """
    ends = np.zeros((8, 16))
    for p, (one, other) in enumerate(((1, 2), (3, 6), (4, 5), (7, 8))):
        for end in (0, 1):
            ends[4 * end + p, 8 * end + one - 1] = np.sqrt(0.5)
            ends[4 * end + p, 8 * end + other - 1] = -np.sqrt(0.5)
    grid = measured.evaluation.mixed.frequency_hz
    powers = sum(
        np.abs(ends @ specimen.together(grid, (0, cable))[:, :16, 16:] @ ends.T) ** 2 for cable in (1, 2)
    )
    found = {
        (trace.end, trace.pairs[0]): trace.value
        for trace in measured.evaluation.traces
        if trace.parameter is Parameter.PS_ANEXT
    }
    assert len(found) == 8
    for e, end in enumerate("AB"):
        for p, pair in enumerate(("12", "36", "45", "78")):
            wanted = -10 * np.log10(powers[:, 4 * e + p, 4 * e : 4 * e + 4].sum(axis=1))
            counts = wanted < 90.0
            assert np.count_nonzero(counts) > 3
            np.testing.assert_allclose(found[end, pair][counts], wanted[counts], atol=0.25)


@pytest.mark.parametrize(("specimen", "code"), [("bundle-7", 0), ("bundle-7-poor-separation", 1)])
def test_a_bundle_of_seven_is_graded_in_one_command(
    run: Run, tmp_path: Path, specimen: str, code: int
) -> None:
    station = tmp_path / "station.toml"
    text = STATION.replace('[analyzer]\naddress = "{address}"\n', "").format(points=15)
    station.write_text(text, encoding="utf-8")
    answer = run(
        "qualify", "--station", station, "--specimen", specimen, "--against", "tia-6a-channel-alien",
        "--disturbing", 6, "--json",
    )  # fmt: skip
    assert answer.code == code, answer.err
    rows = answer.json["rows"]
    graded = {(row["parameter"], row["end"]) for row in rows}
    assert graded >= {(name, end) for name in ("ps_anext", "ps_anext_average", "ps_aacr_f") for end in "AB"}
    wanted = {"pass"} if code == 0 else {"fail"}
    assert {row["outcome"] for row in rows if row["parameter"].startswith("ps_anext")} == wanted
    assert "hookup 25 of 25" in answer.err
    assert "every contact at either end of every cable carries its termination" in answer.err


def test_an_interrupted_bundle_goes_on_where_it_stopped(here: Place, tmp_path: Path) -> None:
    class Killed(BaseException):
        """Not an error that anything would catch."""

    told: list[str] = []

    def kill(words: str) -> None:
        if words.startswith("hookup 4 of 9"):
            raise Killed

    whole = read_record(here.qualify(tmp_path / "whole").record)
    with pytest.raises(Killed):
        here.qualify(tmp_path, on_progress=kill)
    resumed = read_record(here.qualify(tmp_path, on_progress=told.append).record)
    assert any("4 of 9 hookups are kept" in words for words in told)
    assert next(words for words in told if words.startswith("hookup ")).startswith("hookup 5 of 9")
    assert [dict(raw.hookup.connections) for raw in resumed.hookups] == [
        dict(raw.hookup.connections) for raw in whole.hookups
    ]
    for one, other in zip(resumed.couplings, whole.couplings, strict=True):
        assert one.ports == other.ports
        np.testing.assert_allclose(one.s, other.s, atol=1e-12)


# Hookups of two disturbing cables, 16 ports: 2 A-1A, 3 A-1B, 4 B-1B, 5 B-1A, 6 B-2A, 7 B-2B, 8 A-2B, 9 A-2A.
@pytest.mark.parametrize(
    ("wrong", "refused", "said", "back"),
    [
        (6, 6, "end A of disturbing cable 2 is end A of disturbing cable 1", 2),
        # Nothing to compare the first with: only later one of the two must have been wrong.
        (2, 5, "end A of disturbing cable 1 is not what hookup 2 had there", 2),
    ],
)
def test_a_wrong_cable_is_refused(
    here: Place, tmp_path: Path, wrong: int, refused: int, said: str, back: int
) -> None:
    def arm(words: str) -> None:
        if words.startswith(f"hookup {wrong - 1} of"):
            here.arm("wrong-cable")

    with pytest.raises(AcquisitionError, match=f"hookup {refused}: .*{said}") as caught:
        here.qualify(tmp_path, on_progress=arm)
    # Nothing was archived, what was right is kept, and the person is told how to go on.
    assert not list(tmp_path.glob("*.h5"))
    assert f"`back {back}`" in caught.value.hint
    assert f"{refused - 1} of 9 hookups are kept" in caught.value.hint
    if wrong == refused:
        assert len(read_record(here.qualify(tmp_path).record).couplings) == 8


def test_more_cables_than_there_are_is_refused(here: Place, tmp_path: Path) -> None:
    with pytest.raises(AcquisitionError) as caught:
        here.qualify(tmp_path, disturbing=3)
    assert caught.value.message.startswith("hookup 10: nothing seems to be attached at end A of disturbing")
    assert "--disturbing" in caught.value.hint
