"""Two runs never use one instrument at a time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchsweep.definitions import data_folder
from benchsweep.errors import UsageError
from benchsweep.qualification import load_station, open_bench
from benchsweep.qualification._alone import alone_with
from benchsweep.simulator import BenchOptions, running_bench

ADDRESS = "TCPIP::192.0.2.10::5025::SOCKET"


def test_the_second_is_refused_until_the_first_ends() -> None:
    with alone_with(ADDRESS):
        with pytest.raises(
            UsageError, match="another run on this computer is using the analyzer at TCPIP"
        ) as caught:
            with alone_with(ADDRESS):
                pass
        assert caught.value.hint
        with pytest.raises(UsageError), alone_with(" tcpip0::192.0.2.10::5025::socket"):
            pass
        with alone_with("TCPIP::192.0.2.11::5025::SOCKET"):
            pass
    with alone_with(ADDRESS):
        pass


def test_an_error_lets_go() -> None:
    with pytest.raises(KeyError), alone_with(ADDRESS):
        raise KeyError("x")
    with alone_with(ADDRESS):
        pass


def test_a_process_that_dies_lets_go() -> None:
    code = (
        "import os, sys\n"
        "from benchsweep.qualification._alone import alone_with\n"
        f"with alone_with({ADDRESS!r}):\n"
        "    print('held', flush=True)\n"
        "    sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        with pytest.raises(UsageError), alone_with(ADDRESS):
            pass
        process.kill()
        process.wait(timeout=20)
        with alone_with(ADDRESS):
            pass


def test_a_folder_that_cannot_be_written_does_not_stop_the_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refused)
    with alone_with(ADDRESS):
        assert not (data_folder() / "locks").exists()


def test_a_bench_that_is_in_use() -> None:
    with running_bench(BenchOptions(ports=4)) as served:
        station = load_station("simulated").at_address(served.address)
        with open_bench(station, prompt=None):
            with pytest.raises(UsageError, match="another run"), open_bench(station, prompt=None):
                pass
        with open_bench(station, prompt=None):
            pass


def test_a_bench_of_ones_own_needs_no_lock_and_leaves_no_file() -> None:
    """Each has another address: the files of a year of demonstrations would pile up."""
    with running_bench(BenchOptions(ports=4)) as served:
        own = load_station("simulated").at_own_bench(served.address)
        assert own.called == "simulated"
        with open_bench(own, prompt=None):
            assert not (data_folder() / "locks").exists()
