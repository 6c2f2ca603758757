from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchsweep.report._budget import FIGURE_WORDS, budget_head, term_share, term_uncertainty
from benchsweep.report._series import SeriesItem, series_context
from benchsweep.report._series_tables import SERIES_LEGEND
from benchsweep.report._subject import ReportItem, subjects
from benchsweep.report._target import check_target, replace_page
from benchsweep.report._words import (
    NOT_EVALUATED,
    PARAMETER_WORDS,
    STANDING_MARKS,
    STANDING_WORDS,
    UNCERTAINTY_WORDS,
    clean,
    length_words,
    megahertz,
    number,
    pairs_words,
    row_words,
    signed,
)

__all__ = ["ReportItem", "write_html"]


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
        "percent": _percent,
    }
    page = environment.get_template("page.html.j2")
    return page.render(
        title=title,
        subjects=subjects(items),
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


def _impedances(z0_ohm: Sequence[float]) -> str:
    return f"{', '.join(f'{value:g}' for value in sorted(set(z0_ohm)))} ohm"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"
