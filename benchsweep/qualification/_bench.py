"""Open the bench of a station: analyzer, switch, fixture; find a calibration that may be used."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive, calibration, fixture
from benchsweep.acquisition import Switch
from benchsweep.definitions import find_definition
from benchsweep.errors import ArchiveError, CalibrationError, CalibrationMissing, UsageError
from benchsweep.instrument import Analyzer, load_family
from benchsweep.qualification._alone import alone_with
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._places import Places
from benchsweep.qualification._power import noting_power_cuts, refuse_older
from benchsweep.qualification._set_up import set_up_analyzer
from benchsweep.qualification._station import Station
from benchsweep.qualification._switching import (
    Prompt,
    check_switch,
    open_switch,
    refuse_no_matrix,
    refuse_nobody,
)
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.records import Calibration, SafetyConfirmation, SweepSettings

__all__ = [
    "BUNDLE_CAUTION",
    "CAUTIONS",
    "Bench",
    "Progress",
    "Prompt",
    "cautions_for",
    "check_station",
    "confirmed_cautions",
    "find_calibration",
    "open_bench",
]

Progress = Callable[[str], None]

CAUTIONS: tuple[str, ...] = (
    "Disconnect the specimen from all live equipment and confirm with a meter that no voltage is present "
    "(power over cabling, ringing, test voltages) before a port is touched.",
    "Keep within the damage level of the analyzer; wear and check the wrist strap: its ports are sensitive "
    "to electrostatic discharge.",
    "Reels are heavy: lift with help or with a hoist.",
    "Local rules and licensed practice come first.",
)
"""What a person must have read before the first hookup on real hardware."""

BUNDLE_CAUTION = (
    "Of a bundle this holds for every cable: disconnect both ends of all of them from live equipment, and "
    "put a termination on every contact that no analyzer port is on."
)
"""What comes in addition where other cables lie beside the specimen."""

_LONGEST_NAME = 100
_AND = "; "


def _nothing(_: str) -> None:
    return None


def cautions_for(*, bundle: bool) -> tuple[str, ...]:
    """Return the cautions; those for a bundle where other cables lie beside the specimen."""
    return (*CAUTIONS, BUNDLE_CAUTION) if bundle else CAUTIONS


def confirmed_cautions(by: str, *, bundle: bool = False) -> SafetyConfirmation:
    """Return the confirmation, dated now, that `by` read the cautions, those for a `bundle` too.

    Raises
    ------
    UsageError
        That is no name.
    """
    name = by.strip()
    if not name or not name.isprintable() or len(name) > _LONGEST_NAME:
        raise UsageError(
            f"{by[:40]!r} is no name of a person who read the cautions",
            hint=f"Give a name in printable characters, {_LONGEST_NAME} at most.",
        )
    return SafetyConfirmation(name, utc_now(), cautions_for(bundle=bundle))


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """An open bench, configured and ready to sweep.

    Parameters
    ----------
    station, analyzer, switch, fixture, fixture_toml
        What it is made of.
    used
        The settings as the analyzer read them back.
    places
        Where balanced ports can be attached.
    reached
        What a calibration is bound to besides the analyzer: its command family with a digest of what that
        makes it do, and the relay matrix with its map, where there is one.
    safety
        That the cautions were confirmed; None on the simulated bench.
    incidents
        What went wrong while it was opened and was overcome, one sentence each.
    """

    station: Station
    analyzer: Analyzer
    switch: Switch
    fixture: fixture.Fixture
    fixture_toml: str
    used: SweepSettings
    places: Places
    reached: str = ""
    safety: SafetyConfirmation | None = None
    incidents: tuple[str, ...] = ()

    @property
    def relays(self) -> str:
        """The relay matrix and its map in words; empty without one."""
        return self.reached.partition(_AND)[2]

    @property
    def ports(self) -> tuple[int, ...]:
        """The analyzer ports that the fixture uses, rising."""
        return self.places.ports


def check_station(station: Station, *, prompt: Prompt | None) -> None:
    """Refuse a station with which no bench can be opened, as far as that shows before it is touched.

    Raises
    ------
    UsageError
        An address is missing, or a person is needed and nobody can be asked.
    UnknownName, DefinitionError
        The fixture, the kit, the command family or the map of the relays.
    """
    keys = station.analyzer
    if not keys.address:
        raise UsageError(
            f"station {station.name}: no analyzer address",
            hint="Put `address` under [analyzer] in the station file or give --address.",
        )
    refuse_no_matrix(station)
    definition = fixture.load_fixture(station.fixture.name)
    kit = calibration.load_kit(station.calibration.kit)  # a typo must not show after an hour of standards
    calibration.needed_standards(kit, station.calibration.method)
    if station.uncertainty.budget:
        budget_text(station.uncertainty.budget)
    if keys.family is not None:
        load_family(keys.family)
    refuse_nobody(station, prompt)
    if keys.ports is not None:
        check_switch(station, Places.of(definition, keys.ports))


@contextmanager
def open_bench(
    station: Station,
    *,
    prompt: Prompt | None,
    safety: SafetyConfirmation | None = None,
    progress: Progress = _nothing,
) -> Iterator[Bench]:
    """Open the analyzer of `station`, configure it and make its switch ready.

    A fault of the link that passes repeats the set-up, as often as the station allows; see `set_up_analyzer`.

    Parameters
    ----------
    prompt
        Shows words to a person and returns what was typed; needed where a person is the switch.
    safety
        That the cautions were confirmed; goes with the bench into the records.
    progress
        Gets a line for each 2x-thru of the fixture, how good it is, and for each thing that went wrong and
        was overcome.

    Raises
    ------
    UsageError
        No address, a person is needed and nobody can be asked, or another run uses the analyzer.
    InstrumentError, DefinitionError
    """
    check_station(station, prompt=prompt)
    keys = station.analyzer
    path = find_definition("fixtures", station.fixture.name)
    fixture_toml = fixture.fixture_text(path)  # with the measured files that it names
    definition = fixture.load_fixture(str(path))
    for line in _splits(definition):
        progress(line)
    incidents: list[str] = []

    def remember(sentence: str) -> None:
        incidents.append(sentence)
        progress(sentence)

    with (
        alone_with(keys.address) if station.shared else nullcontext(),
        set_up_analyzer(station, definition, progress=progress, incident=remember) as opened,
        # The embedded bench is started anew for every command and stands warm all the same.
        noting_power_cuts(opened.analyzer.identity.idn) if station.shared else nullcontext(),
        open_switch(station, opened.places, link=lambda: opened.analyzer.link, prompt=prompt) as (
            switch,
            relays,
        ),
    ):
        family = opened.analyzer.family
        reached = [f"command family {family.name} {family.digest}", *([relays] if relays else [])]
        yield Bench(
            station=station,
            analyzer=opened.analyzer,
            switch=switch,
            fixture=definition,
            fixture_toml=fixture_toml,
            used=opened.used,
            places=opened.places,
            reached=_AND.join(reached),
            safety=safety,
            incidents=tuple(incidents),
        )


def _splits(definition: fixture.Fixture) -> list[str]:
    """Return for each 2x-thru of a fixture how good it is by IEEE 370, in words."""
    slots = {item.file: item.slot for item in definition.deembed if item.two_x_thru is not None}
    return [f"{file}: {fixture.deembed_quality(definition, slot)}" for file, slot in slots.items()]


def find_calibration(
    station: Station,
    *,
    frequency_hz: NDArray[np.float64],
    analyzer_ports: Sequence[int],
    idn: str,
    settings: SweepSettings,
    reached: str = "",
) -> tuple[Calibration, Path]:
    """Return the newest stored calibration of `station` that may be used, with its path.

    Raises
    ------
    CalibrationMissing
        None is stored.
    CalibrationMismatch, CalibrationExpired
        None may be used: the reason is that of the newest.
    ArchiveError
        The same, when the newest cannot be read.
    """
    folder = station.calibration_folder()
    first_reason: CalibrationError | ArchiveError | None = None
    for path in archive.list_calibrations(folder):
        try:
            stored = archive.read_calibration(path)
            calibration.check_usable(
                stored,
                frequency_hz=frequency_hz,
                analyzer_ports=analyzer_ports,
                idn=idn,
                settings=settings,
                reached=reached,
                now=datetime.now(UTC),
                max_age_hours=station.calibration.max_age_hours,
            )
            if station.shared:
                refuse_older(stored, idn)
        except (CalibrationError, ArchiveError) as reason:  # one damaged file must not hide a good one
            first_reason = first_reason or reason
            continue
        return stored, path
    again = f"Run `benchsweep calibrate --station {station.called}` first."
    if first_reason is not None:
        first_reason.hint = f"{first_reason.hint} {again}".strip()
        raise first_reason
    raise CalibrationMissing(f"station {station.name}: no calibration in {folder}", hint=again)
