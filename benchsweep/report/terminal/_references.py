"""Reference channels and field testers over time, and what is due, as text for a terminal."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchsweep.records import (
    BenchMeasured,
    ChannelRegistered,
    Comparison,
    ControlChart,
    Drift,
    Due,
    FieldTesterRegistered,
)
from benchsweep.report.terminal._english import signed
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry
from benchsweep.report.terminal._process_chart import control_chart, signal_words
from benchsweep.report.text import quantity_parts

__all__ = ["Followed", "channel_table", "due_table", "field_tester_table", "reference_list"]

_MOST_CHARTS = 6


@dataclass(frozen=True, slots=True)
class Followed:
    """Where a channel or tester stands over time.

    Parameters
    ----------
    withdrawn
        Why it must not be used; empty: it may be.
    drift
        What is seen to drift; None: not looked at.
    due
        When it is due; None: not known.
    digest
        Names its whole history.
    doubts
        What a reader must know first, in words.
    words
        How a channel stands that is not withdrawn; empty: in use, or not measured yet.
    happened
        Withdrawals, returns, other intervals and accuracies, oldest first, in words.
    stable
        What the check values of its newest record say; empty: what was said of it when it was added.
    """

    withdrawn: str = ""
    drift: Drift | None = None
    due: Due | None = None
    digest: str = ""
    doubts: Sequence[str] = ()
    words: str = ""
    stable: str = ""
    happened: Sequence[str] = ()


def channel_table(
    channel: ChannelRegistered,
    measured: Sequence[BenchMeasured],
    stands: Followed,
    *,
    counting: Collection[str] | None = None,
    charts: bool = False,
    width: int = 80,
    ascii_only: bool = False,
) -> str:
    """Return a reference channel with its bench records as plain text of at most `width` columns.

    Whether it may be used first; each record with what the check of stability said; charts where asked for.

    Parameters
    ----------
    counting
        Content hashes of the records that count now; None: all that were accepted.
    """
    width = max(width, NARROWEST)
    lines = entry("channel", [channel.channel, *channel.parts], width)
    if counting is None:
        counting = {each.record for each in measured if each.accepted}
    told = stands.words or ("in use" if measured else "not measured yet")
    if stands.withdrawn:
        told = f"withdrawn: {stands.withdrawn}"
    length = "" if channel.length_m is None else f"{channel.length_m:g} m"
    for label, texts in (
        ("stands", [told]),
        ("doubtful", stands.doubts),
        ("drift", _drift(stands.drift)),
        ("length", [length]),
        ("against", [channel.requirement]),
        ("due", [_due(stands.due)]),
        ("remarks", [channel.remarks]),
        ("registered", [f"{channel.at[:10]} by {channel.by}"]),
        ("happened", stands.happened),
        ("digest", [stands.digest]),
    ):
        lines += entry(label, texts, width)
    if measured:
        heads = ["no.", "measured", "°C", "counts", "record"]
        rows = [
            [
                str(place),
                each.measured_at[:10],
                "-" if each.temperature_degc is None else f"{each.temperature_degc:g}",
                "yes" if each.record in counting else "no",
                each.path,
            ]
            for place, each in enumerate(measured, start=1)
        ]
        lines += ["", *tabled(heads, rows, width, figures=("no.", "°C"), spare=("record",))]
        if told := stands.stable or (measured[-1].words if counting else ""):
            lines += ["", *entry("stability", [told], width)]
    lines += _charts(stands.drift, charts, width, ascii_only)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def field_tester_table(
    tester: FieldTesterRegistered,
    compared: Sequence[Comparison],
    stands: Followed,
    *,
    declared: Sequence[str] | None = None,
    charts: bool = False,
    width: int = 80,
    ascii_only: bool = False,
) -> str:
    """Return a field tester with its comparisons as plain text of at most `width` columns.

    Parameters
    ----------
    declared
        What accuracy is declared and was before, in words, the one in force first; None: as registered.
    """
    width = max(width, NARROWEST)
    lines = entry("tester", [tester.tester], width)
    told_accuracy = declared if declared is not None else [tester.accuracy] if tester.accuracy else []
    if stands.withdrawn:
        told = f"withdrawn: {stands.withdrawn}"
    elif compared:
        last = max(reversed(compared), key=lambda each: datetime.fromisoformat(each.when))
        told = f"{last.outcome.value} (measured {last.when[:10]}): {last.words}"
    else:
        told = "not compared yet"
    for label, texts in (
        ("stands", [told]),
        ("doubtful", stands.doubts),
        ("drift", _drift(stands.drift)),
        ("accuracy", list(told_accuracy) or ["none declared: nothing can be decided"]),
        ("due", [_due(stands.due)]),
        ("remarks", [tester.remarks]),
        ("registered", [f"{tester.at[:10]} by {tester.by}"]),
        ("happened", stands.happened),
        ("digest", [stands.digest]),
    ):
        lines += entry(label, texts, width)
    if compared:
        heads = ["no.", "measured", "channel", "by", "largest E_n", "beyond", "outcome"]
        rows = [
            [
                str(place),
                each.when[:10],
                each.channel,
                each.by,
                signed(_largest(each)),
                str(sum(row.outcome.value == "disagrees" for row in each.rows)),
                each.outcome.value,
            ]
            for place, each in enumerate(compared, start=1)
        ]
        figures = ("no.", "largest E_n", "beyond")
        lines += ["", *tabled(heads, rows, width, figures=figures, spare=("by", "beyond"))]
    lines += _charts(stands.drift, charts, width, ascii_only)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def due_table(found: Sequence[Due], *, width: int = 80) -> str:
    """Return a line for each channel and tester: when it is due, the most urgent first; and suggestions."""
    width = max(width, NARROWEST)
    order = sorted(
        found,
        key=lambda each: (
            each.withdrawn,
            each.days_left if each.days_left is not None else float("-inf"),
            each.kind,
            each.name,
        ),
    )
    heads = ["what", "name", "last", "due", "days left", "every", "suggested"]
    rows = []
    for each in order:
        when = "withdrawn" if each.withdrawn else each.due[:10] or "at once"
        left = "" if each.days_left is None or each.withdrawn else f"{each.days_left:.0f}"
        suggested = "-" if each.suggested_days is None else f"{each.suggested_days:.0f}"
        rows.append(
            [
                each.kind,
                each.name,
                each.last[:10] or ("-" if each.note else "never"),
                when,
                left,
                f"{each.interval_days:g}",
                suggested,
            ]
        )
    lines = tabled(heads, rows, width, figures=("days left", "every", "suggested"), spare=("suggested",))
    using = [each for each in order if not each.withdrawn]
    told = [f"{each.kind} {each.name}: {each.note}" for each in using if each.note]
    if told:
        lines += ["", *entry("not put off", told, width)]
    told = [f"{each.kind} {each.name}: {each.words}" for each in using if each.suggested_days is not None]
    if told:
        lines += ["", *entry("suggested", told, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def reference_list(rows: Iterable[Mapping[str, str]], *, width: int = 80) -> str:
    """Return a line for each channel and tester.

    Parameters
    ----------
    rows
        Each with ``what``, ``name``, ``stands``, ``last``, ``due``, ``results``; of testers ``accuracy``.
    """
    width = max(width, NARROWEST)
    heads = ["what", "name", "stands", "results", "last", "due", "accuracy"]
    told = [[row.get(head, "") for head in heads] for row in rows]
    spare = ("accuracy", "due", "results")
    return "\n".join(tabled(heads, told, width, figures=("results",), spare=spare)) + "\n"


def _largest(found: Comparison) -> float | None:
    if any(suspicion.hinders for suspicion in found.suspicions):
        return None
    points = (row.decisive for row in found.rows)
    numbers = [point.e_n for point in points if point is not None and point.e_n is not None]
    return max(numbers, key=abs, default=None)


def _drift(drift: Drift | None) -> Sequence[str]:
    if drift is None:
        return ()
    if drift.words or not drift.charts:
        return drift.words
    return ("nothing is seen to drift",)


def _due(due: Due | None) -> str:
    if due is None or due.withdrawn:
        return ""
    if not due.due:
        return f"at once: {due.note or 'no result yet'}; every {due.interval_days:g} days"
    left = due.days_left or 0.0
    when = f"in {left:.0f} days" if left >= 0.0 else f"{-left:.0f} days overdue"
    told = f"{due.due[:10]} ({when}), every {due.interval_days:g} days"
    if due.suggested_days is not None:
        told = f"{told}; suggested: {due.suggested_days:.0f}"
    return f"{told}; {due.note}" if due.note else told


def _charts(drift: Drift | None, wanted: bool, width: int, ascii_only: bool) -> list[str]:
    """Return the charts with a signal; all of them where they are asked for."""
    lines: list[str] = []
    shown = 0
    for name, chart in (drift.charts if drift is not None else {}).items():
        if not wanted and not _signalled(chart):
            continue
        if shown == _MOST_CHARTS and not wanted:
            lines += ["", "more charts with signals: --charts shows all"]
            break
        drawn = control_chart(chart, name=_named(name), width=width, ascii_only=ascii_only)
        if drawn:
            lines += ["", *drawn.rstrip("\n").split("\n")]
            for signal in chart.signals:
                if signal.decisive:
                    lines += entry("signal", [signal_words(chart, signal)], width)
            shown += 1
    return lines


def _named(quantity: str) -> str:
    parameter, rest = quantity_parts(quantity)
    return quantity if parameter is None else f"{parameter.term} {rest}".strip()


def _signalled(chart: ControlChart) -> bool:
    return any(signal.decisive for signal in chart.signals)
