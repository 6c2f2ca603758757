"""Who answers at a host: which addresses are tried, what came, and what is said of an unknown instrument."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from benchsweep.errors import InstrumentError, LinkLost, UnknownFamily, UnknownName, UsageError
from benchsweep.qualification import identity_document, info_document, load_station, who_answers

IDN = "Tollmoor Works,Mill Analyzer,7,1.0"
ON_LOOPBACK = pytest.mark.skipif(sys.platform != "linux", reason="needs all of 127.0.0.0/8")


def stranger() -> Callable[[str], list[str]]:
    """Return an instrument that follows IEEE 488.2 and knows nothing else."""
    queue: list[str] = []

    def answer(line: str) -> list[str]:
        word = line.strip().upper()
        if word == "*IDN?":
            return [IDN]
        if word == "*ESR?":
            return ["0"]
        if word == "*CLS":
            queue.clear()
        elif word == "SYST:ERR?":
            return [queue.pop(0) if queue else '0,"No error"']
        elif word:
            queue.append('-113,"Undefined header"')
        return []

    return answer


def silent() -> Callable[[str], list[str]]:
    return lambda _: []


@contextmanager
def listening(host: str, port: int, make: Callable[[], Callable[[str], list[str]]]) -> Iterator[int]:
    """Serve lines at an address."""
    server = socket.create_server((host, port))
    stop = threading.Event()

    def serve(connection: socket.socket) -> None:
        answer = make()
        with connection, connection.makefile("rw", newline="\n") as file:
            for line in file:
                for reply in answer(line):
                    file.write(reply + "\n")
                file.flush()

    def accept() -> None:
        server.settimeout(0.05)
        while not stop.is_set():
            try:
                connection, _ = server.accept()
            except TimeoutError:
                continue
            connection.settimeout(20.0)
            threading.Thread(target=serve, args=(connection,), daemon=True).start()

    thread = threading.Thread(target=accept, daemon=True)
    thread.start()
    try:
        yield server.getsockname()[1]
    finally:
        stop.set()
        thread.join(timeout=5.0)
        server.close()


@pytest.fixture
def host() -> str:
    """Return a loopback address of its own, so that well-known ports are free on it."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    return f"127.9.{port // 256}.{port % 256}"


def ask(where: str, **more: object) -> dict[str, object]:
    found = who_answers(where, **({"family": None, "backend": "@py", "timeout_s": 10.0} | more))  # type: ignore[arg-type]
    return identity_document(found)


def test_an_unknown_instrument_is_an_answer_with_every_question() -> None:
    with listening("127.0.0.1", 0, stranger) as port:
        address = f"TCPIP::127.0.0.1::{port}::SOCKET"
        found = who_answers(address, family=None, backend="@py", timeout_s=10.0)
    assert isinstance(found.unknown, UnknownFamily)
    document = identity_document(found)
    assert (document["idn"], document["family"], document["ports"]) == (IDN, None, None)
    evidence = {item["probe"]: item["answer"] for item in document["evidence"]}
    assert evidence["*IDN?"] == IDN
    assert sum("-113" in answer for answer in evidence.values()) >= 2
    assert [item["came"] for item in document["tried"]] == ["answered"]


@ON_LOOPBACK
def test_a_host_is_tried_at_the_usual_addresses_in_order(host: str) -> None:
    with listening(host, 5025, stranger):
        document = ask(host)
    assert document["address"] == f"TCPIP::{host}::5025::SOCKET"
    first, second = document["tried"]  # type: ignore[misc]
    assert (first["address"], second["address"]) == (
        f"TCPIP::{host}::hislip0::INSTR",
        f"TCPIP::{host}::5025::SOCKET",
    )
    assert "answered" not in first["came"]
    assert second["came"] == "answered"
    assert first["reason"].startswith("First")


@ON_LOOPBACK
def test_nobody_at_a_host_says_what_came_from_each_address(host: str) -> None:
    with pytest.raises(LinkLost) as caught:
        ask(host)
    for part in (f"{host}: no analyzer found", "hislip0", "5025", "inst0"):
        assert part in caught.value.message
    assert caught.value.exit_code == 4
    assert "whole address" in caught.value.hint


def test_a_host_with_a_port_is_a_raw_tcp_port() -> None:
    with listening("127.0.0.1", 0, stranger) as port:
        assert ask(f"127.0.0.1:{port}")["address"] == f"TCPIP::127.0.0.1::{port}::SOCKET"


def test_one_address_that_fails_raises_its_own_error() -> None:
    with (
        listening("127.0.0.1", 0, silent) as port,
        pytest.raises(InstrumentError, match=f"TCPIP::127.0.0.1::{port}::SOCKET"),
    ):
        ask(f"TCPIP::127.0.0.1::{port}::SOCKET", timeout_s=0.3)


@pytest.mark.parametrize("where", ["", "two words", "-x", "bench!7", "[::1]"])
def test_what_is_no_address_is_refused(where: str) -> None:
    with pytest.raises(UsageError):
        ask(where)


def test_a_family_that_does_not_exist_is_told_before_anything_is_asked() -> None:
    with pytest.raises(UnknownName, match="no-such-family"):
        ask("TCPIP::127.0.0.1::9::SOCKET", family="no-such-family")


def test_info_lists_the_families_with_standing_and_survives_a_wrong_one(own_home: object) -> None:
    from pathlib import Path

    Path("families").mkdir()
    Path("families/mill.toml").write_text("schema = 1\n")
    families = {item["name"]: item for item in info_document()["families"]}
    assert families["named-measurement"]["standing"] in ("published", "common-practice", "from-memory")
    assert "missing" in families["mill"]["error"]
    assert Path(families["mill"]["file"]).name == "mill.toml"


@pytest.mark.parametrize("address", ["", "  "])
def test_an_empty_address_is_called_so(address: str) -> None:
    with pytest.raises(UsageError, match=r"^the address is empty$") as caught:
        who_answers(address, family=None, backend="@py", timeout_s=10.0)
    assert "SOCKET" in caught.value.hint
    with pytest.raises(UsageError, match="--address is empty"):
        load_station("simulated").at_address(address)
    with pytest.raises(UsageError, match="--switch-address is empty"):
        load_station("relays-example").at_switch_address(address)
