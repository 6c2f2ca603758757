from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchsweep.records import BudgetRow, LimitCurve, Measurement, Parameter, Trace, Verdict
from benchsweep.report._budget import FIGURE_WORDS, budget_head, term_share, term_uncertainty
from benchsweep.report._select import bad_rows, severity, standings, worst_row, worst_rows
from benchsweep.report._series import SeriesItem, series_context
from benchsweep.report._series_tables import SERIES_LEGEND
from benchsweep.report._tables import budget_name, definition_lines, fixture_name
from benchsweep.report._target import check_target, replace_page
from benchsweep.report._words import (
    CONDITIONAL_WORDS,
    NOT_EVALUATED,
    PARAMETER_WORDS,
    STANDING_MARKS,
    STANDING_WORDS,
    UNCERTAINTY_WORDS,
    clean,
    count_words,
    length_words,
    megahertz,
    number,
    pairs_words,
    row_words,
    signed,
    wiring_words,
)

__all__ = ["ReportItem", "write_html"]


@dataclass(frozen=True)
class ReportItem:
    """One graded measurement of a report.

    Parameters
    ----------
    measurement
        What was measured.
    traces
        The parameters computed from it.
    verdict
        How they were graded.
    limits
        The limit line of each parameter on the grid, for the plots.
    content_hash
        Hash that names the content of the record; empty when it is not stored.
    sweep
        Number of the sweep when the record is a series; else None.
    budget
        The uncertainty budget at the points that matter; empty when there is none.
    """

    measurement: Measurement
    traces: Sequence[Trace]
    verdict: Verdict
    limits: Mapping[Parameter, LimitCurve] = field(default_factory=dict)
    content_hash: str = ""
    sweep: int | None = None
    budget: Sequence[BudgetRow] = ()


def write_html(
    path: Path, items: Sequence[ReportItem], *, title: str, series: Sequence[SeriesItem] = ()
) -> Path:
    """Write one self-contained HTML page and return its path.

    The page needs no network and no script. An older page is replaced as a whole, any other file never; the
    same items give the same bytes.

    Parameters
    ----------
    path
        The file; its folder is made when it is missing.
    items
        What to report, in this order.
    title
        Heading of the page; any text.
    series
        Series whose change over time is reported, before what was graded.

    Raises
    ------
    UsageError
        The file cannot be written there, or something else than a page is there.
    """
    path = Path(path)
    check_target(path)
    replace_page(path, _render(items, title, series))
    return path


def _render(items: Sequence[ReportItem], title: str, series: Sequence[SeriesItem]) -> str:
    # Imported here: the tables of this room are wanted on every start, these two are slow to load.
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_cleaned,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {
        "db": number,
        "signed": signed,
        "mhz": megahertz,
        "pairs": pairs_words,
        "metres": length_words,
        "impedances": _impedances,
        "words": row_words,
        "budget_head": budget_head,
        "share": term_share,
        "u": term_uncertainty,
    }
    page = environment.get_template("page.html.j2")
    return page.render(
        title=title,
        items=[_item(place, item) for place, item in enumerate(items, start=1)],
        series=[series_context(place, item) for place, item in enumerate(series, start=1)],
        series_legend=SERIES_LEGEND,
        names=PARAMETER_WORDS,
        marks=STANDING_MARKS,
        standing_words=STANDING_WORDS,
        not_evaluated=NOT_EVALUATED,
        uncertainty_words=UNCERTAINTY_WORDS,
        figure_words=FIGURE_WORDS,
    )


def _cleaned(value: Any) -> Any:
    """Take invisible characters out of every text that a template prints; markup of our own stays."""
    return clean(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _item(place: int, item: ReportItem) -> dict[str, Any]:
    measurement, verdict = item.measurement, item.verdict
    order = list(Parameter)
    return {
        "place": place,
        "measurement": measurement,
        "verdict": verdict,
        "content_hash": item.content_hash,
        "sweep": item.sweep,
        "counts": count_words(verdict),
        "wiring": wiring_words(verdict.wiring),
        "bad": bad_rows(verdict),
        "closest": worst_row(verdict),
        "worst_rows": worst_rows(verdict),
        "all_rows": sorted(
            verdict.rows, key=lambda row: (order.index(row.parameter), row.end or "", severity(row))
        ),
        "uncertain": any(row.expanded_uncertainty is not None for row in verdict.rows),
        "guarded": any(row.guard_band is not None for row in verdict.rows),
        "conditional": [
            (outcome.value, words)
            for outcome, words in CONDITIONAL_WORDS.items()
            if any(row.outcome is outcome for row in verdict.rows)
        ],
        "budget": item.budget,
        "standings": standings(verdict.rows),
        "limits": sorted(item.limits.items(), key=lambda entry: order.index(entry[0])),
        "figures": _figures(item),
        "fixture_name": fixture_name(measurement.fixture_toml),
        "budget_name": budget_name(measurement.budget_toml),
        "fixture_lines": [clean(line) for line in definition_lines(measurement.fixture_toml)],
        "grid": measurement.corrected.frequency_hz,
    }


def _figures(item: ReportItem) -> list[dict[str, Any]]:
    from markupsafe import Markup

    from benchsweep.report._figures import draw_parameter

    worst = worst_rows(item.verdict)
    figures = []
    for parameter in Parameter:
        traces = [trace for trace in item.traces if trace.parameter is parameter]
        if not traces:
            continue
        marked = {row.end: row for row in worst if row.parameter is parameter}
        svg = draw_parameter(parameter, traces, item.limits.get(parameter), marked)
        # Drawn by us from numbers and from labels that the SVG writer escapes.
        figures.append({"parameter": parameter, "svg": Markup(svg), "rows": list(marked.values())})
    return figures


def _impedances(z0_ohm: Sequence[float]) -> str:
    return f"{', '.join(f'{value:g}' for value in sorted(set(z0_ohm)))} ohm"
