"""A study of repeatability, as text for a terminal: who measures what next, and what follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchsweep.records import (
    GaugeStudy,
    InterlaboratoryStudy,
    MatingScatter,
    NestedStudy,
    StudyMeasured,
    StudyPlanned,
    StudySummary,
)
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import NARROWEST, entry, wrapped
from benchsweep.report.terminal._study_results import result_lines
from benchsweep.report.text import quantity_parts, worst_first

__all__ = ["study_table"]

_KINDS = {
    "crossed": "crossed: every operator measures every part",
    "nested": "nested: trials within matings within operators",
    "interlaboratory": "interlaboratory (ISO 5725-2): every one measures the same parts",
}
_MOST_RUNS = 12
_NOTHING = 1e-9
"""Less scatter than this, in dB or ns, is that of sums of decimals: none was seen."""
_FIGURES = ("repeat. s", "reprod. s", "% GRR", "categ.", "mating U")
_LEGEND = (
    "Of the worst trace: standard deviations of repeatability and reproducibility, share of both in the "
    "total deviation of these parts, distinct categories. Mating U (k = 2) of one fresh mating: pooled over "
    "the traces of the parameter (GUM 4.2.4); the largest where it scatters more than the others (Cochran's "
    "test at 1 %, ISO 5725-2); at least the step of the results over root 12 (GUM F.2.2.1)."
)


def study_table(  # noqa: PLR0913 - all of a study, named
    planned: StudyPlanned,
    measured: Mapping[int, StudyMeasured],
    results: Mapping[str, Sequence[GaugeStudy | NestedStudy | InterlaboratoryStudy]],
    *,
    units: Mapping[str, str] | None = None,
    doubts: Sequence[str] = (),
    digest: str = "",
    summary: Sequence[StudySummary] = (),
    every: bool = False,
    width: int = 80,
) -> str:
    """Return a study as plain text of at most `width` columns: what comes next, or what follows from it.

    Parameters
    ----------
    summary
        One line for each parameter, the worst first.
    every
        Print all runs and the evaluation of each trace; else the runs that come next, and the summary.
    """
    width = max(width, NARROWEST)
    design = planned.design
    left = [run for run in design.runs if run.number not in measured]
    lines: list[str] = []
    done = f"{len(measured)} of {len(design.runs)} runs measured"
    for label, texts in (
        ("study", [planned.study, f"of {planned.subject}"]),
        ("stands", [done]),
        ("practice", _practice(measured)),
        ("doubtful", doubts),
        ("design", [_KINDS[design.kind], f"{design.freedom} degrees of freedom for repeatability"]),
        ("parts", [", ".join(design.parts)]),
        ("operators", [", ".join(design.operators)]),
        ("seed", [design.seed]),
        ("it tells", design.words),
        ("digest", [digest]),
    ):
        lines += entry(label, texts, width)
    if summary:
        lines += ["", *_summary(summary, width)]
    for quantity in worst_first(results) if every else ():
        unit = (units or {}).get(quantity, "dB")
        for each in results[quantity]:
            told = result_lines(_named(quantity), each, planned.design.operators, unit, width)
            lines += ["", *told]
    if results and not every:
        left_out = f"--every shows the evaluation of each of {len(results)} traces and every run"
        lines += ["", *wrapped(left_out, width)]
    shown = design.runs if every else left[:_MOST_RUNS]
    if shown:
        heads = ["run", "operator", "part", "mating", "trial", "measured"]
        rows = [
            [
                str(run.number),
                run.operator,
                run.part,
                str(run.mating),
                str(run.trial),
                measured[run.number].at[:10] if run.number in measured else "",
            ]
            for run in shown
        ]
        lines += ["", "next" if not every else "runs in their order"]
        lines += tabled(heads, rows, width, figures=("run", "mating", "trial"))
        more = len(left) - _MOST_RUNS
        if not every and more > 0:
            lines.append(f"and {more} more; --every shows all")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _named(quantity: str) -> str:
    parameter, rest = quantity_parts(quantity)
    return rest if parameter is None else f"{parameter.term} {rest}".strip()


def _practice(measured: Mapping[int, StudyMeasured]) -> list[str]:
    count = sum(event.simulated for event in measured.values())
    if not count:
        return []
    return [
        f"{count} of {len(measured)} runs are of the simulated bench or a simulated tester: no real part was "
        "measured"
    ]


def _summary(rows: Sequence[StudySummary], width: int) -> list[str]:
    heads = ["parameter", "worst trace", *_FIGURES, "unit"]
    cells = []
    for row in rows:
        parameter, mating = row.parameter, row.mating
        unit = "dB" if parameter is None else parameter.unit
        cells.append(
            [
                row.quantity if parameter is None else parameter.term,
                "" if parameter is None else quantity_parts(row.quantity)[1],
                _number(row.repeatability),
                _number(row.reproducibility),
                "-" if row.gauge_percent is None else f"{row.gauge_percent:.1f}",
                "-" if row.categories is None else str(row.categories),
                "-" if mating is None else f"{mating.expanded:.3f}",
                unit,
            ]
        )
    lines = tabled(heads, cells, width, figures=_FIGURES, spare=("unit", "categ.", "reprod. s"))
    lines += wrapped(_LEGEND, width)
    told = [
        f"{row.parameter.term} {row.mating.expanded:.3g} {row.parameter.unit}: {_taken(row.mating)}"
        for row in rows
        if row.mating is not None and row.parameter is not None
    ]
    if told:
        lines += ["", *wrapped("What a statement takes of mating from this study, U (k = 2):", width)]
    return lines + [line for each in told for line in wrapped(each, width)]


def _taken(found: MatingScatter) -> str:
    """Return from how many traces a figure of mating comes; the reasons stand in the legend."""
    where = quantity_parts(found.trace)[1]
    traces = f"{found.quantities} trace{'s' if found.quantities != 1 else ''}"
    if found.taken == "step":
        return f"the step of {found.step:g}, {traces} scatter less"
    if found.taken == "largest":
        return f"the largest of {traces}, {where}"
    return f"pooled over {traces}" + (f", the largest {found.largest:.2g} of {where}" if where else "")


def _number(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:.3f}" if value > _NOTHING else "none"
