"""An archive in an S3-compatible store: checked, searched, graded over the network, and without an answer.

The store is moto's server in a process of its own, on the loopback. Credentials are invented.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import fsspec
import numpy as np
import pytest
from s3fs import S3FileSystem

from benchsweep import archive
from benchsweep.archive.places import filesystem
from benchsweep.records import Measurement, SMatrix, Specimen, balanced_ports

GRID = np.linspace(1e6, 250e6, 40)
KEYS = {
    "AWS_ACCESS_KEY_ID": "invented",
    "AWS_SECRET_ACCESS_KEY": "invented",
    "AWS_DEFAULT_REGION": "us-east-1",
    "AWS_EC2_METADATA_DISABLED": "true",
    "AWS_CONFIG_FILE": os.devnull,
    "AWS_SHARED_CREDENTIALS_FILE": os.devnull,
}
SERVER = """
import sys, threading
from moto.server import ThreadedMotoServer
server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
server.start()
print(server.get_host_and_port()[1], flush=True)
sys.stdin.read()
"""
ROOT = "s3://bench-archive/2026"


def cord(number: int, loss_db: float) -> Measurement:
    """Sixteen legs that reflect 60 dB down and go straight through with a flat loss; no crosstalk."""
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    s = np.zeros((GRID.size, 16, 16), complex)
    through = 10 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * GRID * 10e-9)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = through
    for k in range(16):
        s[:, k, k] = 1e-3 * np.exp(1j * number)
    return Measurement(
        specimen=Specimen(f"cord {number}", 2.0),
        created_at=f"2026-01-{number:02d}T00:00:00Z",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(GRID, s, legs, (50.0,) * 16),
    )


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Start the store and return its address."""
    program = [sys.executable, "-c", SERVER]
    with subprocess.Popen(
        program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        yield f"http://127.0.0.1:{int(process.stdout.readline())}"
        process.stdin.close()
        process.terminate()


@pytest.fixture(scope="module")
def local(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive on the disc: five cords, the last with too much loss; one again in a sub-folder."""
    folder = tmp_path_factory.mktemp("local")
    paths = [archive.write_record(cord(number, 0.05), folder) for number in range(1, 5)]
    archive.write_record(cord(5, 20.0), folder / "reel")
    assert len(paths) == 4
    return folder


def connect(monkeypatch: pytest.MonkeyPatch, endpoint: str, **config: object) -> None:
    """Let commands of this process find the store there."""
    for name, value in {**KEYS, "AWS_ENDPOINT_URL": endpoint}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setitem(fsspec.config.conf, "s3", {"config_kwargs": config} if config else {})
    S3FileSystem.clear_instance_cache()


@pytest.fixture
def store(server: str, local: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The archive in the store."""
    connect(monkeypatch, server)
    system = fsspec.filesystem("s3")
    if not system.exists("bench-archive"):
        system.mkdir("bench-archive")
        for entry in archive.list_files(local):
            system.put_file(str(entry.source), f"bench-archive/2026/{entry.name}")
    yield server
    S3FileSystem.clear_instance_cache()


def test_a_store_named_by_the_environment_is_checked_by_several_processes(store: str) -> None:
    # In a process of its own: fsspec reads FSSPEC_… once, when it is imported.
    environment = {**os.environ, **KEYS, "FSSPEC_S3_ENDPOINT_URL": store}
    del environment["AWS_ENDPOINT_URL"]
    words = ["archive", "check", "--archive", ROOT, "--jobs", "2", "--json", "--quiet"]
    command = [sys.executable, "-m", "benchsweep", *words]
    done = subprocess.run(command, check=False, env=environment, capture_output=True, text=True, timeout=120)
    assert (done.returncode, done.stderr) == (0, "")
    document = json.loads(done.stdout)
    assert (document["records"], document["damaged"], document["findings"]) == (5, [], [])


def test_the_same_records_are_found_and_the_same_verdicts_given_as_on_the_disc(
    store: str, local: Path, run: Callable
) -> None:
    there = run("archive", "find", "--archive", ROOT, "--json")
    here = run("archive", "find", "--archive", local, "--json")
    assert there.code == here.code == 0
    names = [item["record"].removeprefix(f"{ROOT}/") for item in there.json["found"]]
    assert names == [Path(item["record"]).relative_to(local).as_posix() for item in here.json["found"]]
    assert len(names) == 5

    wanted = ("--against", "tia-6-cord", "--json", "--quiet")
    there, here = (run("archive", "regrade", "--archive", root, *wanted) for root in (ROOT, local))
    assert there.code == here.code == 1
    assert there.json["outcomes"] == here.json["outcomes"]
    assert there.json["outcomes"]["fail"] == 1
    assert sum(there.json["outcomes"].values()) == 5


def test_one_record_is_graded_shown_and_checked_by_its_address(
    store: str, local: Path, run: Callable
) -> None:
    name = next(local.glob("reel/*.h5")).name
    url = f"{ROOT}/reel/{name}"
    there = run("grade", url, "--against", "tia-6-cord", "--json")
    here = run("grade", local / "reel" / name, "--against", "tia-6-cord", "--json")
    assert there.code == here.code == 1
    assert there.json.pop("record") == url
    assert {**there.json, "record": 0} == {**here.json, "record": 0}
    shown = run("show", url, "--json")
    assert (shown.code, shown.json["record"]) == (0, url)
    assert run("archive", "check", url).code == 0


def test_a_damaged_record_in_the_store_is_named(store: str, run: Callable) -> None:
    system = fsspec.filesystem("s3")
    path = system.find("bench-archive/2026")[0]
    sound = system.cat_file(path)
    spoiled = bytearray(sound)
    spoiled[len(sound) // 2] ^= 1
    system.pipe_file(path, bytes(spoiled))
    try:
        answer = run("archive", "check", "--archive", ROOT, "--json")
    finally:
        system.pipe_file(path, sound)
    assert answer.code == 6
    (damaged,) = answer.json["damaged"]
    assert damaged["record"] == f"s3://{path}"


def test_nothing_is_written_into_a_store(store: str, run: Callable) -> None:
    answer = run("import", "x.s16p", "--specimen", "c", "--archive", ROOT)
    assert answer.code == 2
    assert "copied to a store" in " ".join(answer.err.replace("│", " ").split())
    assert not Path("s3:").exists()


def test_a_bucket_that_is_not_there_and_keys_that_are_missing(
    store: str, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = run("archive", "check", "--archive", "s3://no-such-bucket")
    assert (answer.code, "nothing of that name" in answer.err) == (6, True)
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.delenv(name)
    S3FileSystem.clear_instance_cache()
    answer = run("archive", "check", "--archive", ROOT)
    assert answer.code == 6
    assert "AWS_ACCESS_KEY_ID" in answer.err


class Between:
    """Stands between a command and the store, and goes after so many answers: closed, or silent."""

    def __init__(self, store: str, *, answers: int, silent: bool) -> None:
        self.target = int(store.rpartition(":")[2])
        self.left = answers
        self.silent = silent
        self.door = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.door.getsockname()[1]}"
        self.open: list[socket.socket] = [self.door]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                asking, _ = self.door.accept()
            except OSError:
                return
            self.open.append(asking)
            threading.Thread(target=self._talk, args=(asking,), daemon=True).start()

    def _talk(self, asking: socket.socket) -> None:
        # What the other side, or this one, has closed meanwhile is no error here.
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.target)) as answering:
            while question := self._bytes(asking):
                if question[:4] in (b"GET ", b"HEAD"):
                    self.left -= 1
                if self.left < 0:
                    if not self.silent:
                        self.close()
                    return
                answering.sendall(question)
                self._answer(asking, answering)

    def _answer(self, asking: socket.socket, answering: socket.socket) -> None:
        head = b""
        while b"\r\n\r\n" not in head:
            head += answering.recv(65536)
        before, _, body = head.partition(b"\r\n\r\n")
        lengths = [line for line in before.lower().split(b"\r\n") if line.startswith(b"content-length:")]
        left = int(lengths[0].partition(b":")[2]) - len(body) if lengths else 0
        asking.sendall(head)
        while left > 0 and (piece := answering.recv(65536)):
            asking.sendall(piece)
            left -= len(piece)

    @staticmethod
    def _bytes(asking: socket.socket) -> bytes:
        try:
            return asking.recv(65536)
        except OSError:
            return b""

    def close(self) -> None:
        for one in self.open:
            one.close()


@pytest.mark.parametrize(
    ("silent", "answers", "command"),
    [
        # The listing, and the first of five records.
        (False, 2, ("archive", "check", "--archive", ROOT, "--jobs", "1")),
        (True, 2, ("archive", "check", "--archive", ROOT, "--jobs", "1")),
        # All that choosing asks for, and some records.
        (False, 9, ("archive", "regrade", "--archive", ROOT, "--against", "tia-6-cord", "--jobs", "1")),
    ],
    ids=["gone", "silent", "gone while grading"],
)
def test_a_store_that_vanishes_in_the_middle_ends_the_command(
    store: str,
    run: Callable,
    monkeypatch: pytest.MonkeyPatch,
    silent: bool,
    answers: int,
    command: tuple[str, ...],
) -> None:
    between = Between(store, answers=answers, silent=silent)
    connect(monkeypatch, between.url, read_timeout=0.4, connect_timeout=0.4)
    began = time.monotonic()
    answer = run(*command)
    between.close()
    assert answer.code == 6
    assert between.left < 0
    assert "the store does not answer" in answer.err
    assert between.url in answer.err
    assert answer.out == ""
    assert time.monotonic() - began < 60.0


def test_without_limits_of_their_own_people_wait_a_minute_at_most(store: str) -> None:
    # Attempts of the client library x attempts around them x wait for each.
    system, _ = filesystem(ROOT)
    waits = system.config_kwargs
    attempts = waits["retries"]["total_max_attempts"] * system.retries
    assert attempts * (waits["connect_timeout"] + waits["read_timeout"]) <= 80
