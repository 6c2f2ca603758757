"""The TCP server round the simulated analyzer, and how it is started and stopped."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import signal
import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchsweep.errors import UnknownName, UsageError
from benchsweep.simulator._bench import Bench
from benchsweep.simulator._bench_definition import load_bench
from benchsweep.simulator._common import BENCH_COMMANDS, COMMON_COMMANDS
from benchsweep.simulator._families import FAMILIES
from benchsweep.simulator._instrument import Instrument
from benchsweep.simulator._messages import ScpiFault
from benchsweep.simulator._specimen import load_specimen

__all__ = ["BenchOptions", "RunningBench", "build_instrument", "running_bench", "serve"]

_log = logging.getLogger(__name__)

_HOST = "127.0.0.1"
_LONGEST_LINE = 1 << 20
_PORT_COUNTS = (2, 4, 8, 16)


@dataclass(frozen=True)
class BenchOptions:
    """Which bench to serve.

    Parameters
    ----------
    bench, specimen, family
        Names; bench and specimen may be paths.
    ports
        Number of analyzer ports: 2, 4, 8 or 16.
    noiseless
        No noise and no drift; the error terms stay.
    port
        TCP port; 0 takes a free one.
    seed
        Seed of everything that is random.
    """

    bench: str = "default"
    specimen: str = "cord-2m"
    family: str = "named-measurement"
    ports: int = 16
    noiseless: bool = False
    port: int = 0
    seed: int = 1


@dataclass(frozen=True)
class RunningBench:
    """A bench that answers.

    Parameters
    ----------
    announcement
        The document ``benchsweep.bench/1``.
    address
        VISA address of the analyzer.
    """

    announcement: Mapping[str, Any]
    address: str


def build_instrument(options: BenchOptions) -> Instrument:
    """Return the instrument that `options` describe.

    Raises
    ------
    UnknownName, UsageError, DefinitionError, DataFileError
    """
    if options.family not in FAMILIES:
        raise UnknownName(
            f"no simulated command family named {options.family!r}; there are: {', '.join(FAMILIES)}",
            hint="Give one of these families.",
        )
    if options.ports not in _PORT_COUNTS:
        raise UsageError(
            f"a simulated analyzer with {options.ports} ports: there are {', '.join(map(str, _PORT_COUNTS))}",
            hint="Give one of these numbers of ports.",
        )
    family = FAMILIES[options.family]
    if options.ports not in family.ports:
        raise UsageError(
            f"a simulated analyzer of the family {options.family} with {options.ports} ports:"
            f" there are {', '.join(map(str, family.ports))}",
            hint="Give one of these numbers of ports, or another family.",
        )
    if options.seed < 0:
        raise UsageError(f"seed {options.seed}: a seed is not negative", hint="Give 0 or a positive number.")
    definition = load_bench(options.bench)
    device = load_specimen(options.specimen, seed=options.seed)
    bench = Bench(
        definition,
        ports=options.ports,
        seed=options.seed,
        noiseless=options.noiseless,
        device=device,
        specimen=options.specimen,
    )
    fingerprint = definition.fingerprint(options.ports, options.seed)
    # The family's own commands first: it may spell a general one in its own way.
    tables = (*family.tables, COMMON_COMMANDS, BENCH_COMMANDS)
    return Instrument(bench, tables, f"{definition.name}-{options.seed}-{fingerprint}", family.style)


class _Server:
    """Serves one instrument to any number of connections."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._connections: set[asyncio.Task[None]] = set()

    async def run(self, port: int, ready: Callable[[int], None], stop: asyncio.Event) -> None:
        """Serve on `port` until `stop` is set; `ready` is told the port.

        Raises
        ------
        UsageError
            The port cannot be used.
        """
        try:
            server = await asyncio.start_server(self._accept, _HOST, port, limit=_LONGEST_LINE)
        except (OSError, OverflowError) as error:
            raise UsageError(
                f"TCP port {port} on {_HOST} cannot be used: {error}",
                hint="Give another port, or 0 for a free one.",
            ) from error
        try:
            ready(server.sockets[0].getsockname()[1])
            await stop.wait()
        finally:
            server.close()
            self._instrument.forget_completion()
            await self._instrument.abort()
            for task in tuple(self._connections):
                task.cancel()
            await asyncio.gather(*self._connections, return_exceptions=True)

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.get_running_loop().create_task(self._talk(reader, writer))
        self._connections.add(task)
        task.add_done_callback(self._connections.discard)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        link = writer.get_extra_info("socket")
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            await self._converse(reader, writer)
        except (ConnectionError, TimeoutError):
            _log.debug("a client went away")
        except asyncio.CancelledError:
            # A client that does not read must not hold up the end of the bench.
            writer.transport.abort()
            raise
        finally:
            writer.close()
            with contextlib.suppress(ConnectionError, asyncio.CancelledError):
                await writer.wait_closed()

    async def _converse(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        session = object()
        while True:
            try:
                line = await reader.readuntil(b"\n")
            except asyncio.IncompleteReadError:
                return
            except asyncio.LimitOverrunError:
                self._instrument.status.report(ScpiFault(-363))
                await _skip_line(reader)
                continue
            reply = await self._instrument.execute(line[:-1].removesuffix(b"\r").decode("latin-1"), session)
            if reply.data:
                writer.write(reply.data)
                await writer.drain()
            if reply.close:
                return


async def _skip_line(reader: asyncio.StreamReader) -> None:
    """Drop what belongs to a line that is too long."""
    while True:
        try:
            await reader.readuntil(b"\n")
        except asyncio.LimitOverrunError as error:
            await reader.readexactly(max(error.consumed, 1))
        except asyncio.IncompleteReadError:
            return
        else:
            return


def _announcement(options: BenchOptions, port: int) -> dict[str, Any]:
    return {
        "schema": "benchsweep.bench/1",
        "addresses": {"analyzer": f"TCPIP::{_HOST}::{port}::SOCKET"},
        "bench": options.bench,
        "specimen": options.specimen,
        "family": options.family,
        "ports": options.ports,
        "seed": options.seed,
        "noiseless": options.noiseless,
    }


async def _serve(
    options: BenchOptions, ready: Callable[[int], None], stopper: Callable[[asyncio.Event], None]
) -> None:
    stop = asyncio.Event()
    stopper(stop)
    await _Server(build_instrument(options)).run(options.port, ready, stop)


@contextlib.contextmanager
def running_bench(options: BenchOptions) -> Iterator[RunningBench]:
    """Serve a bench from a background thread for the length of the ``with`` block.

    Raises
    ------
    UnknownName, UsageError, DefinitionError, DataFileError
        The options describe no bench, or the TCP port cannot be used.
    """
    begun = threading.Event()
    port: list[int] = []
    failure: list[BaseException] = []
    control: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = []

    def ready(number: int) -> None:
        port.append(number)
        begun.set()

    def stopper(stop: asyncio.Event) -> None:
        control.append((asyncio.get_running_loop(), stop))

    def body() -> None:
        try:
            asyncio.run(_serve(options, ready, stopper))
        except BaseException as error:  # noqa: BLE001 - handed to the thread that waits
            failure.append(error)
        finally:
            begun.set()

    thread = threading.Thread(target=body, name="simulated bench", daemon=True)
    thread.start()
    begun.wait()
    try:
        if not port:
            raise failure[0]
        announcement = _announcement(options, port[0])
        yield RunningBench(announcement, announcement["addresses"]["analyzer"])
    finally:
        if control and thread.is_alive():
            loop, stop = control[0]
            with contextlib.suppress(RuntimeError):  # the loop has just closed by itself
                loop.call_soon_threadsafe(stop.set)
        thread.join()
    if failure:
        raise failure[0]


def serve(options: BenchOptions, announce: Callable[[dict[str, Any]], None]) -> None:
    """Serve a bench until SIGINT or SIGTERM, then stop cleanly. To be called from the main thread.

    Parameters
    ----------
    announce
        Called once with the document ``benchsweep.bench/1`` when the bench answers.

    Raises
    ------
    UnknownName, UsageError, DefinitionError, DataFileError
    """

    def stopper(stop: asyncio.Event) -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            try:
                loop.add_signal_handler(number, stop.set)
            except NotImplementedError:  # no such handlers in the loops of some systems
                signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop.set))

    asyncio.run(_serve(options, lambda port: announce(_announcement(options, port)), stopper))
