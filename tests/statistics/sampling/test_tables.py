"""Every cell of the published tables, written out in tests/data/sampling, against the rule of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.records import Severity
from benchsweep.statistics.sampling import (
    LEVELS,
    VARIABLES_LEVELS,
    acceptance_probability,
    aqls,
    attributes_plan,
    operating_curve,
    variables_aqls,
    variables_plan,
)

DATA = Path(__file__).resolve().parents[2] / "data" / "sampling"


def rows_of(name: str) -> list[list[str]]:
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return [line.split(",") for line in lines if not line.startswith("#")]


def sizes(words: str) -> tuple[int, int]:
    """Return the smallest and the largest lot of a row."""
    if words.startswith(">"):
        return int(words[1:]) + 1, 10 * int(words[1:])
    first, last = words.split("-")
    return int(first), int(last)


# MIL-STD-105E Table I: a lot size of level II for each letter, of level III for R.
LOTS = {
    letter: (sizes(row[0])[1], level)
    for level in ("III", "II")
    for row in rows_of("code-letters")[1:]
    for letter in [row[1:][LEVELS.index(level)]]
}


def followed(rows: list[list[str]], row: int, column: int) -> tuple[str, int, int, int]:
    """Follow the arrows of a printed table to a plan: letter, n, Ac, Re."""
    while (cell := rows[row][column]) in "↓↑":
        row += 1 if cell == "↓" else -1
    accept, reject = cell.split("/")
    return rows[row][0], int(rows[row][1]), int(accept), int(reject)


@pytest.mark.parametrize("severity", list(Severity))
def test_every_cell_of_the_master_tables(severity: Severity) -> None:
    """MIL-STD-105E (1989), Tables II-A, II-B, II-C: 16 letters, 26 AQLs; n, Ac and Re after the arrows."""
    head, *rows = rows_of(severity.value)
    assert tuple(map(float, head[2:])) == aqls()
    wrong, seen = [], 0
    for at, row in enumerate(rows):
        if row[0] == "S":
            continue
        lot_size, level = LOTS[row[0]]
        for column in range(2, len(head)):
            plan = attributes_plan(lot_size, level=level, aql_percent=float(head[column]), severity=severity)
            found = (plan.plan_letter, plan.table_sample_size, plan.accept, plan.reject)
            seen += 1
            if plan.code_letter != row[0] or found != followed(rows, at, column):
                wrong.append((row[0], head[column], found))
    assert seen == 416
    assert wrong == []


def test_every_code_letter() -> None:
    """MIL-STD-105E (1989), Table I: both ends of every range of lot sizes, every level."""
    head, *rows = rows_of("code-letters")
    assert tuple(head[1:]) == LEVELS
    assert len(rows) == 15
    for row in rows:
        for size in sizes(row[0]):
            letters = [attributes_plan(size, level=level, aql_percent=1.0).code_letter for level in LEVELS]
            assert letters == row[1:], size


def test_an_arrow_moves_the_sample_size_too() -> None:
    """Table II-A, E at AQL 0.65: the arrow down leads to F with n = 20, not 13; C at 4 up to B with n = 3."""
    down = attributes_plan(90, aql_percent=0.65)
    assert (down.code_letter, down.plan_letter, down.sample_size, down.accept) == ("E", "F", 20, 0)
    up = attributes_plan(25, aql_percent=4.0)
    assert (up.code_letter, up.plan_letter, up.sample_size, up.accept) == ("C", "B", 3, 0)


def test_tightened_never_accepts_more_in_any_cell() -> None:
    """Each of the 416 pairs of plans, where normal inspection accepts 95, 50 and 10 %."""
    for lot_size, level in LOTS.values():
        for aql in aqls():
            normal, tightened = (
                attributes_plan(lot_size, level=level, aql_percent=aql, severity=severity)
                for severity in (Severity.NORMAL, Severity.TIGHTENED)
            )
            curve = operating_curve(normal, points=2)
            at = np.array([curve.producer_percent, curve.indifferent_percent, curve.consumer_percent])
            difference = acceptance_probability(tightened, at) - acceptance_probability(normal, at)
            assert difference.max() <= 1e-12, (normal, tightened)


def test_the_plan_below_the_tightened_table() -> None:
    """Table II-B has one plan with letter S: n = 3150, 1/2."""
    plan = attributes_plan(600_000, level="III", aql_percent=0.025, severity=Severity.TIGHTENED)
    found = (plan.code_letter, plan.plan_letter, plan.sample_size, plan.accept, plan.reject)
    assert found == ("R", "S", 3150, 1, 2)


def test_every_constant_of_the_variables_table() -> None:
    """MIL-STD-414 (1957), Table B-1 with the letters of Table A-2: k and n after the arrows."""
    head, *rows = rows_of("variables-k")
    assert tuple(map(float, head[2:])) == variables_aqls()
    lots = {
        letter: (sizes(row[0])[1], level)
        for row in rows_of("variables-letters")[1:]
        for level, letter in zip(VARIABLES_LEVELS, row[1:], strict=True)
    }
    wrong, seen = [], 0
    for at, row in enumerate(rows):
        lot_size, level = lots[row[0]]
        for column in range(2, len(head)):
            first = next(each for each in rows[at:] if each[column] != "↓")
            aql = float(head[column])
            plan = variables_plan(lot_size, level=level, aql_percent=aql, characteristics=["next"])
            found = (plan.code_letter, plan.plan_letter, plan.table_sample_size, plan.constant_k)
            seen += 1
            if found != (row[0], first[0], int(first[1]), float(first[column])):
                wrong.append((row[0], aql, found))
            if column > 2:
                harder = variables_plan(
                    lot_size,
                    level=level,
                    aql_percent=aql,
                    severity=Severity.TIGHTENED,
                    characteristics=["next"],
                )
                left = next(each for each in rows[at:] if each[column - 1] != "↓")
                if (harder.table_sample_size, harder.constant_k) != (int(left[1]), float(left[column - 1])):
                    wrong.append((row[0], aql, "tightened"))
    assert seen == 16 * 14
    assert wrong == []


def test_every_code_letter_by_variables() -> None:
    """MIL-STD-414 (1957), Table A-2: both ends of every range of lot sizes, every level."""
    head, *rows = rows_of("variables-letters")
    assert tuple(head[1:]) == VARIABLES_LEVELS
    assert len(rows) == 17
    for row in rows:
        for size in sizes(row[0]):
            letters = [
                variables_plan(size, level=level, aql_percent=1.0, characteristics=["next"]).code_letter
                for level in VARIABLES_LEVELS
            ]
            assert letters == row[1:], size


def test_plans_say_where_they_are_from() -> None:
    plan = attributes_plan(90, aql_percent=0.65, severity=Severity.TIGHTENED)
    assert plan.source == "MIL-STD-105E (1989), Table I; MIL-STD-105E (1989), Table II-B"
    assert plan.standing == "published"
    assert "per hundred units" in attributes_plan(90, aql_percent=15.0).source


@pytest.mark.parametrize(
    ("lot_size", "options", "message", "hint"),
    [
        (90, {"aql_percent": 0.7}, "no AQL of 0.7 %; nearest: 0.65 and 1", "0.65, 1, 1.5"),
        (90, {"aql_percent": 2000.0}, "nearest: 1000", "1000"),
        (90, {"aql_percent": 0.001}, "nearest: 0.01", "0.01"),
        (90, {"aql_percent": float("nan")}, "an AQL of nan % makes no sense", "0.01"),
        (
            90,
            {"aql_percent": 1.0, "level": "IV"},
            "no inspection level 'IV'",
            "S-1, S-2, S-3, S-4, I, II, III",
        ),
        (90, {"aql_percent": 1.0, "severity": "hard"}, "no severity 'hard'", "normal, tightened, reduced"),
        (1, {"aql_percent": 1.0}, "Table I begins with 2", "Test every unit"),
        (0, {"aql_percent": 1.0}, "a lot of 0 cannot", "one unit or more"),
        (90.5, {"aql_percent": 1.0}, "whole number", "Count"),
        (True, {"aql_percent": 1.0}, "whole number", "Count"),
    ],
)
def test_what_the_table_does_not_have(
    lot_size: int, options: dict[str, object], message: str, hint: str
) -> None:
    with pytest.raises(UsageError) as caught:
        attributes_plan(lot_size, **options)  # type: ignore[arg-type]
    assert message in caught.value.message
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    ("lot_size", "options", "message"),
    [
        (90, {"aql_percent": 0.01}, "Table B-1 has no AQL of 0.01 %; nearest: 0.04"),
        (90, {"aql_percent": 1.0, "level": "S-1"}, "no inspection level 'S-1' in MIL-STD-414"),
        (90, {"aql_percent": 1.0, "severity": Severity.REDUCED}, "no reduced plans by variables"),
        (
            90,
            {"aql_percent": 0.04, "severity": Severity.TIGHTENED},
            "no tightened plan by variables for 0.04 %",
        ),
        (90, {"aql_percent": 1.0, "form": "R"}, "no form 'R'"),
        (2, {"aql_percent": 1.0}, "Table A-2 begins with 3"),
        (90, {"aql_percent": 1.0, "characteristics": []}, "at least one characteristic"),
        (90, {"aql_percent": 1.0, "characteristics": ["next", "next"]}, "each once"),
    ],
)
def test_what_the_variables_table_does_not_have(
    lot_size: int, options: dict[str, object], message: str
) -> None:
    with pytest.raises(UsageError, match=message.replace("(", r"\(")) as caught:
        variables_plan(lot_size, **{"characteristics": ["next"], **options})  # type: ignore[arg-type]
    assert caught.value.hint
