"""What a qualification at a station will take: hookups, matings, grid, time; nothing is measured."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from benchsweep import calibration, fixture, limits
from benchsweep.acquisition import ChosenGrid, grid_text, settings_grid
from benchsweep.errors import HookupImpossible, LinkLost, UsageError
from benchsweep.instrument import load_family
from benchsweep.qualification._bundle import check_bundle
from benchsweep.qualification._grid import grid_findings
from benchsweep.qualification._identity import identify_address
from benchsweep.qualification._places import Places
from benchsweep.qualification._qualify import plan_for
from benchsweep.qualification._requirements import choose_requirements, frequency_range
from benchsweep.qualification._specimen import check_specimen
from benchsweep.qualification._station import Station
from benchsweep.records import AnalyzerIdentity, Plan, SweepSettings

__all__ = ["Planned", "plan_station"]

# Common practice, no source: how long a person takes to move one balanced port, and relays to move at all.
_SECONDS_PER_MATING = 20.0
_RELAY_SECONDS = 0.05
_SETTLING_S_PER_POINT = 60e-6
_BANDWIDTHS_PER_POINT = 1.2
_POINTS_WHEN_ANALYZER_DECIDES = 500
_MOST_PORTS = 64


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """A plan and what is known of it beforehand.

    Parameters
    ----------
    station, requirements, length_m
        What was asked; the length is the station's longest specimen where none was given.
    plan
        Hookups and matings.
    disturbing
        How many cables lie beside the specimen; None: it is no bundle.
    settings
        The sweep of the station.
    grid
        That of `settings` in words.
    passes
        How often the range is swept.
    sweep_seconds
        Expected time of all sweeps.
    move_seconds
        Expected time of all moves, by a person or by relays.
    warnings
        That a length will be needed and none was given; what the grid does not cover or is too coarse for.
    better
        A grid that fits, where that of the station does not or is left to the analyzer; None: no need, or no
        length to choose it for.
    """

    station: Station
    requirements: tuple[str, ...]
    length_m: float | None
    plan: Plan
    settings: SweepSettings
    grid: str
    passes: int
    sweep_seconds: float
    move_seconds: float
    warnings: tuple[str, ...]
    better: ChosenGrid | None
    disturbing: int | None = None

    @property
    def better_words(self) -> str:
        """The grid that fits, in words; empty when there is none."""
        return "" if self.better is None else grid_text(_with_grid(self.better, self.settings))

    @property
    def better_seconds(self) -> float:
        """Expected time in all with the grid that fits; that of the present one when there is none."""
        if self.better is None:
            return self.seconds
        return self.move_seconds + self.passes * _seconds_per_pass(_with_grid(self.better, self.settings))

    @property
    def seconds(self) -> float:
        """Expected time in all."""
        return self.sweep_seconds + self.move_seconds


@dataclass(frozen=True, slots=True)
class _Known:
    """What is known of the analyzer beforehand; nothing of it need be."""

    ports: int | None
    ports_assumed: bool
    limits: Mapping[str, float]
    segments: bool
    sweep_for_each_parameter: bool


def plan_station(
    station: Station,
    requirements: Sequence[str],
    *,
    length_m: float | None = None,
    disturbing: int | None = None,
) -> Planned:
    """Return what a qualification at `station` takes.

    The number of analyzer ports is what the station file says; else what the analyzer answers, when there is
    an address; else what the fixture could use. A grid that is chosen from requirements keeps within what the
    analyzer says of itself, when it is asked.

    Parameters
    ----------
    station
        With its address, where there is one.
    requirements
        Names, paths or patterns of names; one or more.
    length_m
        Of the specimen; the station's `longest_m` when None.
    disturbing
        How many cables lie beside the specimen; wanted where a requirement limits alien crosstalk.

    Raises
    ------
    UnknownName, DefinitionError, UsageError, HookupImpossible, InstrumentError
    """
    check_specimen("plan", length_m)
    chosen = choose_requirements(requirements)
    loaded = chosen.requirements
    if not loaded:
        raise UsageError("no requirement to plan for", hint="Give --against at least once.")
    check_bundle(loaded, disturbing, by_pattern=chosen.by_pattern)
    calibration.load_kit(station.calibration.kit)
    definition = fixture.load_fixture(station.fixture.name)
    analyzer = _known(station)
    try:
        plan = plan_for(Places.of(definition, analyzer.ports or _MOST_PORTS), disturbing)
    except HookupImpossible as error:
        if analyzer.ports_assumed:
            error.hint = (
                "This analyzer cannot tell how many ports it has: put `ports` under [analyzer] in the "
                f"station file. {error.hint}"
            )
        raise
    settings = station.settings(analyzer.limits, can_segments=analyzer.segments)
    lacking = _length_lacking(loaded, length_m, chosen.by_pattern)
    length_m = length_m if length_m is not None else station.sweep.longest_m
    warnings = _warnings(station, settings, loaded, length_m, analyzer)
    passes = _passes(plan, analyzer)
    own_grid = settings_grid(settings) is None
    return Planned(
        station=station,
        requirements=tuple(requirement.name for requirement in loaded),
        length_m=length_m,
        plan=plan,
        settings=settings,
        grid=grid_text(settings),
        passes=passes,
        sweep_seconds=passes * _seconds_per_pass(settings),
        move_seconds=_move_seconds(station, plan),
        warnings=(*lacking, *warnings),
        better=_better(station, settings, loaded, length_m, analyzer)
        if own_grid or _matters(warnings)
        else None,
        disturbing=disturbing,
    )


def _length_lacking(
    requirements: Sequence[limits.Requirement], length_m: float | None, by_pattern: Collection[str]
) -> tuple[str, ...]:
    """Return that a qualification will refuse to begin without a length, where it will."""
    names = [one.name for one in requirements if one.needs_length and one.name not in by_pattern]
    if length_m is not None or not names:
        return ()
    return (f"the limits of {', '.join(names)} depend on the length: `qualify` will need --length-m",)


def _known(station: Station) -> _Known:
    """Return what the station file says of the analyzer, and what the analyzer says where it is asked."""
    identity = _ask(station)
    name = station.analyzer.family or (None if identity is None else identity.family)
    family = None if name is None else load_family(name)
    embedded = station.simulated.ports if station.starts_own_bench else None
    return _Known(
        ports=station.analyzer.ports or embedded or (None if identity is None else identity.ports),
        ports_assumed=identity is not None
        and any(
            probe.probe == "number of ports" and "assumed" in probe.answer for probe in identity.evidence
        ),
        limits={} if identity is None else identity.limits,
        segments=family is None or family.behaviours.segments is not None,
        sweep_for_each_parameter=family is not None and family.behaviours.matrix[0] == "by-sweep",
    )


def _ask(station: Station) -> AnalyzerIdentity | None:
    """Ask the analyzer where there is one and what it says would matter."""
    keys = station.analyzer
    if not keys.address or (keys.ports is not None and not station.sweep.requirements):
        return None
    try:
        return identify_address(
            keys.address,
            family=keys.family,
            backend=keys.backend,
            timeout_s=keys.timeout_s,
            ports=keys.ports,
        )
    except LinkLost as error:
        if keys.ports is not None:
            return None  # known well enough without it
        error.hint += " To plan without the analyzer, put `ports` under [analyzer] in the station file."
        raise


def _warnings(
    station: Station,
    settings: SweepSettings,
    requirements: Sequence[limits.Requirement],
    length_m: float | None,
    analyzer: _Known,
) -> tuple[str, ...]:
    grid = settings_grid(settings)
    if grid is None:
        return ()
    found = grid_findings(
        grid, requirements, length_m, velocity_factor=station.sweep.velocity_factor, time_domain=True
    )
    chosen = station.sweep.chosen(analyzer.limits, can_segments=analyzer.segments)
    # Why the grid is as it is matters only where it does not fit.
    return (*chosen.limited, *found) if chosen is not None and _matters(found) else found


def _matters(warnings: Sequence[str]) -> bool:
    """Nothing that is graded needs the time domain."""
    return any(not words.startswith("time domain") for words in warnings)


def _better(
    station: Station,
    settings: SweepSettings,
    requirements: Sequence[limits.Requirement],
    length_m: float | None,
    analyzer: _Known,
) -> ChosenGrid | None:
    if length_m is None:
        return None
    start_hz, stop_hz = frequency_range(requirements)
    made = station.sweep.chosen_for(
        start_hz, stop_hz, length_m, analyzer.limits, can_segments=analyzer.segments
    )
    return None if grid_text(_with_grid(made, settings)) == grid_text(settings) else made


def _with_grid(grid: ChosenGrid, settings: SweepSettings) -> SweepSettings:
    return grid.settings(
        if_bandwidth_hz=settings.if_bandwidth_hz, averages=settings.averages, power_dbm=settings.power_dbm
    )


def _passes(plan: Plan, analyzer: _Known) -> int:
    """Return how often the range is swept: once for each driven port, or for each parameter."""
    exponent = 2 if analyzer.sweep_for_each_parameter else 1
    return sum(len(hookup.connections) ** exponent for hookup in plan.hookups)


def _seconds_per_pass(settings: SweepSettings) -> float:
    """Return how long one pass with one driven port takes, averages included."""
    points = settings.points or _POINTS_WHEN_ANALYZER_DECIDES
    parts = [(part.points, part.if_bandwidth_hz or settings.if_bandwidth_hz) for part in settings.segments]
    return settings.averages * sum(
        count * (_BANDWIDTHS_PER_POINT / bandwidth_hz + _SETTLING_S_PER_POINT)
        for count, bandwidth_hz in parts or [(points, settings.if_bandwidth_hz)]
    )


def _move_seconds(station: Station, plan: Plan) -> float:
    if station.switch.kind == "person":
        return plan.matings * _SECONDS_PER_MATING
    if station.switch.kind == "relays":
        return len(plan.hookups) * (station.switch.settle_s + _RELAY_SECONDS)
    return 0.0
