"""`record` and what is done with its series, as commands; in processes of their own where signals count."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchsweep.archive import check_series, open_series
from benchsweep.cli._record import parse_duration, stop_requests
from benchsweep.errors import UsageError
from benchsweep.simulator import BenchOptions, running_bench

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are sent")

STATION = """
schema = 1
name = "quick"
[analyzer]
[sweep]
start_mhz = 1.0
stop_mhz = 201.0
points = 21
if_bandwidth_hz = 10000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 12.0
when_missing = "calibrate"
folder = "stored"
"""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with running_bench(BenchOptions(ports=4, specimen="cord-2m", seed=3)) as bench:
        yield bench.address


@pytest.fixture
def command(address: str, own_home: Path) -> list[str]:
    (own_home / "quick.toml").write_text(STATION)
    return [
        *(sys.executable, "-m", "benchsweep", "record", "--station", "quick.toml", "--address", address),
        *("--specimen", "T118-07", "--length-m", "2", "--ports", "A:12,B:12", "--json"),
    ]


@pytest.fixture
def benchsweep(run: Callable[..., Any]) -> Callable[..., Any]:
    """Run a command in this process and return what it printed; `code` is the exit code it must have."""

    def call(*arguments: object, code: int = 0) -> Any:
        answer = run(*arguments)
        assert answer.code == code, answer.err
        return answer.json if "--json" in arguments and code in (0, 1, 3) else answer.out or answer.err

    return call


@pytest.fixture(autouse=True)
def terminal_can_hang_up() -> Iterator[None]:
    """Under nohup a hang-up is ignored by every child, as it should be: not what is tested here."""
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield
    signal.signal(signal.SIGHUP, before)


def started(command: list[str], *more: str, until: str) -> subprocess.Popen[str]:
    """Start a recording and return when a line on stderr begins with `until`."""
    process = subprocess.Popen(
        [*command, *more], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith(until):
            return process
    raise AssertionError("it ended too early")


def test_a_soak_from_the_first_sweep_to_the_report(
    command: list[str], benchsweep: Callable[..., Any]
) -> None:
    Path("chamber.csv").write_text(f"time,chamber_degc\n{time.time():.1f},23.5\n{time.time():.1f},24.")
    more = ["--count", "6", "--every", "100ms", "--description", "soak", "--operator", "M. Lindqvist"]
    more += ["--ambient", "humidity_percent=40", "--ambient-csv", "chamber.csv"]
    document = benchsweep(*command[3:], *more)
    assert document["schema"] == "benchsweep.series/1"
    assert (document["sweeps"], document["gaps"]) == (6, [])
    record = document["record"]
    check_series(Path(record))
    with open_series(Path(record)) as reader:
        assert {tuple(sweep.ambient.items()) for sweep in reader.sweeps()} == {
            (("humidity_percent", 40.0), ("chamber_degc", 23.5))
        }
    shown = benchsweep("show", record, "--json")
    assert (shown["sweeps"], shown["description"], shown["ended_at"] > shown["began_at"]) == (6, "soak", True)
    assert [(change["parameter"], change["end"]) for change in shown["changes"]] == [
        ("insertion_loss", "A"),
        ("insertion_loss", "B"),
    ]
    assert shown["changes"][0]["loss_increase_db_per_hour"]["count"] == 6
    text = benchsweep("show", record, "--parameter", "return_loss")
    assert "6 sweeps, numbers 1 to 6" in text
    assert re.search(r"^return loss +A +12 ", text, re.MULTILINE)
    assert all(len(line) <= 80 for line in text.splitlines())
    one = benchsweep("show", record, "--sweep", 3, "--json")
    assert (one["sweep"], one["ambient"]["chamber_degc"]) == (3, 23.5)
    verdict = benchsweep("grade", record, "--against", "tia-6a-cord", "--sweep", 2, "--json", code=3)
    assert verdict["record"] == f"{record}, sweep 2"
    benchsweep("report", record, "-o", "soak.html")
    page = Path("soak.html").read_text(encoding="utf-8")
    assert "Change over time" in page
    assert page.count("<figure") == 1  # the reading never moved: there is nothing to draw over it
    benchsweep("report", record, "-o", "graded.html", "--against", "tia-6a-cord", "--sweep", 2)
    assert f"{record}, sweep 2" in Path("graded.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("polite", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_one_stop_ends_with_a_finished_record(polite: signal.Signals, command: list[str]) -> None:
    process = started(command, "--every", "50ms", until="sweep ")
    time.sleep(0.5)
    process.send_signal(polite)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    document = json.loads(out)
    assert document["ending"] == "it was stopped by the operator"
    assert document["sweeps"] >= 1
    check_series(Path(document["record"]))
    assert not Path("archive/unfinished").exists()


@pytest.mark.timeout(20)
def test_a_stop_at_the_worst_moment_does_not_hang() -> None:
    """The signal comes while the waiting code holds the lock of the event."""
    with stop_requests() as wanted:
        with wanted._cond:
            os.kill(os.getpid(), signal.SIGTERM)
            began = time.monotonic()
            assert wanted.wait(10.0)
        assert time.monotonic() - began < 5.0
        assert wanted.is_set()


def test_a_closed_terminal_ends_with_a_finished_record(command: list[str]) -> None:
    """The terminal goes away for good: whoever writes to it gets an error; it may be told more than once."""
    import pty  # not there on every platform

    controlling, terminal = pty.openpty()
    process = subprocess.Popen(
        command, stdin=terminal, stdout=terminal, stderr=terminal, start_new_session=True
    )
    os.close(terminal)
    until = time.monotonic() + 60
    while not list(Path("archive").rglob("sweep-*.h5")) and time.monotonic() < until:
        time.sleep(0.02)
    os.close(controlling)
    for _ in range(3):
        process.send_signal(signal.SIGHUP)
        time.sleep(0.01)
    assert process.wait(timeout=60) == 0
    (record,) = Path("archive").glob("*.h5")
    check_series(record)
    with open_series(record) as reader:
        assert reader.ending is not None
        assert reader.ending.reason == "it was stopped by the operator"


def test_a_run_that_is_to_outlive_its_terminal_does(command: list[str]) -> None:
    process = started(["nohup", *command], "--count", "4", "--every", "300ms", until="sweep 1")
    process.send_signal(signal.SIGHUP)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert json.loads(out)["sweeps"] == 4


def test_a_second_stop_breaks_off_and_the_same_command_goes_on(
    command: list[str], benchsweep: Callable[..., Any]
) -> None:
    process = started(command, "--count", "5", "--every", "60s", until="sweep 1")
    # Twice at once: while the first one is answered the second is waiting.
    os.kill(process.pid, signal.SIGSTOP)
    process.send_signal(signal.SIGINT)
    process.send_signal(signal.SIGTERM)
    os.kill(process.pid, signal.SIGCONT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "the same command continues" in err
    document = benchsweep(*command[3:], "--count", "3")
    assert document["sweeps"] == 3
    assert [event["kind"] for event in document["events"]] == ["ended", "resumed"]


def test_killed_and_finished_as_it_is(command: list[str], benchsweep: Callable[..., Any]) -> None:
    process = started(command, "--count", "500", until="sweep 1")
    folder = Path("archive/unfinished")
    until = time.monotonic() + 60
    while len(list(folder.rglob("sweep-*.h5"))) < 7 and time.monotonic() < until:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=20)
    kept = len(list(folder.rglob("sweep-*.h5")))
    (unfinished,) = (path for path in folder.iterdir() if path.is_dir())
    shown = benchsweep("show", unfinished, "--json")
    assert (shown["sweeps"], shown["ending"]) == (kept, None)
    verdict = benchsweep("grade", unfinished, "--against", "tia-6a-cord", "--length-m", 2, "--json", code=3)
    assert verdict["record"] == f"{unfinished}, sweep {kept}"
    document = benchsweep(*command[3:], "--finish")
    assert document["sweeps"] == kept
    assert (
        document["ending"]
        == f"it was cut off after sweep {kept} (killed, or without power) and finished later"
    )
    check_series(Path(document["record"]))
    assert "no interrupted recording" in benchsweep(*command[3:], "--finish", code=2)


def test_without_a_calibration(command: list[str], benchsweep: Callable[..., Any]) -> None:
    document = benchsweep(*command[3:], "--count", "2", "--uncorrected")
    assert not Path("stored").exists()
    shown = benchsweep("show", document["record"], "--json")
    assert not shown["corrected"]
    assert "without a calibration" in benchsweep(
        "grade", document["record"], "--against", "tia-6a-cord", code=2
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--every", "soon"), "--every 'soon': no length of time"),
        (("--every", "0s"), "--every '0s': must be above 0"),
        (("--for", "0"), "Units: ms, s, min (or m), h, d"),
        (("--finish", "--count", "3"), "--count would do nothing with --finish"),
        (("--finish", "--every", "3s", "--for", "1h"), "--every and --for would do nothing with --finish"),
        (("--finish", "--ambient", "t=3"), "--ambient would do nothing with --finish"),
        (("--leave-out-damaged",), "--leave-out-damaged would do nothing without --finish"),
        (("--into", "x"), "--into would do nothing without --finish"),
        (("--ambient-stale", "1min"), "--ambient-stale would do nothing without --ambient-csv"),
        (("--ambient-csv", "nowhere/x.csv"), "there is no folder nowhere"),
        (("--ambient-csv", "."), "is a folder"),
        (("--for", "1 parsec"), "no length of time"),
        (("--count", "0"), "--count"),
        (("--ambient", "warm"), "not a name and a number"),
        (("--ports", "A:12,B:12,A:36"), "the bench has 2 places"),
        (("--ports", "X:12"), "no balanced port"),
    ],
)
def test_wrong_wishes(
    arguments: tuple[str, ...], words: str, command: list[str], benchsweep: Callable[..., Any]
) -> None:
    assert words in benchsweep(*command[3:], *arguments, code=2)


def test_a_sweep_of_what_is_no_series(benchsweep: Callable[..., Any]) -> None:
    golden = Path(__file__).parents[1] / "archive" / "golden" / "record-v1.h5"
    for verb in ("show", "report"):
        more = ("--against", "tia-6a-cord") if verb == "report" else ()
        for option, value in (("--sweep", 2), ("--parameter", "next"), ("--reading", "t")):
            told = benchsweep(verb, golden, *more, option, value, code=2)
            assert "is no series, so" in told
            assert f"Leave {option} out" in told
        assert "--leave-out-damaged does nothing" in benchsweep(
            verb, golden, *more, "--leave-out-damaged", code=2
        )
        assert "--length-m does nothing without --against" in benchsweep(
            verb, golden, "--length-m", 2, code=2
        )
    assert "is reported against a requirement" in benchsweep("report", golden, code=2)
    assert "no such file" in benchsweep("report", "nonexistent.h5", code=2)


def test_a_sweep_that_is_not_there(benchsweep: Callable[..., Any]) -> None:
    golden = Path(__file__).parents[1] / "archive" / "golden" / "series-v1.h5"
    for verb in (("show",), ("grade", "--against", "tia-6a-cord"), ("report", "--against", "tia-6a-cord")):
        told = benchsweep(*verb, golden, "--sweep", 999, code=2)
        assert "sweep 999 is not there; it holds sweeps" in told
    assert "do nothing for one sweep" in benchsweep(
        "show", golden, "--sweep", 1, "--parameter", "next", code=2
    )
    assert "--sweep does nothing without --against" in benchsweep("report", golden, "--sweep", 1, code=2)


def test_unfinished_folders_are_listed_and_packed_elsewhere(
    command: list[str], benchsweep: Callable[..., Any]
) -> None:
    process = started(command, "--count", "500", until="sweep 1")
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=20)
    kept = len(list(Path("archive").rglob("sweep-*.h5")))
    listed = benchsweep("show", "archive/unfinished", "--json")
    assert listed["schema"] == "benchsweep.unfinished/1"
    (one,) = listed["series"]
    assert (one["specimen"], one["station"], one["sweeps"]) == ("T118-07", "quick", kept)
    assert one["began_at"] < one["last_at"]
    text = benchsweep("show", "archive")
    assert one["folder"] in text
    assert "T118-07" in text
    (Path(one["folder"]) / "head.h5").write_bytes(b"")
    assert "trouble" in benchsweep("show", "archive/unfinished")
    assert "no series is unfinished" in benchsweep("show", ".", code=2)


def test_finished_into_another_folder(command: list[str], benchsweep: Callable[..., Any]) -> None:
    process = started(command, "--count", "500", until="sweep 1")
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=20)
    document = benchsweep(*command[3:], "--finish", "--into", "elsewhere")
    assert Path(document["record"]).parent == Path("elsewhere")
    check_series(Path(document["record"]))
    assert not Path("archive/unfinished").exists()


@pytest.mark.parametrize("spelling", ["{}", "./{}", "link.html"])
def test_a_report_never_takes_the_place_of_a_record(
    spelling: str, own_home: Path, benchsweep: Callable[..., Any]
) -> None:
    golden = (Path(__file__).parents[1] / "archive" / "golden" / "series-v1.h5").read_bytes()
    # Whatever they are called.
    Path("soak.html").write_bytes(golden)
    Path("other.html").write_bytes(golden)
    Path("link.html").symlink_to("other.html")
    for name in ("soak.html", "other.html"):
        told = benchsweep("report", "soak.html", "-o", spelling.format(name), code=2)
        assert "Name another file after -o" in told
    assert Path("soak.html").read_bytes() == Path("other.html").read_bytes() == golden


def test_times() -> None:
    told = {
        "30s": 30.0,
        "5min": 300.0,
        "5m": 300.0,
        "1h": 3600.0,
        "100ms": 0.1,
        "2.5": 2.5,
        " 8 h ": 28800.0,
        "3d": 259200.0,
    }
    for text, seconds in told.items():
        assert parse_duration(text, "--every") == pytest.approx(seconds)
    assert parse_duration(None, "--every") is None
    for text in ("", "h", "-3s", "1e9s", "5 minutes", "100000d", "nan"):
        with pytest.raises(UsageError, match="--for"):
            parse_duration(text, "--for")
