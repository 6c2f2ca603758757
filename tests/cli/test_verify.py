"""`verify` on the command line: decision, exit code, document, history, matings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchsweep.definitions import list_definitions
from benchsweep.instrument import open_link
from benchsweep.simulator import BenchOptions, RunningBench, running_bench
from tests.conftest import Run


@pytest.fixture
def served() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=4, seed=3)) as bench:
        yield bench


def station(tmp_path: Path, extra: str = "") -> Path:
    """The simulated station with a coarse grid and two check standards."""
    text = list_definitions("stations")["simulated"].read_text(encoding="utf-8")
    text = text.replace("[sweep]", "[sweep]\nstart_mhz = 10.0\nstop_mhz = 500.0\npoints = 50", 1)
    text = text[: text.index("[verification]")]
    path = tmp_path / "bench.toml"
    table = '[verification]\nartefacts = ["pad", "mismatch-75"]\n'
    path.write_text(f"{text}\n{table}{extra}", encoding="utf-8")
    return path


def test_a_good_calibration_is_used_then_refused_when_something_loosened(
    run: Run, served: RunningBench, tmp_path: Path
) -> None:
    of = ("--station", station(tmp_path), "--address", served.address)
    good = run("verify", *of, "--json")
    assert good.code == 0, good.err
    document = good.json
    assert document["schema"] == "benchsweep.verification/1"
    assert document["decision"] == "use"
    assert {one["artefact"] for one in document["comparisons"]} == {"pad", "mismatch-75"}
    for one in document["comparisons"]:
        linear = [10 ** (one[f"{key}_db"] / 20) for key in ("artefact_uncertainty", "bench_uncertainty")]
        expected = 10 ** (one["difference_db"] / 20) / (linear[0] ** 2 + linear[1] ** 2) ** 0.5
        assert one["ratio"] == pytest.approx(expected)
    assert document["drift"]["gain_db_per_hour"] is None  # too soon to be told as a rate
    with open_link(served.address) as link:
        link.write_checked('BENCh:FAULt "loose-connector"', doing="loosening a connector")
    refused = run("verify", *of)
    assert refused.code == 5, refused.err
    lines = refused.out.splitlines()
    assert lines[0] == "decision     refuse"
    assert "connector at port 1" in lines[1]
    history = run("verify", "--station", station(tmp_path), "--history")
    assert history.code == 0
    assert "2 verifications in" in history.out
    assert "refuse: connector at port 1" in history.out
    assert "matings of fixture contacts" in history.out
    told = run("verify", "--station", station(tmp_path), "--history", "--json").json
    assert told["schema"] == "benchsweep.verification-history/1"
    assert [one["decision"] for one in told["verifications"]] == ["use", "refuse"]
    assert {one["basis"] for one in told["series"]} == {"definition"}
    assert all(len(one["values"]) == 1 for one in told["series"])  # a refused one sets no limits


def test_a_station_that_asks_for_a_verification_stops_qualify_and_record(
    run: Run, served: RunningBench, tmp_path: Path
) -> None:
    of = ("--station", station(tmp_path, "needed = true\n"), "--address", served.address)
    work = ("--specimen", "cord 1", "--archive", tmp_path / "archive", *of)
    for command in (("qualify", "--against", "tia-6a-cord", "--length-m", "2"), ("record", "--count", "1")):
        stopped = run(*command, *work)
        assert stopped.code == 5
        assert "has not been verified" in stopped.err
        assert "benchsweep verify --station" in stopped.err
    assert run("verify", *of).code == 0
    assert run("record", "--count", "1", *work).code == 0


def test_renewed_contacts_are_counted_anew_and_worn_ones_stop(
    run: Run, served: RunningBench, tmp_path: Path
) -> None:
    path = station(tmp_path, "[wear]\nwarn_at = 3\nstop_at = 7\n")
    first = run("verify", "--station", path, "--address", served.address)
    assert first.code == 2
    assert "note: fixture port 1" in first.err
    assert "contacts worn out" in first.err
    assert "--renewed" in first.err
    renewed = run("verify", "--station", path, "--renewed", "1", "--renewed", "2", "--json")
    assert renewed.code == 0
    assert renewed.json["schema"] == "benchsweep.matings/1"
    counts = {one["port"]: one["matings"] for one in renewed.json["ports"]}
    assert (counts[1], counts[2]) == (0, 0)
    assert counts[3] > 0
    assert run("verify", "--station", path, "--renewed", "99").code == 2
    everything = run("verify", "--station", path, "--renewed", "all")
    assert everything.code == 0
    assert "matings of fixture contacts (warning at 3, stop at 7)" in everything.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--artefact", "no-such"), "no check named 'no-such'"),
        (("--history", "--renewed", "1"), "exclude each other"),
        (("--history", "--artefact", "pad"), "exclude each other"),
    ],
)
def test_what_makes_no_sense_is_refused_before_anything_is_touched(
    run: Run, arguments: tuple[str, ...], words: str
) -> None:
    answer = run("verify", "--station", "simulated", *arguments)
    assert answer.code == 2
    assert words in answer.err
    assert "embedded bench" not in answer.err
