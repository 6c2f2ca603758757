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
    UnfinishedSeries,
)
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import length_words, pairs_words, parameter_words
from benchsweep.report.terminal._lines import NARROWEST, columns, entry, wrapped
from benchsweep.report.terminal._measurement import fixture_name
from benchsweep.report.text import WANDER_MARK, any_wanders, as_delay_ps, fit_words, megahertz

__all__ = [
    "DASH",
    "SERIES_LEGEND",
    "WANDER_NOTE",
    "Table",
    "event_words",
    "largest_tables",
    "series_sweep_table",
    "series_table",
    "slope_tables",
    "unfinished_table",
]

Table = tuple[list[str], list[list[str]]]
"""Heads, and rows of cells; the first three columns say what a row is about."""

DASH = "-"
_WHO = ("largest change", "end", "pairs")
_MOST_EVENTS = 12
_KINDS = {
    "gap": "times without the analyzer",
    "power": "power cuts",
    "resumed": "interruptions",
    "late": "late sweeps",
    "ambient": "changes of the ambient readings",
    "clock": "moves of the clock",
    "lost": "damaged sweeps",
    "ended": "early ends",
}
SERIES_LEGEND = (
    "Changes are those from the first sweep; the receiver is at the end named, of two pairs the first "
    "receives. A positive change of loss is more loss, of delay more delay. Degrees are those of the "
    "S-parameter, ps what they amount to at that frequency; |diff| is the magnitude of the difference of the "
    "complex values, in dB over 1. Lines are by least squares through the mean change of loss, and the "
    "change of delay that fits all phases best; ± gives the standard error of the slope. Frequencies at "
    "which the first sweep is not 20 dB above the noise that successive sweeps show count for |diff| "
    "only; a dash stands where that leaves nothing."
)
WANDER_NOTE = (
    f"{WANDER_MARK} the changes wander about this line, up and down, far more than they scatter from one "
    "sweep to the next: its slope is no trend, and its error is too small."
)


def series_table(head: SeriesHead, summary: SeriesSummary, *, width: int = 80) -> str:
    """Return what a series holds and how it changed, as plain text of at most `width` columns, at least 40.

    The text holds no control characters, whatever the names hold.
    """
    width = max(width, NARROWEST)
    lines: list[str] = []
    for label, texts in _facts(head, summary):
        lines += entry(label, texts, width)
    if summary.changes:
        for heads, rows in (*largest_tables(summary.changes), *slope_tables(summary)):
            lines += ["", *_table(heads, rows, width)]
        lines += ["", *wrapped(SERIES_LEGEND, width)]
        if any_wanders(summary):
            lines += wrapped(WANDER_NOTE, width)
    for note in summary.notes:
        lines += entry("note", [note], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def series_sweep_table(sweep: SeriesSweep, *, width: int = 80) -> str:
    """Return what belongs to one sweep of a series as plain text."""
    width = max(width, NARROWEST)
    lines = entry("sweep", [str(sweep.number)], width)
    lines += entry("taken at", [f"{sweep.sweep.taken_at}, in {sweep.sweep.seconds:.2f} s"], width)
    lines += entry("ambient", [f"{name} {value:g}" for name, value in sweep.ambient.items()], width)
    lines += entry("before it", [event_words(event.at, event.words) for event in sweep.events], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def unfinished_table(found: Sequence[UnfinishedSeries], *, width: int = 80) -> str:
    """Return what is known of unfinished series as plain text, one block for each."""
    width = max(width, NARROWEST)
    blocks = []
    for one in found:
        last = f", the last at {one.last_at}" if one.last_at else ""
        lines = entry("unfinished", [one.folder], width)
        for label, text in (
            ("specimen", one.specimen),
            ("station", one.station),
            ("description", one.description),
            ("began", one.began_at),
            ("sweeps", "" if one.trouble else f"{one.sweeps}{last}"),
            ("ended", one.ended),
            ("trouble", one.trouble),
        ):
            lines += entry(label, [text], width)
        blocks.append("\n".join(line.rstrip() for line in lines))
    return "\n\n".join(blocks) + "\n"


def event_words(at: str, words: str) -> str:
    """Return an event as one line."""
    return f"{at}: {words}"


def _facts(head: SeriesHead, summary: SeriesSummary) -> Sequence[tuple[str, list[str]]]:
    grid, calibration = head.frequency_hz, head.calibration
    numbers = (
        f"1 sweep, number {summary.first_number}"
        if summary.sweeps == 1
        else f"{summary.sweeps} sweeps, numbers {summary.first_number} to {summary.last_number}"
    )
    if summary.missing:
        numbers += f", without {', '.join(map(str, summary.missing[:_MOST_EVENTS]))}"
    counts = ", ".join(f"{_KINDS.get(kind, kind)}: {count}" for kind, count in summary.event_counts.items())
    told = [event_words(event.at, event.words) for event in summary.events[:_MOST_EVENTS]]
    more = sum(summary.event_counts.values()) - len(told)
    return (
        ("specimen", [head.specimen.identifier]),
        ("lot", [head.specimen.lot]),
        ("product", [head.specimen.product]),
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
    return parameter_words(change.parameter), change.end, pairs_words(change.pairs)


def largest_tables(changes: Sequence[SeriesChange], *, wide: bool = False) -> list[Table]:
    """Return the largest changes: of paths through with their delay, of the others the difference first.

    `wide` adds the difference of paths through.
    """
    through = [change for change in changes if change.parameter is Parameter.INSERTION_LOSS]
    others = [change for change in changes if change not in through]
    tables = []
    if through:
        heads = [*_WHO, "loss dB", "MHz", "sweep", "degrees", "ps", "MHz", "sweep"]
        heads += ["|diff| dB"] if wide else []
        rows = []
        for change in through:
            turned = _extreme(change.largest_deg, "+.2f")
            delay = DASH if change.largest_deg is None else f"{as_delay_ps(change.largest_deg):+.1f}"
            loss = _extreme(change.largest_loss_db, "+.3f")
            difference = _extreme(change.largest_difference_db, ".1f")[:1] if wide else ()
            rows.append([*_who(change), *loss, turned[0], delay, *turned[1:], *difference])
        tables.append((heads, rows))
    if others:
        heads = [*_WHO, "|diff| dB", "MHz", "sweep", "loss dB", "MHz", "sweep", "degrees"]
        rows = [
            [
                *_who(change),
                *_extreme(change.largest_difference_db, ".1f"),
                *_extreme(change.largest_loss_db, "+.2f"),
                _extreme(change.largest_deg, "+.1f")[0],
            ]
            for change in others
        ]
        tables.append((heads, rows))
    return tables


def slope_tables(summary: SeriesSummary, *, wide: bool = False) -> list[Table]:
    """Return the straight lines over time, and over the ambient reading where it moved.

    `wide` adds the line at the frequency whose loss changed most.
    """
    reading = clean(summary.course.reading_name)
    tables = [
        _slopes("straight line", [(c, c.loss_per_hour, c.delay_per_hour) for c in summary.changes], "/h")
    ]
    if wide:
        heads, rows = tables[0]
        heads.append("loss dB/h where it changed most")
        for row, change in zip(rows, summary.changes, strict=True):
            row.append(fit_words(change.worst_per_hour))
    moved = [
        (c, c.loss_per_unit, c.delay_per_unit)
        for c in summary.changes
        if reading and (c.loss_per_unit or c.delay_per_unit)
    ]
    if moved:
        tables.append(_slopes(f"per {reading}", moved, ""))
    return tables


def _slopes(
    title: str, lines: Sequence[tuple[SeriesChange, LineFit | None, LineFit | None]], per: str
) -> Table:
    delays = any(delay is not None for _, _, delay in lines)
    heads = [title, "end", "pairs", f"loss dB{per}", *([f"delay ps{per}"] if delays else [])]
    return heads, [
        [*_who(change), fit_words(loss), *([fit_words(delay)] if delays else [])]
        for change, loss, delay in lines
    ]


def _extreme(found: Extreme | None, how: str) -> tuple[str, str, str]:
    if found is None:
        return DASH, DASH, DASH
    return format(found.value, how), megahertz(found.frequency_hz), str(found.sweep)


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
