"""Every fault of the simulated bench at every step of a plan: never a wrong grade, a hang or a bug.

A run calibrates nothing: it connects, sweeps and archives the hookups of a small plan on a bench with noise
and no drift, while one fault is armed to strike after a number of messages drawn from the seed. What may come
out is the right matrix, or a named error; after an error the same call is made again and must then give the
right matrix. As a rule each fault is met in two families, families and doors in turn, in 50 runs; ``pytest
--thorough`` makes 5 040. The families go side by side, as most of the time is waiting. The table of outcomes
is printed with ``-s``.
"""

from __future__ import annotations

import random
import re
import socket
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import check_record, read_record
from benchsweep.definitions import find_definition
from benchsweep.errors import BenchsweepError, InstrumentError, LinkLost
from benchsweep.instrument import Link
from benchsweep.qualification import (
    Station,
    calibrate,
    check_specimen,
    load_requirements,
    load_station,
    open_bench,
    qualify,
)
from benchsweep.records import Calibration
from benchsweep.simulator import BenchOptions, running_bench

FAMILIES = ("named-measurement", "numbered-measurement", "quoted-parameter", "numbered-trace")
DOORS = ("analyzer", "hislip")
FAULTS = (
    "setting-refused", "option-missing", "rounded-setting", "late-answer", "no-answer", "missing-newline",
    "sweep-never-ends", "drop-link", "truncate-block", "garbage-before-block", "garbage-after-block",
    "wrong-count", "swapped-bytes", "invalid-points", "overload", "stale-data", "port-not-driven",
    "instrument-error", "hung-until-clear", "front-panel", "second-controller", "power-cycle",
    "queue-overflow", "correction-on", "extension-on",
)  # fmt: skip
# Faults of hands: nothing on the link tells them, as no setting, answer or status differs. What finds them
# are comparisons of what was measured: residuals of a calibration, agreement of hookups, check standards.
BY_HAND = ("loose-connector", "swapped-standards", "worn-termination", "wrong-cable")
MOST_ATTEMPTS = 4
PORTS = 8
HOOKUPS = 6
# What one sweep may take at most in this station: the answers wait 0.3 s, a sweep 0.5 s more than stated, a
# lost link is waited for 3 s, each hookup is repeated twice. A machine that is busy needs more.
LONGEST_RUN_S = 60.0
# A fault of the frequencies that are set finds no occasion once all are set.
LAST_FREQUENCY = 40
# The noise of two runs differs by 1e-4 at most (floor -95 dB); everything that can be mistaken is far above.
SAME = 1e-3

STATION = """
schema = 1
name = "campaign"

[analyzer]
address = "{address}"
timeout_s = {timeout_s}
sweep_margin_s = {margin_s}
wait_for_link_s = 3.0
retries = 2

[sweep]
start_mhz = 10.0
stop_mhz = 500.0
points = 15
if_bandwidth_hz = 1000.0

[switch]
kind = "simulated"

[fixture]
name = "contacts"

[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
"""


@dataclass
class Place:
    """One family behind one door: its station, calibration, undisturbed matrix and number of messages."""

    family: str
    station: Station
    control: str
    solved: Calibration
    truth: np.ndarray
    messages: int


@dataclass
class Outcome:
    """What one run gave; `right_in` counts the attempts, 0: never."""

    fault: str
    struck: bool = False
    right_in: int = 0
    errors: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    slowest_s: float = 0.0


def quiet(_: str) -> None:
    return None


def bench_without_drift(folder: Path) -> Path:
    """The default bench with nothing that changes by itself, but with its noise."""
    shipped = find_definition("benches", "default")
    head, drift = shipped.read_text(encoding="utf-8").split("[drift]")
    for key in ("ambient_sigma_k", "warm_up_k", "gain_db_per_k", "delay_per_k", "flex_delay_s",
                "flex_gain_db", "contact_resistance_ohm", "contact_inductance_h"):  # fmt: skip
        drift, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = 0.0", drift)
        assert count == 1, key
    drift = re.sub(r"(?m)^(reflection_walk_db_after_1_h) = .*$", r"\1 = -300.0", drift)
    path = folder / "steady.toml"
    path.write_text(f"{head}[drift]{drift}".replace('"default"', '"steady"', 1), encoding="utf-8")
    return path


def control(address: str, *commands: str) -> str:
    """Send commands to the bench itself over a connection of their own; the answer of the last."""
    _, host, port, _ = address.split("::")
    until = time.monotonic() + 10.0
    while True:
        try:
            with socket.create_connection((host, int(port)), timeout=5.0) as client:
                client.sendall("".join(f"{command}\n" for command in commands).encode())
                answer = client.makefile("rb").readline()
        except OSError:
            answer = b""
        if answer:
            return answer.decode().strip().strip('"')
        assert time.monotonic() < until, "the bench does not come back"
        time.sleep(0.05)  # it has just been switched off and on


def measure(place: Place, folder: Path) -> np.ndarray:
    """Qualify once and return the corrected matrix as the record holds it."""
    with open_bench(place.station, prompt=None) as bench:
        result = qualify(
            bench,
            check_specimen("campaign", 2.0),
            load_requirements(["tia-6a-cord"]),
            solved=place.solved,
            folder=folder,
            progress=quiet,
        )
    measurement = read_record(result.record)
    if measurement.incidents:
        check_record(result.record)
    assert len(measurement.hookups) == HOOKUPS
    return measurement.corrected.s


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Place]]:
    folder = tmp_path_factory.mktemp("campaign")
    definition = str(bench_without_drift(folder))
    with ExitStack() as stack, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(folder / "data"))
        made = []
        for family in FAMILIES:
            options = BenchOptions(bench=definition, family=family, ports=PORTS, seed=3)
            bench = stack.enter_context(running_bench(options))
            for door in DOORS:
                made.append(_place(folder, family, bench.addresses[door], bench.address))
        yield made


def _place(folder: Path, family: str, address: str, control_address: str) -> Place:
    path = folder / "station.toml"

    def station(timeout_s: float, margin_s: float) -> Station:
        text = STATION.format(address=address, timeout_s=timeout_s, margin_s=margin_s)
        path.write_text(text, encoding="utf-8")
        return load_station(str(path))

    patient = station(20.0, 20.0)
    with open_bench(patient, prompt=None) as bench:
        solved = calibrate(bench, folder=folder / "calibrations", progress=quiet).calibration
    place = Place(family, patient, control_address, solved, np.empty(0), 0)
    sent = 0
    ask, write, probe = Link.query, Link.write, Link.probe

    with pytest.MonkeyPatch.context() as patch:

        def counting(method):  # type: ignore[no-untyped-def]
            def call(self, *arguments, **named):  # type: ignore[no-untyped-def]
                nonlocal sent
                sent += 1
                return method(self, *arguments, **named)

            return call

        for name, method in (("query", ask), ("write", write), ("probe", probe)):
            patch.setattr(Link, name, counting(method))
        place.truth = measure(place, folder / f"undisturbed-{family}-{len(address)}")
    place.messages = sent
    # A run may fail for any reason, so these may be short; one that fails is made again.
    place.station = station(0.3, 0.5)
    return place


def test_the_campaign_leaves_out_only_what_hands_do(places: list[Place]) -> None:
    catalogue = control(places[0].control, "BENC:FAUL:CAT?").split(",")
    assert sorted(catalogue) == sorted(FAULTS + BY_HAND)


@pytest.mark.campaign
@pytest.mark.timeout(3600)
def test_no_fault_at_any_step_gives_a_wrong_grade(
    places: list[Place], request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    thorough = request.config.getoption("thorough")
    runs = 5040 if thorough else 2 * len(FAULTS)
    rng = random.Random(17)
    jobs: dict[str, list[tuple[Place, str, int]]] = {family: [] for family in FAMILIES}
    for number in range(runs):
        turn, which_fault = divmod(number, len(FAULTS))
        fault = FAULTS[which_fault]
        # As a rule neighbouring faults go to families side by side, and a fault comes back two families on,
        # through the other door.
        door = (which_fault // len(FAMILIES) + turn) % len(DOORS)
        which = turn if thorough else len(DOORS) * (number + turn) + door
        place = places[which % len(places)]
        last = LAST_FREQUENCY if fault == "rounded-setting" else place.messages
        jobs[place.family].append((place, fault, rng.randrange(min(last, place.messages))))

    def all_of(family: str) -> list[Outcome]:
        return [one_run(*job, tmp_path / f"{family}-{number}") for number, job in enumerate(jobs[family])]

    with ThreadPoolExecutor(len(FAMILIES)) as pool:
        outcomes = [outcome for family in pool.map(all_of, FAMILIES) for outcome in family]
    print(f"\n{_table(outcomes)}")  # noqa: T201 - the table is what a long run is made for
    assert len(outcomes) == runs
    wrong = [sentence for outcome in outcomes for sentence in outcome.wrong]
    assert not wrong, "\n".join(wrong)
    assert sum(outcome.struck for outcome in outcomes) > 0.8 * runs
    assert {outcome.fault for outcome in outcomes if outcome.struck} == set(FAULTS)
    assert max(outcome.slowest_s for outcome in outcomes) < LONGEST_RUN_S


def one_run(place: Place, fault: str, after: int, folder: Path) -> Outcome:
    """Make one run, and the same again after an error."""
    name = f"{fault} after {after} messages, {place.family} at {place.station.analyzer.address}"
    control(place.control, f'BENC:FAUL "{fault}",{after}', "BENC:FAUL?")
    outcome = Outcome(fault)
    for attempt in range(1, MOST_ATTEMPTS + 1):
        started = time.monotonic()
        try:
            found = measure(place, folder)
        except BenchsweepError as error:
            outcome.errors.append(type(error).__name__)
            never_opened = isinstance(error, LinkLost) and "nobody answers" in error.message
            if isinstance(error, InstrumentError) and not error.messages and not never_opened:
                outcome.wrong.append(f"{name}: {type(error).__name__} without messages: {error}")
            if attempt == MOST_ATTEMPTS:
                outcome.wrong.append(f"{name}: not right in the end: {type(error).__name__}: {error}")
            control(place.control, "BENC:FAUL?")  # waits until the bench answers again
            continue
        except Exception as error:  # noqa: BLE001 - that is what is looked for
            outcome.wrong.append(f"{name}: {type(error).__name__}: {error}")
        else:
            off = float(np.abs(found - place.truth).max())
            outcome.right_in = attempt
            if off > SAME:
                outcome.wrong.append(
                    f"{name}: attempt {attempt} differs from the undisturbed matrix by {off:.2g}"
                )
        finally:
            outcome.slowest_s = max(outcome.slowest_s, time.monotonic() - started)
        break
    outcome.struck = control(place.control, "BENC:FAUL?") == "none"
    control(place.control, 'BENC:FAUL "none"', "BENC:FAUL?")
    return outcome


def _table(outcomes: list[Outcome]) -> str:
    lines = [
        f"{'fault':<22}{'runs':>6}{'struck':>8}{'right':>7}{'error, then right':>19}{'slowest s':>11}  errors"
    ]
    for fault in FAULTS:
        runs = [outcome for outcome in outcomes if outcome.fault == fault]
        errors = Counter(name for outcome in runs for name in outcome.errors)
        listed = ", ".join(f"{name} {count}" for name, count in errors.most_common())
        lines.append(
            f"{fault:<22}{len(runs):>6}{sum(outcome.struck for outcome in runs):>8}"
            f"{sum(outcome.right_in == 1 for outcome in runs):>7}"
            f"{sum(outcome.right_in > 1 for outcome in runs):>19}"
            f"{max(outcome.slowest_s for outcome in runs):>11.1f}  {listed}"
        )
    return "\n".join(lines)
