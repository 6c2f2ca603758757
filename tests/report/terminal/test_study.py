"""A large study on a terminal: brief by each parameter's worst trace, all of it only when asked for."""

from __future__ import annotations

import pytest

from benchsweep.report import StudyItem, study_table
from tests.report.content.comparisons_made import large_study


def told_of(study: StudyItem, *, every: bool = False, width: int = 80) -> list[str]:
    return study_table(
        study.planned,
        study.measured,
        study.results,
        units=study.units,
        doubts=study.doubts,
        digest=study.digest,
        summary=study.summary,
        every=every,
        width=width,
    ).splitlines()


def test_a_study_of_192_traces_takes_less_than_60_lines() -> None:
    lines = told_of(large_study())
    assert len(lines) <= 60
    rows = [line for line in lines if " B 45-78 " in line]
    assert [row.split()[-4] for row in rows] == [f"{10 * place}.0" for place in range(8, 0, -1)]
    assert rows[0].startswith("ACR-F")
    assert "ACR-F 0.25 dB: pooled over 24 traces, the largest 0.4 of A 12-36" in lines
    assert lines[-1] == "--every shows the evaluation of each of 192 traces and every run"


def test_every_shows_each_trace_by_its_term() -> None:
    lines = told_of(large_study(), every=True)
    assert sum("Gauge R&R by analysis of variance" in line for line in lines) == 192
    assert not any("acr_f" in line for line in lines)


def test_practice_is_told() -> None:
    assert any(line.startswith("practice     3 of 12 runs") for line in told_of(large_study(simulated=3)))


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert max(map(len, told_of(large_study(simulated=3), width=width))) <= width
