"""Comparisons, channels, testers, due list and studies on a terminal: within its columns, worst first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchsweep.records import FieldPoint, FieldResult, FieldTrace, Parameter, Suspicion
from benchsweep.report import (
    Followed,
    channel_table,
    comparison_table,
    due_table,
    field_result_table,
    field_tester_table,
    reference_list,
    study_table,
)
from tests.report.content.comparisons_made import (
    comparison_item,
    difference_of,
    row_of,
    study_item,
    suspicious,
)

MISFITS = (
    Suspicion("pairs-swapped", "pairs 36 and 45 exchanged", ("36", "45")),
    Suspicion("ends-swapped", "ends exchanged would not be noticed", hinders=False),
)
HOSTILE = "\x1b[2J\u202e name"


def test_disagreeing_rows_come_first_and_agreeing_ones_may_be_left_out() -> None:
    found = comparison_item(bad=(3, 5)).comparison
    told = comparison_table(found, drift=("NEXT drifts",))
    assert told.startswith("outcome      disagrees: NEXT, end A, pairs 36-45 is beyond")
    rows = [line for line in told.splitlines() if line.endswith(("agrees", "disagrees")) and "." in line]
    assert [line.split()[-1] for line in rows] == ["disagrees"] * 2 + ["agrees"] * 3
    assert "3 more agree and are not shown" in told
    every = comparison_table(found, every=True)
    assert sum(line.endswith((" agrees", " disagrees")) for line in every.splitlines()) == 8


def test_what_does_not_fit_stands_right_below_the_outcome() -> None:
    lines = comparison_table(suspicious(comparison_item()).comparison).splitlines()
    assert lines[0].startswith("outcome      undecided")
    assert [line for line in lines[1:4] if line.startswith("does not fit")]


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    item = comparison_item(bad=(3, 5))
    study = study_item(done=5)
    stands = Followed("worn plugs", item.drift, item.due[0], item.digest, ("doubt",))
    for told in (
        comparison_table(item.comparison, every=True, width=width),
        field_tester_table(item.tester, item.earlier, stands, charts=True, width=width),
        channel_table(item.channel, (), stands, charts=True, width=width),
        due_table(item.due, width=width),
        study_table(study.planned, study.measured, study.results, every=True, width=width),
        field_result_table(result(), rows=[row_of(difference_of(4))], closing="it fits", width=width),
        field_result_table(
            result(), MISFITS, [row_of(difference_of(4))], closing="no", every=True, width=width
        ),
    ):
        assert max(map(len, told.splitlines())) <= width


def result() -> FieldResult:
    grid = np.array([1e6, 100e6, 250e6])
    return FieldResult(
        traces=(FieldTrace(Parameter.NEXT, "A", ("12", "36"), "value", grid, np.array([70.0, 45.0, 38.5])),),
        points=(FieldPoint(Parameter.NEXT, "B", ("12", "36"), margin=2.1, frequency_hz=233.5e6),),
        at="2026-06-12T09:00:00",
        tester="SN 12",
        outcome="pass",
        source="a.csv",
        mapping="wide-values",
        notes=("decimal comma",),
    )


def test_what_was_read_is_told_before_anything_is_kept() -> None:
    told = field_result_table(result(), rows=[row_of(difference_of(4))], every=True)
    for words in ("a.csv", "wide-values", "tester SN 12", "outcome pass", "decimal comma", "38.50", "+2.10"):
        assert words in told
    assert "tester less bench where it counts" in told


def test_a_row_for_each_parameter_says_where_it_is_furthest() -> None:
    rows = [row_of(difference_of(place, offset)) for place, offset in ((4, 0.0), (5, -3.0), (6, 1.0))]
    told = field_result_table(result(), rows=rows, closing="it fits the channel")
    line = next(line for line in told.splitlines() if line.startswith("NEXT  "))
    largest = rows[1].largest
    assert largest is not None
    assert largest.difference < -2.0
    assert line.split()[:3] == ["NEXT", "2", "4"]
    assert f"{largest.difference:+.2f}  A 36-45" in line
    assert told.rstrip().splitlines()[-1] == "result       it fits the channel"
    assert "38.50" not in told
    assert "--every" in told


def test_what_does_not_fit_stands_at_both_ends_and_what_decides_nothing_is_a_note() -> None:
    rows = [row_of(difference_of(4))]
    told = field_result_table(result(), MISFITS, rows, closing="it does not fit").splitlines()
    assert told[0] == "does not fit pairs 36 and 45 exchanged"
    assert told[-2:] == ["does not fit pairs 36 and 45 exchanged", "result       it does not fit"]
    head, _, note = "\n".join(told).partition("note ")
    assert "ends exchanged would not be noticed" in note
    assert "ends exchanged" not in head
    item = comparison_item()
    lines = comparison_table(replace(item.comparison, suspicions=MISFITS[1:])).splitlines()
    assert not [line for line in lines if line.startswith("does not fit")]
    assert "ends exchanged would not be noticed (it decides nothing)" in " ".join(" ".join(lines).split())


def test_withdrawn_overdue_and_never_measured_are_said() -> None:
    item = comparison_item()
    assert "withdrawn: fell down" in channel_table(item.channel, (), Followed("fell down"))
    assert "not measured yet" in channel_table(item.channel, (), Followed())
    assert "not compared yet" in field_tester_table(item.tester, (), Followed())
    told = field_tester_table(item.tester, item.earlier, Followed(due=item.due[0]))
    assert "3 days overdue" in told
    assert "suggested: 45" in told


def test_the_most_urgent_is_first_in_the_due_list() -> None:
    never = replace(comparison_item().due[1], name="new", last="", due="", days_left=None)
    gone = replace(comparison_item().due[0], name="old", withdrawn=True)
    lines = due_table([gone, *comparison_item().due, never]).splitlines()[2:6]
    assert [line.split()[1] for line in lines] == ["new", "FT-07", "reference", "old"]
    assert "at once" in lines[0]
    assert "withdrawn" in lines[3]


def test_a_study_tells_what_comes_next() -> None:
    study = study_item(done=9)
    told = study_table(study.planned, study.measured, study.results, doubts=study.doubts, every=True)
    assert "96.04" in told
    told = study_table(study.planned, study.measured, study.results, doubts=study.doubts)
    assert "9 of 12 runs measured" in told
    assert [line.split()[0] for line in told.split("next\n")[1].splitlines()[2:]] == ["10", "11", "12"]
    assert "96.04" not in told


def test_names_of_others_hold_no_control_characters() -> None:
    item = comparison_item()
    found = replace(item.comparison, tester=HOSTILE, words=HOSTILE, notes=(HOSTILE,))
    tester = replace(item.tester, tester=HOSTILE, remarks=HOSTILE)
    told = comparison_table(found) + field_tester_table(tester, [found], Followed(HOSTILE))
    told += reference_list([{"what": "tester", "name": HOSTILE}])
    assert "\x1b" not in told
    assert "\u202e" not in told
