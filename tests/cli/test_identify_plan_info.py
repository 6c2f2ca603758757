"""What a technician reads from `identify`, `plan` and `info`, on the simulated analyzer of every family."""

from __future__ import annotations

import re
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from benchsweep.archive import read_record
from benchsweep.definitions import list_definitions
from benchsweep.simulator import BenchOptions, running_bench

Run = Callable[..., Any]

FAMILIES = {
    "named-measurement": 16,
    "numbered-measurement": 8,
    "quoted-parameter": 4,
    "numbered-trace": 16,
    "single-channel": 2,
    "sense-function": 2,
}
SLOWEST_S = 3.0
STATION = """
schema = 1
name = "bench-5"
[analyzer]
address = "{address}"
{analyzer}
[sweep]
if_bandwidth_hz = 1000.0
{sweep}
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 1.0
when_missing = "calibrate"
"""


def station(folder: Path, address: str, sweep: str, analyzer: str = "") -> Path:
    path = folder / "bench-5.toml"
    path.write_text(STATION.format(address=address, sweep=sweep, analyzer=analyzer))
    return path


def qualify(run: Run, file: Path, against: str, length_m: float) -> Any:
    named = ("--specimen", "T-1", "--against", against, "--length-m", length_m)
    return run("qualify", "--station", file, *named, "--json")


@pytest.mark.parametrize("family", FAMILIES)
def test_every_simulated_family_is_known_over_both_transports_in_time(run: Run, family: str) -> None:
    with running_bench(BenchOptions(family=family, ports=FAMILIES[family])) as bench:
        for address in (bench.addresses["analyzer"], bench.addresses["hislip"]):
            started = time.monotonic()
            answer = run("identify", address, "--json")
            assert time.monotonic() - started < SLOWEST_S
            assert answer.code == 0, answer.err
            document = answer.json
            assert document["schema"] == "benchsweep.identity/1"
            assert (document["family"], document["ports"]) == (family, FAMILIES[family])
            assert document["address"] == address
            assert [item["address"] for item in document["tried"]] == [address]
            assert document["standing"] in ("published", "common-practice", "from-memory")
            assert document["limits"]["max_points"] > 1000
            assert isinstance(document["lacks"], list)
            asked = [item["probe"] for item in document["evidence"]]
            assert asked[0] == "*IDN?"
            assert document["evidence"][0]["answer"] == document["idn"]


@contextmanager
def forwarded(host: str, port: int, to: int) -> Iterator[None]:
    """Pass every connection to `host` and `port` on to a port of the usual loopback address."""
    server = socket.create_server((host, port))
    server.settimeout(0.05)
    stop = threading.Event()

    def pump(source: socket.socket, sink: socket.socket) -> None:
        with suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        with suppress(OSError):
            sink.shutdown(socket.SHUT_WR)

    def accept() -> None:
        while not stop.is_set():
            try:
                near, _ = server.accept()
            except TimeoutError:
                continue
            far = socket.create_connection(("127.0.0.1", to))
            opened.extend((near, far))
            near.settimeout(20.0)
            for pair in ((near, far), (far, near)):
                threading.Thread(target=pump, args=pair, daemon=True).start()

    opened: list[socket.socket] = []
    thread = threading.Thread(target=accept, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(timeout=5.0)
        for item in (*opened, server):
            item.close()


@pytest.mark.skipif(sys.platform != "linux", reason="needs all of 127.0.0.0/8")
@pytest.mark.parametrize("family", FAMILIES)
def test_a_host_alone_is_enough_and_hislip_comes_first(run: Run, family: str) -> None:
    with running_bench(BenchOptions(family=family, ports=FAMILIES[family])) as bench:
        hislip = int(re.findall(r"hislip0,([0-9]+)", bench.addresses["hislip"])[0])
        # A loopback address of its own: the well-known ports are free on it.
        host = f"127.8.{hislip // 256}.{hislip % 256}"
        with forwarded(host, 4880, hislip):
            started = time.monotonic()
            document = run("identify", host, "--json").json
            assert time.monotonic() - started < SLOWEST_S
            text = run("identify", host).out
        with forwarded(host, 5025, int(bench.address.split("::")[2])):
            started = time.monotonic()
            fallen_back = run("identify", host, "--json").json
            assert time.monotonic() - started < SLOWEST_S
    assert (document["address"], document["family"]) == (f"TCPIP::{host}::hislip0::INSTR", family)
    assert "this address first" in " ".join(text.split())
    assert (fallen_back["address"], fallen_back["family"]) == (f"TCPIP::{host}::5025::SOCKET", family)
    assert [item["came"] == "answered" for item in fallen_back["tried"]] == [False, True]
    assert all(item["reason"] for item in fallen_back["tried"])


def test_the_text_is_aligned_and_says_what_is_from_memory(run: Run) -> None:
    with running_bench(BenchOptions(family="sense-function", ports=2)) as bench:
        answer = run("identify", bench.address)
    lines = answer.out.splitlines()
    evidence = lines.index("evidence: each question and its answer")
    assert all(len(line) <= 80 for line in lines[:evidence])
    assert all(not line or line[10:12] == "  " for line in lines[: evidence - 1])
    text = " ".join(answer.out.split())
    assert "the spellings of this family are from memory" in text
    assert "2 (assumed: the analyzer does not tell" in text
    assert "- matrix from one sweep: every parameter needs a sweep of its own" in text
    assert "9 kHz to 3 GHz" in text


def test_an_instrument_of_no_known_family_is_told_with_every_question(run: Run) -> None:
    # The relay matrix is an instrument that follows the standards and is no analyzer.
    with running_bench(BenchOptions()) as bench:
        address = bench.addresses["relays"]
        as_json = run("identify", address, "--json")
        as_text = run("identify", address)
    assert (as_json.code, as_text.code) == (4, 4)
    document = as_json.json
    assert (document["family"], document["ports"]) == (None, None)
    assert document["idn"]
    families = len(list_definitions("families"))
    assert len(document["evidence"]) >= 4 + families // 2
    assert "not known" in as_text.out
    for item in document["evidence"]:
        assert item["probe"] in as_text.out
    for answer in (as_json, as_text):
        assert "is not known" in answer.err
        assert "family file of your own" in answer.err
        assert "-113" not in answer.err  # said once, in the result


def test_a_family_named_wins_over_what_was_found(run: Run) -> None:
    with running_bench(BenchOptions(family="numbered-trace", ports=4)) as bench:
        document = run("identify", bench.address, "--family", "numbered-trace", "--json").json
        assert document["family"] == "numbered-trace"
        nothing = run("identify", bench.address, "--family", "mill")
    assert nothing.code == 2
    assert "mill" in nothing.err


def test_a_plan_keeps_within_what_the_analyzer_says_of_itself(run: Run, tmp_path: Path) -> None:
    sweep = 'requirements = ["tia-6a-channel"]\nlongest_m = 100.0'
    with running_bench(BenchOptions(ports=8)) as bench:
        file = station(tmp_path, bench.address, sweep)
        document = run("plan", "--station", file, "--against", "tia-6a-channel", "--json").json
        text = run("plan", "--station", file, "--against", "tia-6a-channel").out
    assert document["grid"]["words"] == "0.1 MHz to 500 MHz in steps of 0.1 MHz, 5000 points"
    assert document["grid"]["points"] == 5000
    assert (len(document["hookups"]), document["warnings"]) == (6, [])
    assert "0.1 MHz to 500 MHz in steps of 0.1 MHz, 5000 points" in text
    assert all(len(line) <= 80 for line in text.splitlines())


def test_a_plan_warns_and_proposes_in_words(run: Run, tmp_path: Path) -> None:
    sweep = "start_mhz = 1.0\nstop_mhz = 250.0\npoints = 250"
    file = station(tmp_path, "", sweep, "ports = 16")
    answer = run("plan", "--station", file, "--against", "tia-6a-channel", "--length-m", 100)
    text = " ".join(answer.out.split())
    assert "- tia-6a-channel goes from 1 to 500 MHz, the sweep from 1 to 250 MHz" in text
    assert "- return loss and NEXT: the step of 1 MHz near 1 MHz is too coarse for 100 m" in text
    assert 'requirements = ["tia-6a-channel"] and longest_m = 100' in text
    assert answer.code == 0


def test_a_qualification_says_before_the_sweep_that_the_grid_does_not_fit(run: Run, tmp_path: Path) -> None:
    sweep = "start_mhz = 5.0\nstop_mhz = 100.0\npoints = 20"
    with running_bench(BenchOptions(specimen="channel-100m", noiseless=True)) as bench:
        file = station(tmp_path, bench.address, sweep)
        answer = qualify(run, file, "tia-5e-channel", 100)
    said = answer.err.splitlines()
    notes = [number for number, line in enumerate(said) if line.startswith("note: ")]
    first = next(number for number, line in enumerate(said) if line.startswith("hookup 1"))
    assert notes
    assert max(notes) < first
    assert any("tia-5e-channel goes from 1 to 100 MHz" in said[number] for number in notes)
    assert any("return loss and NEXT" in said[number] for number in notes)
    verdict = answer.json
    assert any("return loss and NEXT" in words for words in verdict["notes"])
    assert any("delay and skew" in words for words in verdict["notes"])


def test_calibration_and_qualification_share_the_grid_of_the_requirements(run: Run, tmp_path: Path) -> None:
    sweep = 'requirements = ["tia-5e-cord"]\nlongest_m = 5.0'
    with running_bench(BenchOptions(noiseless=True)) as bench:
        file = station(tmp_path, bench.address, sweep)
        calibrated = run("calibrate", "--station", file, "--json")
        assert calibrated.code == 0, calibrated.err
        answer = qualify(run, file, "tia-5e-cord", 2)
    assert (calibrated.json["points"], calibrated.json["stop_hz"]) == (100, 100e6)
    assert answer.code in (0, 1), answer.err
    assert "calibrating now" not in answer.err
    assert "note:" not in answer.err


def test_a_calibration_on_a_grid_that_does_not_fit_the_station_says_so_first(
    run: Run, tmp_path: Path
) -> None:
    sweep = 'requirements = ["tia-5e-channel"]\nlongest_m = 100.0\nmost_points = 60'
    with running_bench(BenchOptions(noiseless=True)) as bench:
        answer = run("calibrate", "--station", station(tmp_path, bench.address, sweep))
    said = answer.err.splitlines()
    notes = [number for number, line in enumerate(said) if line.startswith("note: return loss")]
    assert len(notes) == 1
    assert notes[0] < next(number for number, line in enumerate(said) if line.startswith("hookup 1"))


def test_segments_chosen_for_a_long_specimen_are_calibrated_measured_and_graded(
    run: Run, tmp_path: Path
) -> None:
    sweep = 'requirements = ["tia-5e-channel"]\nlongest_m = 100.0\nmost_points = 300'
    with running_bench(BenchOptions(specimen="channel-100m", noiseless=True)) as bench:
        file = station(tmp_path, bench.address, sweep)
        planned = run("plan", "--station", file, "--against", "tia-5e-channel", "--json").json["grid"]
        answer = qualify(run, file, "tia-5e-channel", 100)
        assert answer.code in (0, 1), answer.err
        assert "calibrating now" in answer.err
        again = qualify(run, file, "tia-5e-channel", 100)
    assert "calibrating now" not in again.err
    assert planned["spacing"] == "segments"
    measured = read_record(Path(answer.json["record"]))
    assert measured.settings is not None
    assert [(part.start_hz, part.stop_hz, part.points) for part in measured.settings.segments] == [
        (part["start_hz"], part["stop_hz"], part["points"]) for part in planned["segments"]
    ]
    grid = measured.corrected.frequency_hz
    assert grid.size == planned["points"] <= 300
    assert (grid[0], grid[-1]) == (1e6, 100e6)
    # Grading, and following the phase over the joints of the segments, went as on any grid.
    delays = [row for row in answer.json["rows"] if row["parameter"] == "delay"]
    assert len(delays) == 4
    assert all(row["worst_margin_db"] is not None for row in delays)


def test_info_lists_the_families_and_where_a_person_puts_their_own(run: Run) -> None:
    answer = run("info")
    assert answer.code == 0
    for family in FAMILIES:
        assert family in answer.out
    assert "from-memory" in answer.out
    document = run("info", "--json").json
    assert [item["name"] for item in document["families"]] != []
    assert document["search"]["families"][0].endswith("families")


def test_a_plan_without_moves_says_its_time_once_and_asks_for_the_length(run: Run) -> None:
    text = " ".join(run("plan", "--station", "simulated", "--against", "tia-6a-cord").out.split())
    assert re.search(r"time about \d+ s of sweeping \(500 points assumed\)", text)
    assert "the limits of tia-6a-cord depend on the length: `qualify` will need --length-m" in text
    given = run("plan", "--station", "simulated", "--against", "tia-6a-cord", "--length-m", 2).out
    assert "will need" not in given


def test_garbage_is_said_once_and_cut(run: Run) -> None:
    garbage = "z" * 3000
    server = socket.create_server(("127.0.0.1", 0))

    def talk() -> None:
        near, _ = server.accept()
        with near, near.makefile("rw", newline="\n") as lines:
            for line in lines:
                if "?" in line:
                    lines.write(garbage + "\n")
                    lines.flush()

    threading.Thread(target=talk, daemon=True).start()
    told = run("identify", f"127.0.0.1:{server.getsockname()[1]}")
    server.close()
    assert told.code == 4
    assert "zzz" in told.out
    assert "z" * 61 not in told.out + told.err
    assert "zzz" not in told.err
    assert "3000 characters; --json has all" in " ".join(told.out.split())
    assert "(see above)" in told.out


def test_help_says_what_identify_sends(run: Run) -> None:
    said = " ".join(run("identify", "--help").out.split())
    assert "no setting is touched" in said
    assert "*CLS" in said
