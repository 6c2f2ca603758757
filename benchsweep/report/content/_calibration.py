"""The calibration that was applied: whose, how old, how well its standards came back, how verified."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep.records import Calibration, StandardTerm, SweepSettings
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._measured import settings_line
from benchsweep.report.content._pieces import COMPUTING_DB, Fact, cells, fact, facts, given, time_between_h
from benchsweep.report.document import Block, Column, Line, Paragraph, Row, Section, Table
from benchsweep.report.text import Texts, number

__all__ = ["Check", "calibration_of", "calibration_section", "checks"]

_PORT = re.compile(r"(?P<standard>.+) port (?P<where>\d+)")
_PATH = re.compile(r"(?P<standard>.+) (?P<where>\d+-\d+)(?: (?P<what>.+))?")
_WHATS = {
    "transmission": "calibration.transmission",
    "reflection": "calibration.reflection",
    "load match": "calibration.load_match",
    "reciprocity": "calibration.reciprocity",
}
_QUANTITIES = {"reflection": "calibration.reflection", "transmission": "calibration.transmission"}
_HOURS_IN_MINUTES, _HOURS_IN_DAYS = 2.0, 48.0
"""Ages shorter than that are told in minutes, longer ones in days."""


@dataclass(frozen=True, slots=True)
class Check:
    """The residuals of one kind: of one standard, and of one of its figures.

    Parameters
    ----------
    standard
        Name of the standard in the kit; the whole name of a residual that is not understood.
    what
        ``reflection``, ``transmission``, ``load match`` or ``reciprocity``; else what stands there.
    worst_db, where
        The largest residual, and the port or path that has it; `where` may be empty.
    count
        How many residuals of this kind there are.
    """

    standard: str
    what: str
    worst_db: float
    where: str
    count: int


def checks(residuals_db: Mapping[str, float]) -> list[Check]:
    """Return the residuals by kind: those that tell something first, the largest first."""
    kinds: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for name, value in residuals_db.items():
        standard, what, where = _parts(name)
        kinds.setdefault((standard, what), []).append((value, where))
    found = []
    for (standard, what), values in kinds.items():
        worst, where = max(values, key=lambda entry: _size(entry[0]))
        found.append(Check(standard, what, worst, where, len(values)))
    return sorted(found, key=lambda check: -_size(check.worst_db))


def _size(value: float) -> float:
    return math.inf if math.isnan(value) else value


def _parts(name: str) -> tuple[str, str, str]:
    """Return standard, figure and place of a residual such as ``thru 1-5 load match``."""
    found = _PORT.fullmatch(name)
    if found is not None:
        return found["standard"], "reflection", found["where"]
    found = _PATH.fullmatch(name)
    if found is not None:
        return found["standard"], found["what"] or "", found["where"]
    return name, "", ""


def calibration_section(group: Sequence[ReportItem], texts: Texts) -> Section:
    """Return which calibration was applied, and how good it is; that there is none where there is none."""
    measurement = group[0].measurement
    if measurement.calibration is None:
        blocks: list[Block] = [Paragraph((texts("calibration.none"),))]
        if measurement.verification:
            blocks.append(facts([fact(texts("calibration.verification"), given(measurement.verification))]))
        return Section((texts("calibration.title"),), tuple(blocks))
    verified = given(measurement.verification) or (texts("calibration.not_verified"),)
    return calibration_of(
        measurement.calibration,
        texts,
        used_at=measurement.created_at,
        settings=measurement.settings,
        verified=verified,
    )


def calibration_of(
    calibration: Calibration,
    texts: Texts,
    *,
    used_at: str,
    settings: SweepSettings | None,
    verified: Line = (),
) -> Section:
    """Return which calibration it is, how old it was when it was used, and how its standards came back.

    Parameters
    ----------
    used_at
        ISO 8601 time of what it was applied to.
    settings
        Of what it was applied to; those of the calibration are told where they differ.
    verified
        What its verification found; empty: nothing is said of it.
    """
    blocks: list[Block] = [facts(_facts(calibration, texts, used_at, settings, verified))]
    if calibration.residuals_db:
        blocks += _residuals(calibration.residuals_db, texts)
    else:
        blocks.append(Paragraph((texts("calibration.no_residuals"),)))
    if calibration.standard_terms:
        blocks.append(_standards(calibration.standard_terms, texts))
    return Section((texts("calibration.title"),), tuple(blocks))


def _facts(
    calibration: Calibration, texts: Texts, used_at: str, settings: SweepSettings | None, verified: Line
) -> Iterator[Fact]:
    yield fact(texts("calibration.of"), given(calibration.identifier))
    yield fact(
        texts("calibration.made_at"),
        given(calibration.created_at),
        _age(calibration.created_at, used_at, texts),
    )
    yield fact(texts("calibration.kit"), given(calibration.kit))
    yield fact(texts("calibration.method"), given(calibration.method))
    yield fact(texts("calibration.analyzer"), given(calibration.idn))
    yield fact(texts("calibration.reached"), given(calibration.reached))
    if calibration.settings != settings:
        yield fact(texts("calibration.settings"), settings_line(calibration.settings, texts))
    yield fact(texts("calibration.verification"), verified)


def _age(made_at: str, measured_at: str, texts: Texts) -> Line:
    """Return how old a calibration was when it was used; empty where the times cannot be compared."""
    hours = time_between_h(made_at, measured_at)
    if hours is None:
        return ()
    if hours < 0.0:
        return (texts("calibration.made_after", hours=number(-hours, texts, 1)),)
    if hours < _HOURS_IN_MINUTES:
        return (texts("calibration.age_minutes", minutes=number(60.0 * hours, texts, 0)),)
    if hours > _HOURS_IN_DAYS:
        return (texts("calibration.age_days", days=number(hours / 24.0, texts, 1)),)
    return (texts("calibration.age_hours", hours=number(hours, texts, 1)),)


def _residuals(residuals_db: Mapping[str, float], texts: Texts) -> Iterator[Block]:
    columns = (
        Column(texts("calibration.standard")),
        Column(texts("calibration.check")),
        Column(texts("calibration.worst_db"), number=True),
        Column(texts("calibration.where"), kept=True),
        Column(texts("calibration.count"), number=True),
    )
    rows = []
    found = checks(residuals_db)
    for check in found:
        key = _WHATS.get(check.what)
        what = given(check.what) if key is None else (texts(key),)
        below = check.worst_db < COMPUTING_DB
        worst = texts("calibration.computing") if below else number(check.worst_db, texts, 1)
        where = () if below else _place(check.where, texts)
        rows.append(Row(cells(given(check.standard), what, worst, where, str(check.count))))
    caption = (texts("calibration.residuals_caption"),)
    yield Table(columns, tuple(rows), caption)
    legend = texts("calibration.residuals_legend")
    if any(check.worst_db < COMPUTING_DB for check in found):
        legend += " " + texts("calibration.computing_legend", level=f"{COMPUTING_DB:g}")
    yield Paragraph((legend,), legend=True)
    if len(residuals_db) > len(found):
        yield _every_residual(residuals_db, texts)


def _place(where: str, texts: Texts) -> Line:
    if not where:
        return ()
    return (texts("calibration.path" if "-" in where else "calibration.port", place=where),)


def _every_residual(residuals_db: Mapping[str, float], texts: Texts) -> Section:
    columns = (Column(texts("calibration.residual")), Column(texts("calibration.db"), number=True))
    # NaN is no rounding: it stays in the list.
    listed = {name: value for name, value in residuals_db.items() if not value < COMPUTING_DB}
    rows = tuple(Row(cells(given(name), number(value, texts, 1))) for name, value in listed.items())
    below = len(residuals_db) - len(listed)
    blocks: list[Block] = [Table(columns, rows)] if rows else []
    if below:
        told = texts("calibration.below_computing", count=below, level=f"{COMPUTING_DB:g}")
        blocks.append(Paragraph((told,), legend=True))
    title = texts("calibration.every_residual", count=len(residuals_db))
    return Section((title,), tuple(blocks), folded=True)


def _standards(terms: Sequence[StandardTerm], texts: Texts) -> Section:
    """Return how well the standards are known, as the calibration has it."""
    columns = (
        Column(texts("calibration.standard")),
        Column(texts("calibration.figure")),
        Column(texts("calibration.u_real"), number=True),
        Column(texts("calibration.u_imaginary"), number=True),
        Column(texts("calibration.pieces")),
    )
    rows = []
    for term in terms:
        sides = [f"{float(np.max(u, initial=0.0)):.2g}" for u in (term.real, term.imaginary)]
        piece = texts("calibration.same_piece" if term.same_piece else "calibration.own_pieces")
        quantity = (texts(_QUANTITIES[term.quantity]),)
        rows.append(Row(cells(given(term.standard), quantity, *sides, piece)))
    legend = Paragraph((texts("calibration.standards_legend"),), legend=True)
    return Section((texts("calibration.standards"),), (Table(columns, tuple(rows)), legend), folded=True)
