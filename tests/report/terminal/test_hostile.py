"""Names from people, files and instruments on the terminal: never obeyed, never wider than the terminal."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import (
    BudgetRow,
    Contribution,
    Fault,
    Origin,
    Outcome,
    Parameter,
    Specimen,
    UnfinishedSeries,
    Verdict,
    VerdictRow,
    WiringFinding,
    WiringReport,
)
from benchsweep.report import (
    PlottedTrace,
    archive_check_table,
    budget_table,
    labelled_table,
    measurement_table,
    requirement_table,
    series_table,
    stopping_words,
    trace_plot,
    unfinished_table,
    verdict_table,
)
from tests.report.terminal.test_series import head, summary

P = Parameter
NAMES = {
    "colours and cursor": "7\x1b[31m\x1b[2J\x1b]0;title\x07\b\b\x9b1m",
    "lines": "a\r\nb\x0bc\u2028d\u2029e\x85f\tg",
    "directions": "\u202epass\u202c \u2066x\u2069 \u200fy\u200e \u061c",
    "long": "x" * 300,
    "long words": "reel " * 60,
    "wide": "\u96fb\u7dda" * 150,
    "combining": "e\u0301" * 150,
    "right to left": "\u05db\u05d1\u05dc " * 30,
    "unseen": "pa\u200bss\ufeff\U000e0041\ue000",
    "unpaired": "a\ud800b",
}


def texts(name: str, width: int, build: SimpleNamespace) -> list[str]:
    row = VerdictRow(
        P.NEXT,
        "B",
        (name, name),
        -1.0,
        2e8,
        37.4,
        38.4,
        None,
        Outcome.FAIL,
        name,
        f"{name}; {name}",
        0.1,
        0.1,
        0.5,
    )
    undecided = replace(row, worst_margin_db=None, outcome=Outcome.UNDECIDED)
    wiring = WiringReport((1, 2, 6, 4, 5, 3, 7, 8), (WiringFinding(name, (3, 6), (name,), "B", name),))
    verdict = Verdict(
        name, name, name, name, 2.0, Outcome.FAIL, (row, undecided), wiring, (name,), name, (name,)
    )
    bare = replace(verdict, wiring=None, rows=(undecided,), outcome=Outcome.UNDECIDED)
    measurement = replace(
        build.item(points=20).measurement,
        specimen=Specimen(name, None, name, name),
        operator=name,
        station=name,
        source_file=name,
        verification=name,
        software={name: name},
        ambient={name: 1.0},
        incidents=(name,),
        fixture_toml=f"name = {name!r}",
        budget_toml=f"name = {name!r}",
    )
    grid = np.linspace(1e6, 5e8, 20)
    plotted = PlottedTrace(row, grid, np.linspace(60.0, 30.0, 20), np.linspace(55.0, 28.0, 20), "min")
    budget = BudgetRow(
        P.NEXT, "A", (name, name), 1e8, 40.0, 0.1, 0.2, (Contribution(name, 0.1, 1.0, name, name),)
    )
    check = {
        "findings": [{"finding": "orphan", "record": name, "reason": name}],
        "newer": [{"record": name, "reason": name}],
        "damaged": [{"record": name, "reason": name}],
        "files": {"record": 1},
        "archive": name,
        "seconds": 0.1,
        "list": {"file": name, "files": 2, "sha256": "ab" * 32},
        "compared": {"file": name, "files": 2, "new": 0},
    }
    return [
        verdict_table(
            verdict,
            faults=[Fault("contact", "A", (name,), (1,), None, None, f"fault {name}", (name,))],
            origins=[Origin(P.NEXT, "B", (name, name), 2e8, (1e8, 3e8), None, None, None, None, name)],
            width=width,
        ),
        verdict_table(bare, width=width),
        requirement_table([verdict, bare], width=width),
        measurement_table(measurement, width=width),
        budget_table([budget], record=name, requirement=name, width=width),
        series_table(head(name), summary(words=name), width=width),
        unfinished_table([UnfinishedSeries(name, name, name, name, name, 3, name, name, name)], width=width),
        archive_check_table(check, width=width),
        labelled_table([("content", [name])], width=width),
        trace_plot(plotted, width=width),
        trace_plot(plotted, width=width, ascii_only=True),
    ]


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_hostile_names_are_harmless(name: str, width: int, build: SimpleNamespace) -> None:
    told = texts(name, width, build)
    assert len(told) == 11
    for text in told:
        assert text.strip()
        for line in text.splitlines():
            # Counted here on its own: wide characters take two columns, marks none.
            taken = sum(
                0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
                for char in line
            )
            assert taken <= width, line
        found = {char for char in text if unicodedata.category(char)[0] == "C" or char in "\u2028\u2029"}
        assert found <= {"\n"}
        text.encode("utf-8")


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_what_stops_a_pass_is_one_clean_line(name: str) -> None:
    verdict = Verdict("r", "s", "q", "simple", None, Outcome.UNDECIDED, (), None, (name,))
    told = stopping_words(verdict)
    assert told
    assert not {char for char in told if unicodedata.category(char)[0] in "CZ" and char != " "}


def test_nothing_of_a_name_can_look_like_an_outcome_of_ours(build: SimpleNamespace) -> None:
    """A direction override could show `fail` as `pass`, a line break could begin a line of its own."""
    verdict = Verdict("r", "x\n\u202eoutcome      pass", "q", "simple", None, Outcome.FAIL, ())
    lines = verdict_table(verdict).splitlines()
    assert [line for line in lines if line.startswith("outcome")] == ["outcome      fail: nothing was graded"]
    assert "specimen     x??outcome pass" in lines
