"""Open the bench of a station; start the embedded one where the station is simulated."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.cli._output import ask_person, person_is_there, read_line, say, say_wrapped
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.qualification import Bench, Station
    from benchsweep.records import SafetyConfirmation

__all__ = ["address_of", "bench_of", "confirm_cautions"]

_DEFAULT_SPECIMEN = "cord-2m"
_REFUSALS = ("no", "stop", "quit", "exit")
_NO_NAMES = ("y", "yes", "n", "ok", "?", "help")


@contextmanager
def address_of(
    station: Station, *, specimen: str | None, progress: Callable[[str], None]
) -> Iterator[Station]:
    """Give `station` with an address, starting the embedded bench when it is the simulated one without any.

    `specimen` is put into the embedded bench when it names a shipped simulated specimen, a reel of a
    simulated production or a file.
    """
    if not station.starts_own_bench:
        yield station
        return
    from benchsweep.simulator import BenchOptions, is_reel, list_specimens, running_bench

    held = _DEFAULT_SPECIMEN
    known = specimen is not None and (specimen in list_specimens() or is_reel(specimen))
    if specimen is not None and (known or _is_specimen_file(specimen)):
        held = specimen
    keys = station.simulated
    options = BenchOptions(bench=keys.bench, specimen=held, family=keys.family, ports=keys.ports)
    with running_bench(options) as bench:
        progress(f"embedded bench at {bench.address}, holding the simulated specimen {held}")
        yield station.at_own_bench(bench.address)


def _is_specimen_file(name: str) -> bool:
    path = Path(name)
    suffix = path.suffix.lower()
    return path.is_file() and (suffix == ".toml" or (suffix.startswith(".s") and suffix.endswith("p")))


def confirm_cautions(
    station: Station, *, operator: str = "", cautions_read_by: str | None = None, bundle: bool = False
) -> SafetyConfirmation | None:
    """Show the cautions in full and have them confirmed, before an instrument is touched.

    Parameters
    ----------
    station
        Where hookups will be made. On the simulated bench nobody can be hurt: nothing is shown.
    operator
        Who measures; asked for when empty.
    cautions_read_by
        Who has confirmed already, from the command line; then nothing is asked.
    bundle
        Other cables lie beside the specimen.

    Returns
    -------
    The confirmation; None on the simulated bench.

    Raises
    ------
    UsageError
        Refused, or there is nobody to ask and no name was given.
    KeyboardInterrupt
        Stopped while being asked.
    """
    from benchsweep.qualification import cautions_for, confirmed_cautions

    if station.switch.kind == "simulated":
        return None
    if cautions_read_by is None and not person_is_there():
        raise UsageError(
            f"station {station.name}: the cautions must be confirmed before the first hookup, and there is "
            "nobody to ask",
            hint="Run the command in a terminal, or give --cautions-read-by with the name of who read them.",
        )
    # Also with --quiet: these are not progress.
    say("Before anybody touches a port:")
    say_wrapped([f"  - {caution}" for caution in cautions_for(bundle=bundle)])
    by = cautions_read_by if cautions_read_by is not None else _confirmed_in_terminal(station, operator)
    return confirmed_cautions(by, bundle=bundle)


def _confirmed_in_terminal(station: Station, operator: str) -> str:
    by = operator.strip() or _name_in_terminal()
    while by:
        answer = read_line(f"  {by}: have you read this and done it? Type yes or no: ")
        word = "no" if answer is None else answer.strip().lower()
        if word == "yes":
            return by
        if word in _REFUSALS:
            break
        say("  Type the whole word: yes when you have read it and done it, no to end here.")
    raise UsageError(
        f"station {station.name}: the cautions were not confirmed, so nothing was measured",
        hint="Make the bench safe, then start the command again.",
    )


def _name_in_terminal() -> str:
    """Return the name that was typed; empty when the person would rather stop."""
    while (answer := read_line("  Your name: ")) is not None:
        name = answer.strip()
        if name.lower() in _REFUSALS:
            break
        if name and name.lower() not in _NO_NAMES and name.isprintable():
            return name
        say("  A name is needed: it goes into the record. Type it in printable characters; stop ends here.")
    return ""


@contextmanager
def bench_of(
    station_name: str,
    address: str | None,
    *,
    specimen: str | None = None,
    progress: Callable[[str], None],
    operator: str = "",
    cautions_read_by: str | None = None,
    switch_address: str | None = None,
    bundle: bool = False,
) -> Iterator[Bench]:
    """Load a station, have the cautions confirmed, open its bench.

    Parameters
    ----------
    station_name, address, switch_address
        The station, and addresses that override its file.
    specimen
        What the embedded bench shall hold, see `address_of`.
    progress
        Gets lines on what happens.
    operator, cautions_read_by, bundle
        See `confirm_cautions`.
    """
    from benchsweep.qualification import check_station, load_station, open_bench

    station = load_station(station_name).at_address(address).at_switch_address(switch_address)
    with address_of(station, specimen=specimen, progress=progress) as ready:
        prompt = ask_person()
        check_station(ready, prompt=prompt)  # before anybody is asked for anything
        safety = confirm_cautions(ready, operator=operator, cautions_read_by=cautions_read_by, bundle=bundle)
        with open_bench(ready, prompt=prompt, safety=safety, progress=progress) as bench:
            progress(f"analyzer: {bench.analyzer.identity.idn} ({bench.analyzer.identity.family})")
            if bench.relays:
                progress(f"switch: {bench.relays}")
            yield bench
