"""A person at a terminal makes the connections: confirms the cautions, obeys, goes back, stops, continues."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from benchsweep.archive import list_calibrations, read_calibration, read_record
from benchsweep.instrument import Link, open_link
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

from .terminal import Terminal

STATION = """
schema = 1
name = "hands"
[analyzer]
address = "{address}"
[sweep]
start_mhz = 1.0
stop_mhz = 500.0
points = 500
if_bandwidth_hz = 1000.0
[switch]
kind = "person"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = 8.0
folder = "{folder}"
"""
PROMPT = r"explains\): "
ALL_PORTS = ("open", "short", "load")


@pytest.fixture
def bench() -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        yield served


@pytest.fixture
def hands(bench: RunningBench) -> Iterator[Link]:
    """The hands of the person: what they connect, the simulated bench has."""
    with open_link(bench.address) as link:
        yield link


@pytest.fixture
def station(bench: RunningBench, tmp_path: Path) -> Path:
    path = tmp_path / "hands.toml"
    path.write_text(STATION.format(address=bench.address, folder=tmp_path / "cal"), encoding="utf-8")
    return path


def connect(hands: Link, connections: dict[int, str]) -> None:
    wanted = ",".join(f"{port}={target}" for port, target in connections.items())
    hands.write_checked(f'BENCh:CONNect "{wanted}"', doing="connecting by hand")


def standard(number: int) -> dict[int, str]:
    """What hookup `number` of the calibration of four ports is."""
    if number <= 3:
        return dict.fromkeys((1, 2, 3, 4), ALL_PORTS[number - 1])
    return {1: f"thru {number - 2}", number - 2: "thru 1"}


def confirm(terminal: Terminal) -> str:
    shown = terminal.until("Your name: ")
    terminal.type("R. Example")
    terminal.until("Type yes or no: ")
    terminal.type("yes")
    return shown


def test_a_calibration_by_hand_with_second_thoughts(station: Path, hands: Link, tmp_path: Path) -> None:
    with Terminal("calibrate", "--station", station, "--json") as terminal:
        shown = confirm(terminal)
        for words in ("no voltage is present", "damage level", "Reels are heavy", "licensed practice"):
            assert words in shown
        asked = terminal.until(PROMPT)
        assert "Hookup 1 of 6" in asked
        assert "Put the open standard on analyzer ports 1 to 4." in asked
        terminal.type("again")  # nothing was swept yet
        asked = terminal.until(PROMPT)
        assert "Nothing has been swept yet" in asked
        assert "Enter alone: the connections stand: sweep" in asked
        connect(hands, standard(1))
        terminal.type("")
        assert "Hookup 2 of 6" in terminal.until(PROMPT)
        connect(hands, standard(1))  # the person forgets to take the open off ...
        terminal.type("")
        assert "Hookup 3 of 6" in terminal.until(PROMPT)
        terminal.type("again")  # ... and sees it now
        asked = terminal.until(PROMPT)
        assert "Hookup 2 of 6" in asked
        assert "Check that these and no others stand: the short standard on analyzer ports 1 to 4." in asked
        connect(hands, standard(2))
        terminal.type("")
        assert "in place of the earlier sweep" in terminal.until(PROMPT)
        for number in (3, 4, 5):
            connect(hands, standard(number))
            terminal.type("")
            terminal.until(PROMPT)
        terminal.type("back 4")
        asked = terminal.until(PROMPT)
        assert "Hookup 4 of 6" in asked
        connect(hands, standard(4))
        terminal.type("")
        assert "Hookup 6 of 6" in terminal.until(PROMPT)
        connect(hands, standard(6))
        terminal.type("")
        assert "All 6 hookups are swept." in terminal.until(PROMPT)
        terminal.type("")
        assert terminal.end() == 0
        document = json.loads(terminal.out)
    (stored,) = list_calibrations(tmp_path / "cal")
    assert document["calibration"] == str(stored)
    # The forgotten short was replaced, else the kit would have refused; and all throughs come back.
    assert max(read_calibration(stored).residuals_db.values()) < -100.0
    assert not list((tmp_path / "cal").rglob("hookup-*.h5"))


def test_stopped_and_continued(station: Path, hands: Link, tmp_path: Path) -> None:
    with Terminal("calibrate", "--station", station) as terminal:
        confirm(terminal)
        for number in (1, 2):
            terminal.until(PROMPT)
            connect(hands, standard(number))
            terminal.type("")
        terminal.until(PROMPT)
        terminal.type("stop")
        assert terminal.end() == 130
        assert "the same command continues from there" in terminal.seen
        assert "Traceback" not in terminal.seen
    assert len(list((tmp_path / "cal").rglob("hookup-*.h5"))) == 2
    with Terminal("calibrate", "--station", station, "--cautions-read-by", "R. Example") as terminal:
        asked = terminal.until(PROMPT)
        assert "continuing an interrupted run: 2 of 6 hookups are kept" in asked
        assert "no voltage is present" in asked  # shown in full also when they were read before
        assert "Hookup 3 of 6" in asked
        assert "Take everything off the analyzer ports." in asked
        # A busy machine may lose a Ctrl-C between prompt and reading; a person presses it again.
        for _ in range(3):
            terminal.press(b"\x03")
            with suppress(subprocess.TimeoutExpired):
                terminal.process.wait(timeout=20.0)
                break
        assert terminal.end() == 130


def test_a_cord_measured_by_hand_carries_who_read_the_cautions(
    station: Path, hands: Link, tmp_path: Path
) -> None:
    with Terminal("calibrate", "--station", station, "--quiet", "--operator", "R. Example") as terminal:
        asked = terminal.until("Type yes or no: ")
        assert "R. Example: have you read this and done it?" in asked
        terminal.type("sure")
        terminal.until("Type yes or no: ")
        terminal.type("YES")
        for number in range(1, 7):
            terminal.until(PROMPT)
            connect(hands, standard(number))
            terminal.type("")
        terminal.until(PROMPT)
        terminal.type("")
        assert terminal.end() == 0
    arguments = ["--station", station, "--specimen", "T118-03", "--against", "tia-6a-cord", "--length-m", 2]
    arguments += ["--archive", tmp_path / "archive", "--operator", "R. Example", "--json"]
    with Terminal("qualify", *arguments) as terminal:
        terminal.until("Type yes or no: ")
        terminal.type("yes")
        has: dict[int, str] = {}
        for _ in range(28):
            asked = terminal.until(PROMPT)
            obey(asked, has)
            connect(hands, has)
            terminal.type("")
        assert "All 28 hookups are swept." in terminal.until(PROMPT)
        terminal.type("")
        assert terminal.end() == 0
        document = json.loads(terminal.out)
    record = read_record(Path(document["record"]))
    assert document["outcome"] == "pass"
    assert record.safety is not None
    assert record.safety.by == "R. Example"
    assert any("no voltage" in caution for caution in record.safety.cautions)
    assert record.incidents == ()


def obey(text: str, has: dict[int, str]) -> None:
    """Do what the steps for a specimen say."""
    if "Take everything off" in text:
        has.clear()
    for first, second in re.findall(r"Take analyzer ports (\d) and (\d) off", text):
        del has[int(first)], has[int(second)]
    for steps, port in re.findall(r"Attach (.*?) of ([AB]:\d\d) \(end", text):
        for number, contact in re.findall(r"analyzer port (\d) to contact (\d)", steps):
            has[int(number)] = f"{port}.{contact}"
