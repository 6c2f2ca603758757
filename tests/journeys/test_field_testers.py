"""Two hundred simulated field testers on a reference channel, half good and half with a fault.

Each measures the channel with errors of its own, writes a file, the file is read by its mapping, held against
the bench record, and decided, as `benchsweep compare add` does it. Detection and false alarms are printed
(``pytest -s``). All 200 with ``--thorough``, else every eighth.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.limits import load_requirement
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.qualification.comparisons._bench import BenchRecord, read_bench
from benchsweep.qualification.comparisons._decide import Asked, decide, sources_of
from benchsweep.records import (
    Agreement,
    Comparison,
    Measurement,
    SMatrix,
    Specimen,
    SweepSettings,
    balanced_ports,
)
from benchsweep.simulator.specimen import SimulatedSpecimen, load_specimen
from benchsweep.simulator.tester import SHAPES, SimulatedTester, load_level, measure
from benchsweep.simulator.tester._files import result_text
from benchsweep.testers import accuracy_text, load_mapping, read_results

# A channel of 20 m: ripple slow enough for a grid that is quickly measured.
CHANNEL = """
schema = 1
name = "channel-20m"
description = "Channel of 20 m: cord, cable, cord"
source = "Invented"
standing = "common-practice"
kind = "channel"
category = "6"
seed = 5
[[piece]]
length_m = 2.0
stranded = true
[[piece]]
length_m = 16.0
[[piece]]
length_m = 2.0
stranded = true
"""
STATEMENT = """
schema = 1
name = "of the simulated tester"
source = "the level of the simulated tester"
standing = "common-practice"
[temperature]
difference_degc = 0.0
source = "the simulated channel stays as it is"
standing = "common-practice"
"""
MATING_DB = {
    "next": 0.3,
    "ps_next": 0.3,
    "return_loss": 0.5,
    "insertion_loss": 0.05,
    "acr_f": 0.3,
    "ps_acr_f": 0.3,
}
BENCH_HZ = np.unique(np.concatenate([np.arange(1.0, 20.0, 0.25), np.arange(20.0, 251.0)])) * 1e6
TESTER_HZ = np.unique(np.concatenate([np.arange(1.0, 20.0, 1.0), np.arange(20.0, 251.0, 2.0)])) * 1e6
FAULTS = ("offset", "tilt", "swapped-pairs", "swapped-ends", "worn-plug", "drift")
SWAPS = MappingProxyType({"swapped-pairs": "pairs-swapped", "swapped-ends": "ends-swapped"})
DAY = MappingProxyType({"drift": 100.0})


@cache
def channel(folder: Path) -> SimulatedSpecimen:
    path = folder / "channel.toml"
    path.write_text(CHANNEL)
    return load_specimen(str(path), seed=1)


def bench_of(folder: Path) -> BenchRecord:
    """The channel as a good bench measures it: a little noise, the budget of the simulated one."""
    specimen = channel(folder)
    legs = [leg for port in balanced_ports() for leg in port.legs]
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in legs]
    rng = np.random.default_rng(1)
    s = specimen.scatter(BENCH_HZ)[:, order][:, :, order]
    s = s + 2e-6 * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
    record = Measurement(
        specimen=Specimen("channel-20m", 20.0),
        created_at="2026-01-05T08:00:00+00:00",
        origin="touchstone",
        station="",
        operator="I. Vogt",
        corrected=SMatrix(BENCH_HZ, s, tuple(map(str, legs)), (50.0,) * 16),
        ambient={"temperature_degc": 20.0},
        settings=SweepSettings(1e6, 250e6, BENCH_HZ.size, 1e3, 1, -5.0),
        budget_toml=budget_text("simulated"),
    )
    return read_bench(archive.write_record(record, folder), load_requirement("tia-6-channel"))


def compared(folder: Path, bench: BenchRecord, tester: SimulatedTester, shape: str, day: float) -> Comparison:
    """What is decided of a tester that measured the channel and wrote a file of that shape."""
    told = measure(tester, channel(folder), TESTER_HZ, day=day)
    limits = {}
    for curve in bench.curves:
        limits[str(curve.parameter)] = np.interp(TESTER_HZ, curve.frequency_hz, curve.value)
    # A tester knows where its limits do not count (return loss of pairs that lose little), as the bench does.
    not_counting = {}
    for (parameter, end, pairs), exempt in bench.exempt.items():
        near = np.abs(BENCH_HZ[:, None] - TESTER_HZ).argmin(axis=0)
        not_counting[parameter.value, end or "", "-".join(pairs)] = exempt[near]
    text = result_text(told, shape=shape, limits=limits, not_counting=not_counting)
    result = read_results(f"{tester.name}.csv", load_mapping(shape), content=text.encode())
    stated = STATEMENT + "".join(
        f'[[mating]]\nparameter = "{name}"\ndb = {db}\nsource = "level"\nstanding = "common-practice"\n'
        for name, db in MATING_DB.items()
    )
    sources = sources_of(accuracy_text("demonstration"), stated, folder)
    asked = Asked(
        "2026-01-06T08:00:00+00:00", "I. Vogt", tester.name, "channel-20m", "a.h5", result, bench, sources, ()
    )
    return decide(asked)[0]


def test_faults_are_found_and_good_testers_left_alone(
    tmp_path: Path, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = bench_of(tmp_path)
    level = load_level("demonstration")
    step = 1 if request.config.getoption("--thorough") else 8
    shapes = sorted(SHAPES)
    outcomes: dict[str, Counter[str]] = {}
    for number in range(0, 200, step):
        turn = number // step
        fault = "" if turn % 2 == 0 else FAULTS[turn // 2 % len(FAULTS)]
        tester = SimulatedTester(f"FT-{number:03d}", level, 1000 + number, {fault: None} if fault else {})
        # Worst margins alone say little: they take turns with the whole traces.
        shape = shapes[turn // (2 * len(FAULTS)) % len(shapes)]
        found = compared(tmp_path, bench, tester, shape, DAY.get(fault, 3.0))
        kinds = {each.kind for each in found.suspicions if each.hinders}
        if fault in SWAPS and shape == "worst-margins" and not kinds:
            # A few worst margins may not tell the ends of a channel apart: then that is said.
            assert any(each.kind == SWAPS[fault] for each in found.suspicions), tester.name
            kinds = {f"told that {SWAPS[fault]} cannot be seen"}
        elif fault in SWAPS:
            assert kinds == {SWAPS[fault]}, (tester.name, shape, found.words)
            assert found.outcome is Agreement.UNDECIDED
        elif not fault:
            assert not kinds, (tester.name, shape, found.words)
        told = ", ".join(sorted(kinds)) or found.outcome.value
        outcomes.setdefault(fault or "good", Counter())[told] += 1
    with capsys.disabled():
        print()  # noqa: T201 - the table is what this is run for
        for name, counts in outcomes.items():
            total = sum(counts.values())
            told = ", ".join(f"{word} {count}" for word, count in counts.most_common())
            print(f"{name:14} {total:3}: {told}")  # noqa: T201
    good = outcomes["good"]
    # Errors of the level are within the declared accuracy in nearly all cases, and a channel has many traces.
    assert good["agrees"] >= 0.9 * sum(good.values())
    for fault in FAULTS:
        counts = outcomes[fault]
        assert counts["agrees"] <= 0.1 * sum(counts.values()), (fault, counts)
