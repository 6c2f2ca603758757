"""What becomes of stdout and stderr, and of the exit code, in a shell."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

QUALIFY = "qualify --station {station} --specimen cord-2m --against tia-6a-cord --length-m 2"
LIMITS = f"{sys.executable} -m benchsweep limits list"


@pytest.fixture
def station(coarse_station: Callable[[int], Path]) -> Path:
    """The simulated station with a coarse grid, as what is measured does not matter here."""
    return coarse_station(100)


def shell(command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}"],
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )


@pytest.mark.parametrize("reader", ["true", "head -n 1"])
def test_a_reader_that_goes_away_changes_no_exit_code(reader: str) -> None:
    for _ in range(2):
        done = shell(f"{LIMITS} | {reader}")
        assert done.returncode == 0
        assert done.stderr == ""


@pytest.mark.parametrize(
    ("reader", "arguments", "code"),
    [
        ("head -n 1", "--help", 0),
        ("true", "record --help", 0),
        ("true", "qualify", 2),
        ("head -n 1", "plan --station nope --against tia-6a-cord", 2),
        ("true", "identify TCPIP::127.0.0.1::1::SOCKET", 4),
        ("true", QUALIFY, 0),
        ("head -n 1", QUALIFY, 0),
    ],
)
def test_nor_when_it_read_help_errors_and_progress_too(
    reader: str, arguments: str, code: int, station: Path
) -> None:
    arguments = arguments.format(station=station)
    done = shell(f"{sys.executable} -m benchsweep {arguments} 2>&1 | {reader}")
    assert done.returncode == code
    assert done.stderr == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_result_that_cannot_be_written_is_said_in_words() -> None:
    done = shell(f"{LIMITS} > /dev/full")
    assert done.returncode == 2
    assert "cannot be written to standard output" in done.stderr
    assert "bug" not in done.stderr


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_are_no_bug(closed: str) -> None:
    done = shell(f"{LIMITS} {closed}")
    assert done.returncode == 0
    assert "bug" not in done.stderr


def test_the_result_is_on_stdout_and_nothing_else() -> None:
    done = shell(LIMITS)
    assert "tia-6a-cord" in done.stdout
    assert done.stderr == ""


def _in_a_terminal(command: list[str], environment: dict[str, str]) -> bytes:
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        command, stdout=theirs, stderr=subprocess.DEVNULL, env=os.environ | environment, close_fds=True
    )
    os.close(theirs)
    seen = b""
    try:
        while chunk := os.read(ours, 4096):
            seen += chunk
    except OSError:  # the other side is closed
        pass
    os.close(ours)
    assert process.wait(timeout=200) in (0, 1)
    return seen


def test_colours_only_in_a_terminal_and_never_against_no_color(station: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "benchsweep", *QUALIFY.format(station=station).split()]
    command += ["--archive", str(tmp_path / "archive")]
    coloured = _in_a_terminal(command, {"TERM": "xterm-256color", "NO_COLOR": ""})
    plain = _in_a_terminal(command, {"TERM": "xterm-256color", "NO_COLOR": "1"})
    assert b"\x1b[1;32mpass" in coloured
    assert b"32m" not in plain
    assert b"pass" in plain


@pytest.mark.parametrize(
    "words",
    ["archive find --archive {}", "archive find --archive /{}/b", "archive comment {}.h5 fine --by me"],
)
def test_a_path_that_no_system_takes_is_no_bug(words: str) -> None:
    done = shell(f"{sys.executable} -m benchsweep {words.format('x' * 300)}")
    assert (done.returncode, done.stdout) == (6, "")
    assert "File name too long" in done.stderr
    assert "bug" not in done.stderr
