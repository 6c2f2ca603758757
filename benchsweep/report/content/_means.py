"""With what the measurements of a brief report were made and graded, told once for all of them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from benchsweep.records import Parameter
from benchsweep.report.content._budget import standing_line
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import cells, given, name_in, table_in
from benchsweep.report.document import Block, Column, Line, Paragraph, Row, Section, Table
from benchsweep.report.text import Texts, parameter_words

__all__ = ["Means", "means_of", "means_section"]

_Cells: TypeAlias = tuple[Line, ...]
_DIGITS = 16


@dataclass(frozen=True, slots=True)
class Means:
    """What one measurement was made and graded with, in the cells of the tables that tell it.

    Parameters
    ----------
    limits
        Of each limit line: requirement, parameter, sense, standing, source.
    calibration
        Identifier, made at, kit, method, verification; that there is none.
    fixture, budget
        Name, source, standing and the beginning of the SHA-256 of the definition; that there is none.
    analyzer
        Who measured; that it is not known.
    """

    limits: tuple[_Cells, ...]
    calibration: _Cells
    fixture: _Cells
    budget: _Cells
    analyzer: _Cells


def means_of(group: Sequence[ReportItem], texts: Texts) -> Means:
    """Return with what the measurement of a group was made and graded."""
    measurement = group[0].measurement
    calibration = measurement.calibration
    analyzer = measurement.analyzer
    verified = given(measurement.verification)
    if calibration is None:
        told = cells(texts("means.none"), "", "", "", verified)
    else:
        told = cells(
            given(calibration.identifier),
            given(calibration.created_at),
            given(calibration.kit),
            given(calibration.method),
            verified or texts("calibration.not_verified"),
        )
    return Means(
        limits=tuple(_limits(group, texts)),
        calibration=told,
        fixture=_definition(measurement.fixture_toml, texts),
        budget=_definition(measurement.budget_toml, texts),
        analyzer=cells(texts("measured.analyzer_unknown") if analyzer is None else given(analyzer.idn)),
    )


def _limits(group: Sequence[ReportItem], texts: Texts) -> Iterator[_Cells]:
    for item in group:
        for parameter in Parameter:
            curve = item.limits.get(parameter)
            if curve is not None:
                yield cells(
                    given(item.verdict.requirement),
                    parameter_words(parameter, texts),
                    texts("limits_used.at_least" if curve.sense == "min" else "limits_used.at_most"),
                    standing_line(curve.standing, texts),
                    given(curve.source),
                )


def _definition(toml: str, texts: Texts) -> _Cells:
    if not toml:
        return cells(texts("means.none"), "", "", "")
    data = table_in(toml)
    return cells(
        given(name_in(toml)) or texts("fixture.unnamed"),
        given(str(data.get("source", ""))),
        standing_line(str(data.get("standing", "")), texts),
        given(hashlib.sha256(toml.encode("utf-8", "surrogatepass")).hexdigest()[:_DIGITS]),
    )


def means_section(means: Sequence[Means], texts: Texts) -> Section:
    """Return what all measurements were made and graded with: what is the same once, with their numbers.

    The numbers are the places of `means`, from 1.
    """
    verified = ("calibration.of", "made_at", "kit", "method", "verification")
    calibration = [verified[0], *(f"calibration.{key}" for key in verified[1:])]
    limits = ["means.requirement", *(f"limits_used.{key}" for key in ("parameter", "must_be"))]
    limits += ["limits_used.standing", "limits_used.source"]
    rest = ["fixture.source", "limits_used.standing", "means.hash"]
    tables: list[Block] = [
        _table("limits_used.title", limits, [one.limits for one in means], texts),
        _table("calibration.title", calibration, [(one.calibration,) for one in means], texts),
        _table("fixture.title", ["fixture.name", *rest], [(one.fixture,) for one in means], texts),
        _table("budget.title", ["measured.budget", *rest], [(one.budget,) for one in means], texts),
        _table("measured.analyzer", ["measured.analyzer"], [(one.analyzer,) for one in means], texts),
        Paragraph((texts("means.legend"),), legend=True),
    ]
    return Section((texts("means.title"),), tuple(tables))


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[_Cells]], texts: Texts) -> Table:
    found: dict[_Cells, list[int]] = {}
    for place, told in enumerate(rows, start=1):
        for row in dict.fromkeys(told):
            found.setdefault(row, []).append(place)
    columns = (*(Column(texts(head)) for head in heads), Column(texts("means.measurements")))
    made = tuple(Row((*row, (_numbers(places),))) for row, places in found.items())
    return Table(columns, made, (texts(title),))


def _numbers(places: Sequence[int]) -> str:
    """Return rising numbers, those that follow each other together: ``1 .. 3, 7``."""
    runs: list[list[int]] = []
    for place in places:
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} .. {run[-1]}" for run in runs)
