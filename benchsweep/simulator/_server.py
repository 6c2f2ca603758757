"""The bench as a whole: its devices, their listeners, and how it is started and stopped."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchsweep.errors import UnknownName, UsageError
from benchsweep.simulator._bench_commands import BENCH_COMMANDS
from benchsweep.simulator._relay_matrix import RelayMatrix
from benchsweep.simulator.analyzer import ANALYZER_COMMANDS, Instrument
from benchsweep.simulator.bench import Bench, load_bench
from benchsweep.simulator.doors import HOST, Door, HislipDoor, StreamDoor, Vxi11Door
from benchsweep.simulator.families import FAMILIES
from benchsweep.simulator.scpi import COMMON_COMMANDS, FAULT_COMMANDS
from benchsweep.simulator.specimen import load_specimen

__all__ = ["BenchOptions", "RunningBench", "list_families", "running_bench", "serve"]

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
        TCP port of the analyzer's raw socket; 0 takes a free one. All other listeners take free ones.
    seed
        Seed of everything that is random.
    relays
        The closures of the relay matrix decide what is attached to the analyzer's ports, not
        ``BENCh:CONNect``. The matrix is served in either case.
    """

    bench: str = "default"
    specimen: str = "cord-2m"
    family: str = "named-measurement"
    ports: int = 16
    noiseless: bool = False
    port: int = 0
    seed: int = 1
    relays: bool = False


@dataclass(frozen=True)
class RunningBench:
    """A bench that answers.

    Parameters
    ----------
    announcement
        The document ``benchsweep.bench/1``.
    address
        VISA address of the analyzer, of its raw socket.
    addresses
        VISA addresses: ``analyzer``, ``hislip`` and ``vxi11`` of the one analyzer, ``relays``.
    """

    announcement: Mapping[str, Any]
    address: str
    addresses: Mapping[str, str]


def list_families() -> Mapping[str, tuple[int, ...]]:
    """Return the command families that the analyzer can speak, with the numbers of ports of each."""
    return {name: family.ports for name, family in FAMILIES.items()}


def build_devices(options: BenchOptions) -> tuple[Instrument, RelayMatrix]:
    """Return the analyzer and the relay matrix that `options` describe.

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
    identity = f"{definition.name}-{options.seed}-{definition.fingerprint(options.ports, options.seed)}"
    # The family's own commands first: it may spell a general one in its own way.
    tables = (*family.tables, COMMON_COMMANDS, FAULT_COMMANDS, ANALYZER_COMMANDS, BENCH_COMMANDS)
    return (
        Instrument(bench, tables, identity, family.style),
        RelayMatrix(bench, decides=options.relays, identity=identity),
    )


class _Bench:
    """A bench with all its listeners."""

    def __init__(self, options: BenchOptions) -> None:
        self._options = options
        self._analyzer, self._relays = build_devices(options)
        self._doors: list[Door] = []

    async def run(self, ready: Callable[[dict[str, Any]], None], stop: asyncio.Event) -> None:
        """Serve until `stop` is set; `ready` is told the announcement.

        Raises
        ------
        UsageError
            A port cannot be used.
        """
        try:
            ready(_announcement(self._options, await self._open()))
            await stop.wait()
        finally:
            for device in (self._analyzer, self._relays):
                device.forget_completion()
                await device.abort()
            for door in self._doors:
                await door.close()

    async def _open(self) -> dict[str, str]:
        addresses = {}
        for key, door, port, address in (
            ("analyzer", StreamDoor(self._analyzer), self._options.port, "TCPIP::{host}::{port}::SOCKET"),
            ("hislip", HislipDoor(self._analyzer), 0, "TCPIP::{host}::hislip0,{port}::INSTR"),
            ("vxi11", Vxi11Door(self._analyzer), 0, "TCPIP::{host},{port}::inst0::INSTR"),
            ("relays", StreamDoor(self._relays), 0, "TCPIP::{host}::{port}::SOCKET"),
        ):
            addresses[key] = address.format(host=HOST, port=await door.open(port))
            self._doors.append(door)
        return addresses


def _announcement(options: BenchOptions, addresses: Mapping[str, str]) -> dict[str, Any]:
    return {
        "schema": "benchsweep.bench/1",
        "addresses": dict(addresses),
        "bench": options.bench,
        "specimen": options.specimen,
        "family": options.family,
        "ports": options.ports,
        "seed": options.seed,
        "noiseless": options.noiseless,
        "relays": options.relays,
    }


async def _serve(
    options: BenchOptions,
    ready: Callable[[dict[str, Any]], None],
    stopper: Callable[[asyncio.Event], None],
) -> None:
    stop = asyncio.Event()
    stopper(stop)
    await _Bench(options).run(ready, stop)


@contextlib.contextmanager
def running_bench(options: BenchOptions) -> Iterator[RunningBench]:
    """Serve a bench from a background thread for the length of the ``with`` block.

    Raises
    ------
    UnknownName, UsageError, DefinitionError, DataFileError
        The options describe no bench, or the TCP port cannot be used.
    """
    begun = threading.Event()
    announced: list[dict[str, Any]] = []
    failure: list[BaseException] = []
    control: list[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = []

    def ready(announcement: dict[str, Any]) -> None:
        announced.append(announcement)
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
        if not announced:
            raise failure[0]
        addresses = announced[0]["addresses"]
        yield RunningBench(announced[0], addresses["analyzer"], addresses)
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

    asyncio.run(_serve(options, announce, stopper))
