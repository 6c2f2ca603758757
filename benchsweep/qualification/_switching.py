"""From the keys of a station to the switch that makes its hookups."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from benchsweep import calibration
from benchsweep.acquisition import (
    PersonSwitch,
    RelaySwitch,
    SimulatedSwitch,
    Switch,
    make_calibration_plan,
)
from benchsweep.errors import UsageError
from benchsweep.instrument import Link, open_relays
from benchsweep.qualification._alone import alone_with
from benchsweep.qualification._places import Places
from benchsweep.qualification._station import Station
from benchsweep.records import Hookup, Plan, balanced_ports

__all__ = [
    "Prompt",
    "calibration_plan",
    "check_plan",
    "check_switch",
    "open_switch",
    "refuse_no_matrix",
    "refuse_nobody",
]

Prompt = Callable[[str], str]
"""Shows words to a person and returns what the person typed."""


def refuse_nobody(station: Station, prompt: Prompt | None) -> None:
    """Refuse a station where a person is needed and nobody can be asked.

    Raises
    ------
    UsageError
    """
    keys = station.switch
    if prompt is not None or keys.kind == "simulated" or (keys.kind, keys.standards) == ("relays", "relays"):
        return
    does = "makes the connections" if keys.kind == "person" else "places the calibration standards"
    raise UsageError(
        f"station {station.name}: a person {does}, and there is nobody to ask",
        hint="Run the command in a terminal.",
    )


def refuse_no_matrix(station: Station) -> None:
    """Refuse a station whose relay matrix has no address.

    Raises
    ------
    UsageError
    """
    if station.switch.kind == "relays" and not station.switch.address:
        raise UsageError(
            f"station {station.name}: no address of the relay matrix",
            hint="Put `address` under [switch] in the station file or give --switch-address.",
        )


def calibration_plan(
    station: Station,
    places: Places,
    *,
    kit: calibration.Kit | None = None,
    method: calibration.Method | None = None,
) -> Plan:
    """Return the hookups of a calibration; standards wired to relays serve one port at a time.

    Parameters
    ----------
    kit, method
        The station's own when None.

    Raises
    ------
    HookupImpossible
        Fewer than two ports.
    UnknownName, DefinitionError
        No such kit or method, or the kit lacks a standard that the method needs.
    UsageError
        The method is one for a single port, and the fixture has more.
    """
    keys = station.switch
    needed = calibration.needed_standards(
        kit or calibration.load_kit(station.calibration.kit), method or station.calibration.method
    )
    if not needed.two_port and len(places.ports) > 1:
        raise UsageError(
            f"a calibration of one port at a time does not join the {len(places.ports)} analyzer ports of "
            "the fixture",
            hint="Choose a method with a thru: short-open-load-thru, or unknown-thru.",
        )
    return make_calibration_plan(
        places.ports,
        one_port=needed.one_port,
        two_port=needed.two_port,
        taps=places.taps,
        one_at_a_time=keys.kind == "relays" and keys.standards == "relays",
    )


def check_switch(station: Station, places: Places) -> None:
    """Raise unless the relays of a station reach all that its plans need; other switches reach everything.

    Raises
    ------
    DefinitionError
        Names the ways that are missing.
    HookupImpossible
        Fewer than two places for a balanced port.
    """
    if station.switch.kind == "relays":
        station.switch.routes().check(_needed(station, places), where=f"station {station.called}")


def check_plan(station: Station, plan: Plan) -> None:
    """Raise unless the relays of a station reach all that `plan` attaches; other switches reach everything.

    Raises
    ------
    DefinitionError
        Names the ways that are missing.
    """
    if station.switch.kind == "relays":
        station.switch.routes().check(plan.hookups, where=f"station {station.called}")


@contextmanager
def open_switch(
    station: Station, places: Places, *, link: Callable[[], Link], prompt: Prompt | None
) -> Iterator[tuple[Switch, str]]:
    """Make the switch of `station` ready.

    Parameters
    ----------
    places
        Where balanced ports can be attached.
    link
        Gives the present link to the analyzer.
    prompt
        Asks a person; None where nobody is there.

    Returns
    -------
    The switch, and in words what a calibration through it is bound to: empty but for relays.

    Raises
    ------
    UsageError, DefinitionError, InstrumentError
    """
    refuse_nobody(station, prompt)
    if station.switch.kind == "simulated":
        yield SimulatedSwitch(link), ""
        return
    if station.switch.kind == "person" and prompt is not None:
        yield PersonSwitch(prompt), ""
        return
    with alone_with(station.switch.address, what="relay matrix"):
        switch = _relays(station, places, prompt)
        try:
            needed = _needed(station, places)
            reached = f"relay matrix {switch.idn}, map {station.switch.routes().digest(needed)}"
            if station.switch.standards == "person":
                reached += ", standards by hand"
            yield switch, reached
        finally:
            switch.close()


def _relays(station: Station, places: Places, prompt: Prompt | None) -> RelaySwitch:
    keys = station.switch
    check_switch(station, places)
    attached = _places(places)
    person = None
    if keys.standards == "person" and prompt is not None:
        where = "; ".join(f"analyzer port {port} to {leg}" for port, leg in attached.items())
        person = PersonSwitch(
            prompt, note=f"Put the standards where the relay matrix leads the analyzer ports: {where}."
        )
    return RelaySwitch(
        lambda: open_relays(keys.address, backend=keys.backend, timeout_s=keys.timeout_s),
        keys.routes(),
        ports=places.ports,
        settle_s=keys.settle_s,
        standards=person,
        places=attached,
    )


def _needed(station: Station, places: Places) -> tuple[Hookup, ...]:
    """Return every hookup that the relays must be able to make."""
    specimen = places.plan(balanced_ports()).hookups
    if station.switch.standards == "person":
        return specimen
    return (*specimen, *calibration_plan(station, places).hookups)


def _places(places: Places) -> dict[int, str]:
    """Return where each analyzer port ends when a person places the standards: as in the first hookup."""
    return dict(places.plan(balanced_ports()).hookups[0].connections)
