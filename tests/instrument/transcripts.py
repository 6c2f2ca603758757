"""Conversations with an analyzer: recorded through a proxy, written to a file, played back line by line.

``python tests/instrument/transcripts.py`` records them anew, one file for each command family.
"""

from __future__ import annotations

import base64
import hashlib
import socket
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from benchsweep.errors import NotSupported
from benchsweep.instrument import list_families, open_analyzer, open_link
from benchsweep.records import RawSweep, SweepSegment, SweepSettings
from benchsweep.simulator import BenchOptions, running_bench

FOLDER = Path(__file__).resolve().parent.parent / "data" / "transcripts"
HEAD = """\
# A conversation between the driver and an analyzer of the command family {family}, {ports} ports.
# Recorded from the simulated instrument of this project, not from hardware: it shows what the driver says and
# what it understands, and proves nothing about any real analyzer.
# Lines: ">" sent, "<" received, "=" a received block: bytes, SHA-256 (its first 16 digits), data in base64.
# Questions for the event status register while a sweep runs are kept only where its end was the answer.
"""
MOST_PORTS = {"single-channel": 2}
# Both ends of one pair cross, so that no parameter is the mirror image of another.
LEGS = ("A:12.1", "B:12.2", "A:12.2", "B:36.3")
ASSUMED = ("sense-function",)
LINEAR = SweepSettings(start_hz=1e6, stop_hz=100e6, points=3, if_bandwidth_hz=10e3)
SETTINGS = (
    LINEAR,
    replace(LINEAR, averages=2),
    replace(LINEAR, spacing="logarithmic"),
    SweepSettings(
        None, None, None, if_bandwidth_hz=10e3, spacing="segments",
        segments=(SweepSegment(1e6, 2e6, 2, if_bandwidth_hz=1e3), SweepSegment(10e6, 90e6, 2)),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Exchange:
    """What was sent and, in order, what came back: lines as text, blocks as bytes with their header."""

    sent: str
    received: tuple[str | bytes, ...]


def session(address: str, family: str, ports: int) -> list[RawSweep]:
    """Identify, then set up and sweep in every way that the family has; the whole and two ports alone.

    Those two with their switch terms, where the family has words for them.
    """
    sweeps = []
    told = ports if family in ASSUMED else None
    with open_analyzer(address, ports=told, timeout_s=5.0) as analyzer:
        every = tuple(range(1, analyzer.identity.ports + 1))
        for settings in SETTINGS:
            with suppress(NotSupported):
                analyzer.configure(settings, every)
                sweeps.append(analyzer.sweep(every))
        analyzer.configure(LINEAR, (1, 2))
        both = ((1, 2), (2, 1)) if analyzer.measures_switch_terms else ()
        sweeps.append(analyzer.sweep((1, 2), switch_terms=both))
    return sweeps


# -- recording ---------------------------------------------------------------------------------------------


@dataclass
class Recorder:
    """Stands between a driver and a bench on a TCP port, and writes down what passes."""

    target: int
    heard: list[tuple[str, bytes]] = field(default_factory=list)

    @contextmanager
    def running(self) -> Iterator[str]:
        with socket.create_server(("127.0.0.1", 0)) as listener:
            threading.Thread(target=self._serve, args=(listener,), daemon=True).start()
            yield f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"

    def _serve(self, listener: socket.socket) -> None:
        with suppress(OSError):
            near, _ = listener.accept()
            far = socket.create_connection(("127.0.0.1", self.target))
            threading.Thread(target=self._pass, args=(far, near, "<"), daemon=True).start()
            self._pass(near, far, ">")

    def _pass(self, source: socket.socket, sink: socket.socket, mark: str) -> None:
        with suppress(OSError):
            while data := source.recv(1 << 16):
                self.heard.append((mark, data))
                sink.sendall(data)
            sink.shutdown(socket.SHUT_WR)

    def exchanges(self) -> list[Exchange]:
        """Return the conversation, waiting for the end of a sweep told once."""
        found: list[Exchange] = []
        questions = [item for mark, data in self.heard if mark == ">" for item in data.decode().splitlines()]
        answers = split_answers(b"".join(data for mark, data in self.heard if mark == "<"))
        armed = False
        for sent in questions:
            # In this conversation every message with a question mark is answered by one line or block, but
            # for those that the instrument does not know: the error queue, asked for next, says so.
            received: tuple[str | bytes, ...] = ()
            if "?" in sent and not _unknown(sent, answers):
                received = (answers.pop(0),)
            if sent == "*ESR?" and armed and int(str(received[0])) & 1 == 0:
                continue
            armed = sent == "*OPC" or (armed and sent != "*ESR?")
            found.append(Exchange(sent, received))
        return found


def _unknown(sent: str, answers: list[str | bytes]) -> bool:
    first = answers[0]
    return sent != "SYST:ERR?" and isinstance(first, str) and first.startswith(("-113,", "-114,"))


def split_answers(data: bytes) -> list[str | bytes]:
    """Cut what an instrument sent into lines and blocks (with their headers)."""
    found: list[str | bytes] = []
    while data:
        if data[:1] == b"#":
            digits = int(data[1:2])
            end = 2 + digits + int(data[2 : 2 + digits])
            found.append(data[:end])
            data = data[end + 1 :]
        else:
            line, _, data = data.partition(b"\n")
            found.append(line.decode())
    return found


# -- files -------------------------------------------------------------------------------------------------


def write_transcript(path: Path, exchanges: Iterable[Exchange], *, family: str, ports: int) -> None:
    lines = [HEAD.format(family=family, ports=ports)]
    for exchange in exchanges:
        lines.append(f"> {exchange.sent}\n")
        for item in exchange.received:
            if isinstance(item, str):
                lines.append(f"< {item}\n")
            else:
                digest = hashlib.sha256(item).hexdigest()[:16]
                lines.append(f"= {len(item)} {digest} {base64.b64encode(item).decode()}\n")
    path.write_text("".join(lines), encoding="utf-8")


def read_transcript(path: Path) -> list[Exchange]:
    """Read a file; a block whose data do not fit its length and hash is refused."""
    found: list[Exchange] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        mark, _, rest = line.partition(" ")
        if mark == ">":
            found.append(Exchange(rest, ()))
        elif mark == "<":
            found[-1] = replace(found[-1], received=(*found[-1].received, rest))
        elif mark == "=":
            size, digest, text = rest.split(" ")
            block = base64.b64decode(text)
            if len(block) != int(size) or hashlib.sha256(block).hexdigest()[:16] != digest:
                raise ValueError(f"{path.name}: damaged block of {size} bytes")
            found[-1] = replace(found[-1], received=(*found[-1].received, block))
    return found


# -- playing back ------------------------------------------------------------------------------------------


class Player:
    """Answers as recorded, as long as it is asked as recorded; `parted` says where that ended."""

    def __init__(self, exchanges: Iterable[Exchange]) -> None:
        self._left = list(exchanges)
        self._count = 0
        self.parted = ""

    def __call__(self, line: str) -> list[bytes | float | str]:
        expected = self._left.pop(0) if self._left else None
        self._count += 1
        if expected is None or line != expected.sent:
            recorded = repr(expected.sent) if expected is not None else "the end"
            self.parted = self.parted or f"message {self._count}: {line!r} was sent, recorded is {recorded}"
            return ["close"]
        return [
            item.encode() + b"\n" if isinstance(item, str) else item + b"\n" for item in expected.received
        ]

    @property
    def left(self) -> int:
        """How many recorded messages were not sent."""
        return len(self._left)


def record(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for family in list_families():
        for ports in (2, 4):
            if ports > MOST_PORTS.get(family.name, 4):
                continue
            options = BenchOptions(family=family.name, ports=ports, noiseless=True)
            with running_bench(options) as bench:
                with open_link(bench.address) as link:
                    attached = ",".join(f"{port}={leg}" for port, leg in enumerate(LEGS[:ports], start=1))
                    link.write_checked(f'BENCh:CONNect "{attached}"', doing="attaching a cord")
                recorder = Recorder(int(bench.address.split("::")[2]))
                with recorder.running() as address:
                    session(address, family.name, ports)
                path = folder / f"{family.name}-{ports}.txt"
                write_transcript(path, recorder.exchanges(), family=family.name, ports=ports)


if __name__ == "__main__":
    record(FOLDER)
    sys.stdout.write(f"recorded into {FOLDER}\n")
