"""What went wrong while measuring and was overcome is told wherever a person looks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchsweep.acquisition import Done, SimulatedSwitch
from benchsweep.instrument import open_link
from benchsweep.records import Hookup
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

STATION = """
schema = 1
name = "tollmoor-2"
[analyzer]
address = "{address}"
timeout_s = 2.0
[sweep]
start_mhz = 10.0
stop_mhz = 500.0
points = 50
if_bandwidth_hz = 1000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 24.0
folder = "{folder}"
"""


@pytest.fixture
def served() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=8, noiseless=True)) as bench:
        yield bench


def disturb(served: RunningBench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drop the link in hookup 2; interrupt the first run before hookup 4."""
    connect = SimulatedSwitch.connect
    stops = [4]

    def disturbed(self: SimulatedSwitch, hookup: Hookup, *, total: int) -> Done:
        if hookup.number in stops:
            stops.remove(hookup.number)
            raise KeyboardInterrupt
        if hookup.number == 2:
            with open_link(served.address) as link:
                link.write_checked('BENCh:FAULt "drop-link",3', doing="arming a fault")
        return connect(self, hookup, total=total)

    monkeypatch.setattr(SimulatedSwitch, "connect", disturbed)


def test_incidents_are_told_everywhere(
    served: RunningBench, tmp_path: Path, run: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    station = tmp_path / "tollmoor-2.toml"
    station.write_text(STATION.format(address=served.address, folder=tmp_path / "cal"), encoding="utf-8")
    qualify = ["qualify", "--station", station, "--specimen", "T118-03", "--against", "tia-6a-cord"]
    qualify += ["--length-m", 2, "--archive", tmp_path / "archive", "-q"]
    calibrated = run("calibrate", "--station", station, "--json", "-q")
    assert calibrated.json["incidents"] == []
    with monkeypatch.context() as patch:
        disturb(served, patch)
        assert run(*qualify, "--ambient", "temperature_degc=21.5", "--ambient", "p_hpa=1013").code == 130
        told = run(*qualify)
    assert told.code == 3  # the grid of the test does not begin at 1 MHz
    (record,) = (tmp_path / "archive").glob("*.h5")
    # Told before the interruption only.
    assert run("show", record, "--json").json["ambient"] == {"temperature_degc": 21.5, "p_hpa": 1013.0}
    dropped = r"incidents\s+\S+ hookup 2 of 6 \(.*?\): analyzer: .*?\(repeat 1 of 2\)"
    continued = r"\S+ continued after an interruption, 3 hookups of 6 kept"
    both = re.compile(f"{dropped} {continued}")
    assert both.search(" ".join(told.out.split()))
    shown = run("show", record)
    assert both.search(" ".join(shown.out.split()))
    documents = [
        run("show", record, "--json").json,
        run("grade", record, "--against", "tia-6a-cord", "--length-m", 2, "--json").json,
        run("show", record, "--against", "tia-6a-cord", "--length-m", 2, "--json").json["verdicts"][0],
    ]
    for document in documents:
        assert len(document["incidents"]) == 2
        assert document["safety"] is None
    page = tmp_path / "page.html"
    reported = run("report", record, "--against", "tia-6a-cord", "--length-m", 2, "--output", page)
    assert reported.code == 0, reported.err
    text = page.read_text(encoding="utf-8")
    told = text[text.index("<dt>incidents</dt>") :]
    told = told[: told.index("<dt>", 1)]
    assert told.count("<dd>") == len(documents[0]["incidents"])
    assert both.search(f"incidents {' '.join(re.sub('<[^>]*>', ' ', told).split()[1:])}")


def test_json_of_qualify_has_them_too(
    served: RunningBench, tmp_path: Path, run: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    station = tmp_path / "tollmoor-2.toml"
    text = STATION.format(address=served.address, folder=tmp_path / "cal")
    station.write_text(text + 'when_missing = "calibrate"\n', encoding="utf-8")
    disturb(served, monkeypatch)
    qualify = ["qualify", "--station", station, "--specimen", "T118-03", "--against", "tia-6a-cord"]
    qualify += ["--length-m", 2, "--archive", tmp_path / "archive", "--json"]
    assert run(*qualify).code == 130
    told = run(*qualify)
    incidents = told.json["incidents"]
    # The fault was armed for hookup 2 of the calibration as well; that belongs to the calibration.
    assert [words.split()[1] for words in incidents] == ["hookup"]
    assert told.json["safety"] is None
