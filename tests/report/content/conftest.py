"""Documents turned into words; a simulated cord, measured without error and graded as a person would."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.archive import write_record
from benchsweep.cli._items import report_items
from benchsweep.qualification import grade_record, load_requirements
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.records import Measurement, SMatrix, Specimen, SweepSettings, balanced_ports
from benchsweep.report import ReportItem
from benchsweep.report.document import (
    Block,
    Box,
    Drawn,
    Facts,
    Items,
    Line,
    Listing,
    Paragraph,
    Section,
    Table,
    plain,
)
from benchsweep.simulator.specimen import load_specimen

LEGS = tuple(leg for port in balanced_ports() for leg in port.legs)


def _of_facts(block: Facts) -> Iterator[Line]:
    for name, told in block.entries:
        yield from (name, *told)


def _of_table(block: Table) -> Iterator[Line]:
    yield block.caption
    yield from ((column.title,) for column in block.columns)
    for row in block.rows:
        yield from row.cells


def _of_section(block: Section) -> Iterator[Line]:
    yield block.title
    for inner in block.blocks:
        yield from lines_of(inner)


LINES = {
    Paragraph: lambda block: (block.line,),
    Items: lambda block: block.lines,
    Facts: _of_facts,
    Table: _of_table,
    Box: lambda block: ((block.word,), *block.lines, *block.items),
    Drawn: lambda block: (block.caption, (block.picture.words,)),
    Listing: lambda block: ((text,) for text in block.lines),
    Section: _of_section,
}


def lines_of(block: Block) -> Iterator[Line]:
    """Every line of a block, in the order of reading."""
    yield from LINES[type(block)](block)


def every(block: Block | tuple[Block, ...], kind: type) -> list:
    """All blocks of a kind, however deep."""
    if isinstance(block, tuple):
        return [found for inner in block for found in every(inner, kind)]
    found = [block] if isinstance(block, kind) else []
    return found + (every(block.blocks, kind) if isinstance(block, Section) else [])


def words_of(block: Block | tuple[Block, ...]) -> str:
    blocks = block if isinstance(block, tuple) else (block,)
    return "\n".join(plain(line) for one in blocks for line in lines_of(one) if line)


def facts_of(block: Block | tuple[Block, ...]) -> dict[str, list[str]]:
    """Names of all facts and what they are told to be."""
    found: dict[str, list[str]] = {}
    for facts in every(block, Facts):
        for name, told in facts.entries:
            found.setdefault(plain(name), []).extend(map(plain, told))
    return found


def cells_of(table: Table) -> list[tuple[str, ...]]:
    return [tuple(map(plain, row.cells)) for row in table.rows]


def measured(name: str, length_m: float | None, points: int) -> Measurement:
    grid = np.linspace(1e6, 500e6, points)
    specimen = load_specimen(name, seed=3)
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in LEGS]
    return Measurement(
        specimen=Specimen(name, length_m, lot="L-7"),
        created_at="2026-01-01T09:00:00+00:00",
        origin="touchstone",
        station="",
        operator="I. Vogt",
        corrected=SMatrix(
            grid, specimen.scatter(grid)[:, order][:, :, order], tuple(map(str, LEGS)), (50.0,) * 16
        ),
        settings=SweepSettings(1e6, 500e6, points, 1e3, 1, -5.0),
        budget_toml=budget_text("simulated"),
        source_file="cord.s16p",
    )


@pytest.fixture(scope="session")
def read() -> SimpleNamespace:
    """The ways to read blocks, by name."""
    return SimpleNamespace(lines=lines_of, every=every, words=words_of, facts=facts_of, cells=cells_of)


@pytest.fixture(scope="session")
def graded(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., list[ReportItem]]:
    """Store a simulated specimen and grade it from its record: ``graded(name, requirement, …)``."""

    def grade(
        name: str,
        *against: str,
        length_m: float | None = 2.0,
        rule: str = "simple",
        points: int = 60,
        detail: str = "full",
    ) -> list[ReportItem]:
        folder: Path = tmp_path_factory.mktemp("archive")
        path = write_record(measured(name, length_m, points), folder)
        requirements = load_requirements(against)
        return report_items(grade_record(path, requirements, decision_rule=rule), requirements, detail=detail)

    return grade
