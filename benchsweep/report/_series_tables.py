from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import (
    Extreme,
    LineFit,
    Parameter,
    SeriesChange,
    SeriesHead,
    SeriesSummary,
    SeriesSweep,
)
from benchsweep.report._tables import entry, fixture_name
from benchsweep.report._words import (
    PARAMETER_WORDS,
    columns,
    length_words,
    megahertz,
    number,
    pairs_words,
    wrapped,
)

__all__ = ["SERIES_LEGEND", "as_delay_ps", "event_words", "fit_words", "series_sweep_table", "series_table"]

_NARROWEST = 40
_MOST_EVENTS = 12
_KINDS = {
    "gap": "times without the analyzer",
    "resumed": "interruptions",
    "late": "late sweeps",
    "ambient": "changes of the ambient readings",
    "clock": "moves of the clock",
    "lost": "damaged sweeps",
    "ended": "early ends",
}
SERIES_LEGEND = (
    "Changes are those from the first sweep; the receiver is at the end named, of two pairs the first "
    "receives. dB is the change of the magnitude of the S-parameter (positive: more signal), ps what its "
    "change of phase amounts to at that frequency. Level is the mean change over all frequencies, delay the "
    "change that fits all phases best. Lines are by least squares; ± gives the standard error of the slope."
)


def series_table(head: SeriesHead, summary: SeriesSummary, *, width: int = 80) -> str:
    """Return what a series holds and how it changed, as plain text of at most `width` columns, at least 40.

    The text holds no control characters, whatever the names hold.
    """
    width = max(width, _NARROWEST)
    lines: list[str] = []
    for label, texts in _facts(head, summary):
        lines += entry(label, texts, width)
    if summary.changes:
        lines += ["", *_largest(summary.changes, width), "", *_slopes(summary, width), ""]
        lines += wrapped(SERIES_LEGEND, width)
    for note in summary.notes:
        lines += entry("note", [note], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def series_sweep_table(sweep: SeriesSweep, *, width: int = 80) -> str:
    """Return what belongs to one sweep of a series as plain text."""
    width = max(width, _NARROWEST)
    lines = entry("sweep", [str(sweep.number)], width)
    lines += entry("taken at", [f"{sweep.sweep.taken_at}, in {sweep.sweep.seconds:.2f} s"], width)
    lines += entry("ambient", [f"{name} {value:g}" for name, value in sweep.ambient.items()], width)
    lines += entry("before it", [event_words(event.at, event.words) for event in sweep.events], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def event_words(at: str, words: str) -> str:
    """Return an event as one line."""
    return f"{at}: {words}"


def fit_words(fit: LineFit | None) -> str:
    """Return a slope and its standard error for people; a dash where there is none."""
    if fit is None:
        return "-"
    error = "" if fit.standard_error is None else f" ± {fit.standard_error:.2g}"
    return f"{fit.slope:+.3g}{error}"


def as_delay_ps(phase: Extreme) -> float:
    """Return the delay in ps that turns a phase by so much at its frequency."""
    return -phase.value / 360.0 / phase.frequency_hz * 1e12


def _facts(head: SeriesHead, summary: SeriesSummary) -> Sequence[tuple[str, list[str]]]:
    grid, calibration = head.frequency_hz, head.calibration
    numbers = f"{summary.sweeps} sweeps, numbers {summary.first_number} to {summary.last_number}"
    if summary.missing:
        numbers += f", without {', '.join(map(str, summary.missing[:_MOST_EVENTS]))}"
    counts = ", ".join(f"{_KINDS.get(kind, kind)}: {count}" for kind, count in summary.event_counts.items())
    told = [event_words(event.at, event.words) for event in summary.events[:_MOST_EVENTS]]
    more = sum(summary.event_counts.values()) - len(told)
    return (
        ("specimen", [head.specimen.identifier]),
        ("length", [length_words(head.specimen.length_m)]),
        ("description", [head.description]),
        ("sweeps", [numbers]),
        ("from", [f"{summary.first_at} to {summary.last_at}"]),
        ("ended", [summary.ended or "not finished: it is being recorded, or was cut off"]),
        ("station", [head.station]),
        ("operator", [head.operator]),
        ("attached", [", ".join(_balanced(head))]),
        ("grid", [f"{megahertz(grid[0])} to {megahertz(grid[-1])} MHz, {grid.size} points"]),
        ("analyzer", [head.analyzer.idn, f"command family {head.analyzer.family}"]),
        ("calibration", _calibration(calibration.identifier, calibration.created_at) if calibration else []),
        ("fixture", [fixture_name(head.fixture_toml)]),
        (
            "ambient",
            [
                f"{name} {low:g} to {high:g}, mean {mean:.4g}"
                for name, (low, high, mean) in summary.ambient.items()
            ],
        ),
        ("events", [counts, *told, f"and {more} more" if more else ""] if counts else []),
    )


def _calibration(identifier: str, created_at: str) -> list[str]:
    return [f"{identifier} of {created_at}"]


def _balanced(head: SeriesHead) -> list[str]:
    return list(dict.fromkeys(leg.partition(".")[0] for leg in head.hookup.connections.values()))


def _who(change: SeriesChange) -> tuple[str, str, str]:
    return PARAMETER_WORDS[change.parameter], change.end, pairs_words(change.pairs)


def _largest(changes: Sequence[SeriesChange], width: int) -> list[str]:
    heads = ("largest change", "end", "pairs", "dB", "MHz", "sweep", "degrees", "ps", "MHz", "sweep")
    rows = [
        (
            *_who(change),
            f"{change.largest_db.value:+.3f}",
            megahertz(change.largest_db.frequency_hz),
            str(change.largest_db.sweep),
            f"{change.largest_deg.value:+.2f}",
            number(as_delay_ps(change.largest_deg), 1),
            megahertz(change.largest_deg.frequency_hz),
            str(change.largest_deg.sweep),
        )
        for change in changes
    ]
    return _table(heads, rows, width)


def _slopes(summary: SeriesSummary, width: int) -> list[str]:
    reading = summary.course.reading_name
    shown = [change for change in summary.changes if change.level_per_unit is not None] if reading else []
    delays = any(change.parameter is Parameter.INSERTION_LOSS for change in summary.changes)
    heads = ["straight line", "end", "pairs", "level dB/h", *(["delay ps/h"] if delays else [])]
    rows = [
        [
            *_who(change),
            fit_words(change.level_per_hour),
            *([fit_words(change.delay_per_hour)] if delays else []),
        ]
        for change in summary.changes
    ]
    lines = _table(heads, rows, width)
    if shown:
        heads = [f"per {reading}", "end", "pairs", "level dB", *(["delay ps"] if delays else [])]
        rows = [
            [
                *_who(change),
                fit_words(change.level_per_unit),
                *([fit_words(change.delay_per_unit)] if delays else []),
            ]
            for change in shown
        ]
        lines += ["", *_table(heads, rows, width)]
    return lines


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Return a table; where it is too wide, one sentence for each row."""
    heads = [wrapped(cell, width)[0] for cell in heads]
    widths = [max(columns(line[i]) for line in (heads, *rows)) for i in range(len(heads))]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= width else 1
    if sum(widths) + gap * (len(widths) - 1) > width:
        told = [
            f"{heads[0]}, {row[0]}, end {row[1]}, pairs {row[2]}: "
            + ", ".join(f"{head} {cell}" for head, cell in zip(heads[3:], row[3:], strict=True))
            for row in rows
        ]
        return [line for text in told for line in wrapped(text, width)]
    lines = [
        (" " * gap)
        .join(cell.rjust(widths[i]) if i > 2 else cell.ljust(widths[i]) for i, cell in enumerate(line))
        .rstrip()
        for line in (heads, *rows)
    ]
    return [lines[0], "-" * columns(lines[0]), *lines[1:]]
