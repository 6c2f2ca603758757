"""How often something was attached at each port of a fixture, and when that is too often."""

from __future__ import annotations

import re
from collections.abc import Sequence

from benchsweep.acquisition import Done, Move, Switch
from benchsweep.archive import MatingCounters
from benchsweep.definitions import data_folder
from benchsweep.errors import FixtureError, UsageError
from benchsweep.fixture import Fixture
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._station import Station
from benchsweep.records import Hookup

__all__ = ["count_matings", "counters_of", "counting_switch", "mated_ports", "refuse_worn", "renew_ports"]

_ALL = "all"


def counters_of(station: Station, fixture: Fixture) -> MatingCounters:
    """Return the mating counters of that fixture at that station, in the person's data folder."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", f"{station.name}--{fixture.name}")
    return MatingCounters(data_folder() / "matings" / f"{name}.txt")


def _wears(station: Station) -> bool:
    """Return whether matings count: not on a bench of this run's own; simulated ones only with [wear]."""
    return station.shared and (station.switch.kind != "simulated" or "wear" in station.model_fields_set)


def mated_ports(station: Station, previous: Hookup | None, hookup: Hookup) -> tuple[int, ...]:
    """Return the analyzer ports at which `hookup` attaches something else than `previous` left there.

    Before the first hookup of a run nothing is known, so every port counts. Relays touch no contact: with
    them only what a person puts on counts.
    """
    if station.switch.kind == "relays" and (
        station.switch.standards != "person" or any(":" in target for target in hookup.connections.values())
    ):
        return ()
    before = {} if previous is None else previous.connections
    return tuple(port for port, target in hookup.connections.items() if before.get(port) != target)


def refuse_worn(station: Station, fixture: Fixture, previous: Hookup | None, hookup: Hookup) -> None:
    """Refuse to attach anything at a port that has reached the last mating that the station allows.

    Raises
    ------
    FixtureError
        Names the ports; nothing was counted.
    ArchiveError
        The counters cannot be read.
    """
    if not _wears(station):
        return
    counts = counters_of(station, fixture).counts()
    worn = [
        port for port in mated_ports(station, previous, hookup) if counts.get(port, 0) >= station.wear.stop_at
    ]
    if worn:
        listed = ", ".join(f"port {port}: {counts[port]}" for port in worn)
        raise FixtureError(
            f"fixture {fixture.name} of station {station.name}: contacts worn out ({listed} matings, allowed "
            f"are {station.wear.stop_at})",
            hint=f"Renew the contacts there, then tell it: benchsweep verify --station {station.called} "
            f"--renewed {worn[0]} (or all).",
        )


def count_matings(
    station: Station, fixture: Fixture, previous: Hookup | None, hookup: Hookup
) -> tuple[str, ...]:
    """Count what `hookup` attaches anew at each port.

    On a bench of this run's own nothing is counted, nor on a simulated one whose station has no ``[wear]``.

    Call it when the connections stand and before they are swept: a killed run has counted them.

    Parameters
    ----------
    previous
        The hookup before in the same run; None before the first.

    Returns
    -------
    One warning for the ports that have reached the number at which the station warns; or none.

    Raises
    ------
    FixtureError
        A port has reached the last mating that the station allows; see `refuse_worn`.
    ArchiveError
        The counters cannot be read or written.
    """
    if not _wears(station):
        return ()
    refuse_worn(station, fixture, previous, hookup)
    mated = mated_ports(station, previous, hookup)
    if not mated:
        return ()
    counts = counters_of(station, fixture).add(mated)
    tired = [port for port in mated if counts[port] >= station.wear.warn_at]
    if not tired:
        return ()
    most = max(counts[port] for port in tired)
    return (
        f"fixture port {', '.join(map(str, tired))}: up to {most} matings, renewing is due from "
        f"{station.wear.warn_at} on and nothing is attached any more at {station.wear.stop_at}",
    )


def renew_ports(
    station: Station, fixture: Fixture, ports: Sequence[str], known: Sequence[int]
) -> dict[int, int]:
    """Begin to count anew at `ports` (numbers, or ``all``); return port -> matings then.

    Parameters
    ----------
    known
        The analyzer ports that the fixture has.

    Raises
    ------
    UsageError
        No such port.
    ArchiveError
    """
    wanted = sorted(known) if _ALL in ports else sorted({_port(text, known) for text in ports})
    return counters_of(station, fixture).renew(wanted, at=utc_now())


def _port(text: str, known: Sequence[int]) -> int:
    if not (text.isascii() and text.isdigit() and int(text) in known):
        raise UsageError(
            f"--renewed {text}: the fixture has no such analyzer port",
            hint=f"There are {', '.join(map(str, sorted(known)))}; or give all.",
        )
    return int(text)


def counting_switch(bench: Bench, progress: Progress) -> Switch:
    """Return the switch of `bench` as one that counts what it attaches; see `count_matings`."""
    return _CountingSwitch(bench, progress) if _wears(bench.station) else bench.switch


class _CountingSwitch:
    """The switch of a bench; worn ports are refused before anything is moved, matings counted afterwards."""

    def __init__(self, bench: Bench, progress: Progress) -> None:
        self._bench = bench
        self._progress = progress
        self._before: Hookup | None = None
        self._warned: set[str] = set()

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        station, fixture = self._bench.station, self._bench.fixture
        refuse_worn(station, fixture, self._before, hookup)
        move = self._bench.switch.connect(hookup, total=total)
        if isinstance(move, Done):
            for words in count_matings(station, fixture, self._before, hookup):
                ports = words.partition(":")[0]
                if ports not in self._warned:  # once for each set of ports, not for each hookup
                    self._warned.add(ports)
                    self._progress(f"note: {words}")
            self._before = hookup
        return move

    def restore(self, hookup: Hookup) -> None:
        self._bench.switch.restore(hookup)

    def confirm(self, hookup: Hookup) -> None:
        self._bench.switch.confirm(hookup)

    def finished(self, *, total: int) -> Move:
        return self._bench.switch.finished(total=total)
