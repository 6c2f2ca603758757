"""Open the bench of a station; start the embedded one where the station is simulated."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.cli._output import ask_person, say

if TYPE_CHECKING:
    from benchsweep.qualification import Bench, Station

__all__ = ["address_of", "bench_of"]

_DEFAULT_SPECIMEN = "cord-2m"


@contextmanager
def address_of(
    station: Station, *, specimen: str | None, progress: Callable[[str], None]
) -> Iterator[Station]:
    """Give `station` with an address, starting the embedded bench when it is the simulated one without any.

    `specimen` is put into the embedded bench when it names a shipped simulated specimen or a file.
    """
    if not station.starts_own_bench:
        yield station
        return
    from benchsweep.simulator import BenchOptions, list_specimens, running_bench

    held = _DEFAULT_SPECIMEN
    if specimen is not None and (specimen in list_specimens() or _is_specimen_file(specimen)):
        held = specimen
    with running_bench(BenchOptions(specimen=held)) as bench:
        progress(f"embedded bench at {bench.address}, holding the simulated specimen {held}")
        yield station.at_address(bench.address)


def _is_specimen_file(name: str) -> bool:
    path = Path(name)
    suffix = path.suffix.lower()
    return path.is_file() and (suffix == ".toml" or (suffix.startswith(".s") and suffix.endswith("p")))


@contextmanager
def bench_of(
    station_name: str, address: str | None, *, specimen: str | None = None, progress: Callable[[str], None]
) -> Iterator[Bench]:
    """Load a station, open its bench, show the cautions where a person makes the connections."""
    from benchsweep.qualification import CAUTIONS, load_station, open_bench

    station = load_station(station_name).at_address(address)
    with address_of(station, specimen=specimen, progress=progress) as ready:
        if ready.switch.kind == "person":
            # Also with --quiet: these are not progress.
            say("Before you touch a port:")
            for caution in CAUTIONS:
                say(textwrap.fill(f"  - {caution}", 79, subsequent_indent="    "))
        with open_bench(ready, prompt=ask_person()) as bench:
            progress(f"analyzer: {bench.analyzer.identity.idn} ({bench.analyzer.identity.family})")
            yield bench
