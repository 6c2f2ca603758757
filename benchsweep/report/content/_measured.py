"""How a specimen was measured: by whom, with what, under which conditions, and what was attached when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import Measurement, RawHookup, SweepSettings, balanced_ports_among
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import COMPUTING_DB, Fact, cells, fact, facts, given, name_in, table_in
from benchsweep.report.document import Block, Column, Given, Line, Paragraph, Row, Section, Table, line
from benchsweep.report.text import Texts, length_words, megahertz, number

__all__ = ["ambient_line", "analyzer_lines", "grid_line", "matings", "measured_section", "settings_line"]

_ORIGINS = {"bench": "measured.from_bench", "touchstone": "measured.from_touchstone"}
_SPACINGS = {
    "linear": "measured.linear",
    "logarithmic": "measured.logarithmic",
    "segments": "measured.in_segments",
}
_AMBIENT = {"temperature": "measured.temperature", "humidity": "measured.humidity"}
_UNITS = {"degc": "°C", "percent": "%", "hpa": "hPa", "pa": "Pa", "k": "K"}
"""Units of ambient values, by how their names end: ``chamber_degc``."""


def measured_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return how the measurement of a group was made; what was attached in which hookup is folded."""
    measurement = group[0].measurement
    blocks: list[Block] = [facts(_facts(measurement, texts))]
    if measurement.hookups:
        blocks.append(_hookup_section(measurement.hookups, texts))
    if len(measurement.consistency_db) > 1:
        blocks.append(_consistency_section(measurement.consistency_db, texts))
    return Section((texts("measured.title"),), tuple(blocks))


def _facts(measurement: Measurement, texts: Texts) -> Iterator[Fact]:
    specimen = measurement.specimen
    yield fact(texts("measured.specimen"), given(specimen.identifier), given(specimen.description))
    yield fact(texts("measured.lot"), given(specimen.lot))
    yield fact(texts("measured.product"), given(specimen.product))
    yield fact(texts("measured.length"), length_words(specimen.length_m, texts))
    if measurement.origin == "touchstone":
        yield fact(texts("measured.imported_at"), given(measurement.created_at))
    else:
        yield fact(texts("measured.measured_at"), given(measurement.created_at))
    yield fact(texts("measured.reduced_again"), _reduced(measurement, texts))
    yield fact(texts("measured.operator"), given(measurement.operator))
    yield fact(texts("measured.origin"), _origin(measurement, texts))
    yield fact(texts("measured.station"), given(measurement.station))
    if measurement.analyzer is None:
        yield fact(texts("measured.analyzer"), texts("measured.analyzer_unknown"))
    else:
        analyzer = measurement.analyzer
        yield fact(
            texts("measured.analyzer"), *analyzer_lines(analyzer.idn, analyzer.family, analyzer.ports, texts)
        )
    corrected = measurement.corrected
    yield fact(
        texts("measured.grid"),
        grid_line(corrected.frequency_hz, texts),
        _ports_line(corrected.ports, corrected.z0_ohm, texts),
    )
    if measurement.settings is not None:
        yield fact(texts("measured.settings"), settings_line(measurement.settings, texts))
    yield fact(texts("measured.hookups"), *_hookup_lines(measurement.hookups, texts))
    ambient = [ambient_line(name, f"{value:g}", texts) for name, value in measurement.ambient.items()]
    yield fact(texts("measured.ambient"), *(ambient or [(texts("measured.ambient_unknown"),)]))
    yield fact(texts("measured.consistency"), *_consistency_lines(measurement, texts))
    yield fact(texts("measured.assembly"), *map(given, measurement.assembly_notes))
    budget = measurement.budget_toml
    named = given(name_in(budget)) or (texts("measured.unnamed"),)
    yield fact(texts("measured.budget"), named if budget else (texts("measured.no_budget"),))
    if measurement.safety is not None:
        by, at = Given(measurement.safety.by), Given(measurement.safety.at)
        yield fact(
            texts("measured.safety"),
            texts.line("measured.confirmed", by=by, at=at),
            *map(given, measurement.safety.cautions),
        )
    yield fact(texts("measured.incidents"), *map(given, measurement.incidents))


def _reduced(measurement: Measurement, texts: Texts) -> Line:
    if not measurement.reduced_at:
        return ()
    at = Given(measurement.reduced_at)
    if not measurement.reason:
        return (at,)
    return texts.line("measured.reduced_because", at=at, reason=Given(measurement.reason))


def _origin(measurement: Measurement, texts: Texts) -> Line:
    key = _ORIGINS.get(measurement.origin)
    words = given(measurement.origin) if key is None else (texts(key),)
    if measurement.analyzer is not None and measurement.analyzer.simulated:
        words = (texts("simulated.told"),)
    if not measurement.source_file:
        return words
    return texts.line("measured.from_file", origin=words, file=Given(measurement.source_file))


def analyzer_lines(idn: str, family: str, ports: int, texts: Texts) -> tuple[Line, Line]:
    """Return who measured, and how it is spoken to."""
    return given(idn), texts.line("measured.family", family=Given(family), count=ports)


def grid_line(frequency_hz: NDArray[np.float64], texts: Texts) -> Line:
    """Return first and last frequency and the number of points."""
    return texts.line(
        "measured.span",
        low=megahertz(float(frequency_hz[0])),
        high=megahertz(float(frequency_hz[-1])),
        count=frequency_hz.size,
    )


def _ports_line(ports: Sequence[str], z0_ohm: Sequence[float], texts: Texts) -> Line:
    ohm = ", ".join(f"{value:g}" for value in sorted(set(z0_ohm)))
    modes = any("/" in label for label in ports)
    return texts.line("measured.modes" if modes else "measured.legs", count=len(ports), ohm=ohm)


def settings_line(settings: SweepSettings, texts: Texts) -> Line:
    """Return the settings that were in force while sweeping."""
    told = texts.line(
        "measured.settings_are",
        bandwidth=f"{settings.if_bandwidth_hz:g}",
        averages=settings.averages,
        power=f"{settings.power_dbm:g}",
        spacing=texts(_SPACINGS[settings.spacing]),
    )
    own = {part.if_bandwidth_hz for part in settings.segments if part.if_bandwidth_hz is not None}
    if not own:
        return told
    return line(told, texts("measured.segment_bandwidths", hertz=", ".join(f"{hz:g}" for hz in sorted(own))))


def ambient_line(name: str, value: str, texts: Texts) -> Line:
    """Return an ambient value with its name; its unit is the end of the name where that is one.

    >>> from benchsweep.report.document import plain
    >>> from benchsweep.report.text import english
    >>> plain(ambient_line("chamber_degc", "21.5", english()))
    'chamber 21.5 °C'
    """
    what, _, end = name.rpartition("_")
    unit = _UNITS.get(end, "") if what else ""
    told = f"{value} {unit}" if unit else value
    what = what if unit else name
    key = _AMBIENT.get(what)
    return line(Given(what), " ", told) if key is None else texts.line(key, value=told)


def matings(hookups: Iterable[RawHookup]) -> int:
    """Return how many balanced ports had to be attached in all, counting only those that moved.

    A port moved when the hookup before did not have it, or had it at other ports of the analyzer.
    """
    count = 0
    before: Mapping[str, tuple[int, ...]] = {}
    for raw in hookups:
        now = _places(raw)
        count += sum(before.get(port) != places for port, places in now.items())
        before = now
    return count


def _places(raw: RawHookup) -> dict[str, tuple[int, ...]]:
    """Return the balanced ports of a hookup, and the analyzer ports that each is attached to."""
    found: dict[str, tuple[int, ...]] = {}
    for port, label in raw.hookup.connections.items():
        for attached in balanced_ports_among([label]):
            name = str(attached)
            found[name] = (*found.get(name, ()), port)
    return found


def _hookup_lines(hookups: Sequence[RawHookup], texts: Texts) -> Iterator[Line]:
    if not hookups:
        return
    most = max(len(raw.hookup.connections) for raw in hookups)
    yield texts.line("measured.hookup_count", count=len(hookups), ports=most)
    moved = matings(hookups)
    if moved:
        yield texts.line("measured.matings", count=moved)
    seconds = sum(raw.sweep.seconds for raw in hookups)
    yield texts.line("measured.sweeping", seconds=number(seconds, texts, 1))
    first, last = (hookups[at].sweep.taken_at for at in (0, -1))
    if len(hookups) > 1 and first and last:
        yield texts.line("measured.swept_from", first=Given(first), last=Given(last))


def _hookup_section(hookups: Sequence[RawHookup], texts: Texts) -> Section:
    columns: tuple[Column, ...] = (
        Column(texts("measured.hookup"), number=True),
        Column(texts("measured.attached")),
        Column(texts("measured.terminators")),
        Column(texts("measured.taken_at")),
        Column(texts("measured.seconds"), number=True),
    )
    rows = []
    for raw in hookups:
        attached = ", ".join(f"{port} {label}" for port, label in raw.hookup.connections.items())
        plugged = ", ".join(f"{port} {name}" for port, name in raw.hookup.terminations.items())
        rows.append(
            Row(
                cells(
                    str(raw.hookup.number),
                    given(attached),
                    given(plugged),
                    given(raw.sweep.taken_at),
                    number(raw.sweep.seconds, texts),
                )
            )
        )
    if not any(raw.hookup.terminations for raw in hookups):
        columns = columns[:2] + columns[3:]
        rows = [Row(row.cells[:2] + row.cells[3:]) for row in rows]
    legend = texts("measured.attached_legend")
    if any("none" in raw.hookup.terminations.values() for raw in hookups):
        legend += " " + texts("measured.none_legend")
    title = texts("measured.port_map", count=len(hookups))
    return Section((title,), (Table(columns, tuple(rows)), Paragraph((legend,), legend=True)), folded=True)


def _consistency_lines(measurement: Measurement, texts: Texts) -> Iterator[Line]:
    found = measurement.consistency_db
    if not found:
        return
    label, worst = max(found.items(), key=lambda entry: entry[1])
    yield texts.line("measured.disagree", worst=_level(worst, texts), label=Given(label), count=len(found))
    allowed = table_in(measurement.fixture_toml).get("consistency")
    largest = allowed.get("largest_db") if isinstance(allowed, Mapping) else None
    if isinstance(largest, int | float):
        yield texts.line("measured.allowed", allowed=number(float(largest), texts, 1))


def _level(value_db: float, texts: Texts) -> str:
    """Return a level in dB with its unit; of what is as good as nothing that it is."""
    below = value_db < COMPUTING_DB
    return texts("measured.computing") if below else f"{number(value_db, texts, 1)} dB"


def _consistency_section(found: Mapping[str, float], texts: Texts) -> Section:
    columns = (Column(texts("measured.leg"), kept=True), Column(texts("measured.largest_db"), number=True))
    rows = tuple(
        Row(cells(given(label), _level(value, texts)))
        for label, value in sorted(found.items(), key=lambda entry: -entry[1])
    )
    title = texts("measured.consistency_each", count=len(found))
    return Section((title,), (Table(columns, rows),), folded=True)
