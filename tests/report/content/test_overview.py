"""Several measurements at a glance: counts, tables and spreads hold what the verdicts hold."""

from __future__ import annotations

import dataclasses
import re
import statistics
from collections import Counter
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import Outcome, Parameter, Verdict, VerdictRow, WiringFinding, WiringReport
from benchsweep.report.content._opening import opened
from benchsweep.report.content._overview import overview_section
from benchsweep.report.content._summary import Summary
from benchsweep.report.document import Box, Given, Link, Paragraph, Section, Table, plain
from benchsweep.report.text import Texts, english, load_texts
from tests.report.text.pseudo import outside_marks, pseudo_language

P = Parameter
TEXTS = english()
TRACES = [
    (P.RETURN_LOSS, "A", ("12",)),
    (P.RETURN_LOSS, "B", ("36",)),
    (P.NEXT, "A", ("12", "36")),
    (P.NEXT, "B", ("45", "78")),
    (P.DELAY, None, ("12",)),
]


def verdict(name: str, margins: list[float | None], requirement: str = "r-1") -> Verdict:
    """Rows with those margins: what is below zero fails, what is None is undecided."""
    rows = tuple(
        VerdictRow(
            *trace,
            worst_margin_db=margin,
            frequency_hz=None if margin is None else 1e6 * (place + 1),
            value=None,
            limit=None,
            expanded_uncertainty=None,
            outcome=Outcome.UNDECIDED if margin is None else Outcome.PASS if margin >= 0 else Outcome.FAIL,
            standing="published",
            note="" if margin is not None else "not measured",
        )
        for place, (trace, margin) in enumerate(zip(TRACES, margins, strict=True))
    )
    found = {row.outcome for row in rows}
    worst = next(one for one in (Outcome.FAIL, Outcome.UNDECIDED, Outcome.PASS) if one in found)
    return Verdict(f"{name}.h5", name, requirement, "simple", None, worst, rows)


def summary(number: int, margins: list[float | None], *, name: str = "", lot: str = "") -> Summary:
    name = name or f"cord {number}"
    made = f"2026-03-{number % 28 + 1:02d}T08:30:59+01:00"
    return Summary(f"specimen-{number}", name, lot, made, None, (verdict(name, margins),))


def many(count: int, seed: int = 5) -> list[Summary]:
    drawn = np.random.default_rng(seed).normal(2.0, 1.5, (count, len(TRACES)))
    return [summary(number, list(map(float, row)), lot="L-1") for number, row in enumerate(drawn, start=1)]


def tables(section: Section, read: SimpleNamespace) -> list[Table]:
    return read.every(section, Table)


def counts(parts: list[Summary], texts: Texts = TEXTS) -> Box:
    """Return what the report says first of these."""
    sections = [Section((Given(part.specimen),), (Paragraph(("…",)),), anchor=part.anchor) for part in parts]
    box, rest = opened(parts, sections, texts)
    assert box is not None
    assert rest == sections
    return box


def test_outcomes_are_counted_in_words_before_anything_else() -> None:
    parts = [*many(30), summary(31, [None, 1.0, 1.0, 1.0, 1.0])]
    first = counts(parts)
    outcomes = Counter(str(part.verdicts[0].outcome) for part in parts)
    assert outcomes["fail"] > 0
    assert outcomes["pass"] > 0
    assert (first.word, first.emphasis) == ("fail", "fail")
    told = plain(first.lines[0])
    assert told == (f"r-1, 31 measurements: {outcomes['fail']} fail, 1 undecided, {outcomes['pass']} pass")
    again = [*parts[:2], parts[0]]
    assert "3 measurements, different specimens 2" in plain(counts(again).lines[0])
    assert counts(many(1)[:1]).lines[0] == (Given("cord 1"),)


def test_the_outcome_of_one_is_told_once_and_first() -> None:
    (part,) = many(1)[:1]
    own = Box("pass", (("against r-1",),))
    section = Section((Given("cord 1"),), (own, Paragraph(("…",))), anchor=part.anchor)
    box, (rest,) = opened([part], [section], TEXTS)
    assert box == Box("pass", ((Given("cord 1"),), ("against r-1",)))
    assert rest.blocks == section.blocks[1:]
    assert opened([], [], TEXTS) == (None, [])


def test_each_measurement_has_a_line_that_leads_to_its_part(read: SimpleNamespace) -> None:
    parts = many(5)
    table = tables(overview_section(parts, TEXTS), read)[0]
    assert [column.title for column in table.columns][:4] == ["no.", "specimen", "lot", "measured at"]
    for part, row in zip(parts, table.rows, strict=True):
        (link,) = row.cells[1]
        assert isinstance(link, Link)
        assert (link.anchor, plain((link,))) == (part.anchor, part.specimen)
        assert plain(row.cells[2]) == "L-1"
        # An hour before the time with its offset, UTC.
        assert plain(row.cells[3]) == f"{part.created_at[:10]}T07:30Z"
        assert plain(row.cells[4]) == str(part.verdicts[0].outcome)
        assert row.emphasis == ("fail" if part.verdicts[0].outcome is Outcome.FAIL else "")
        worst = min(row.worst_margin_db for row in part.verdicts[0].rows[:4])
        assert f"{abs(worst):.2f} dB {'outside' if worst < 0 else 'inside'} the limit" in plain(row.cells[5])


def test_of_many_those_that_do_not_pass_come_first(read: SimpleNamespace) -> None:
    parts = many(40)
    parts[20] = summary(21, [None, 3.0, 3.0, 3.0, 3.0], lot="L-1")
    table = tables(overview_section(parts, TEXTS), read)[0]
    numbers = [int(plain(row.cells[0])) for row in table.rows]
    assert sorted(numbers) == list(range(1, 41))
    failing = [number for number, one in enumerate(parts, 1) if one.verdicts[0].outcome is Outcome.FAIL]
    passing = [number for number, one in enumerate(parts, 1) if one.verdicts[0].outcome is Outcome.PASS]
    assert numbers == [*failing, 21, *passing]
    by_number = dict(zip(numbers, table.rows, strict=True))
    for number in (*failing[:3], *passing[:3]):
        rows = parts[number - 1].verdicts[0].rows[:4]
        worst = min(rows, key=lambda row: row.worst_margin_db)
        cells = [plain(cell) for cell in by_number[number].cells]
        assert f"{worst.worst_margin_db:+.2f} dB" in cells
        assert f"{worst.frequency_hz / 1e6:.3f}" in cells
        assert any(cell.endswith(f"{worst.end} {'-'.join(worst.pairs)}") for cell in cells)
    # Nothing stands against a pass, and what fails by its worst margin has told so.
    assert all(plain(by_number[number].cells[-1]) == "" for number in (*failing, *passing))
    assert "not measured" in plain(by_number[21].cells[-1])
    assert table.columns[-1].title == "reason"
    parts[20] = summary(21, [1.0] * 5, lot="L-1")
    assert tables(overview_section(parts, TEXTS), read)[0].columns[-1].title == "MHz"
    split = WiringReport(
        (1, 2, 3, 4, 5, 6, 7, 8), (WiringFinding("split", (3, 6, 4, 5), ("36", "45"), "B", "split"),)
    )
    failing_by_wiring = dataclasses.replace(parts[20].verdicts[0], outcome=Outcome.FAIL, wiring=split)
    parts[20] = dataclasses.replace(parts[20], verdicts=(failing_by_wiring,))
    first = tables(overview_section(parts, TEXTS), read)[0]
    (told,) = [row for row in first.rows if plain(row.cells[0]) == "21"]
    assert plain(told.cells[-1]) == "wiring: split, pairs 36 and 45"


def test_margins_are_spread_from_the_least_to_the_greatest(read: SimpleNamespace) -> None:
    parts = many(15)
    parts[3] = summary(4, [None, None, 0.5, 0.5, 0.5], lot="L-1")
    table = tables(overview_section(parts, TEXTS), read)[1]
    told = {plain(row.cells[0]): [plain(cell) for cell in row.cells] for row in table.rows}
    assert list(told) == ["return loss", "NEXT", "delay"]
    for name, parameter in (("return loss", P.RETURN_LOSS), ("NEXT", P.NEXT), ("delay", P.DELAY)):
        # Of each measurement the smallest margin of the parameter; the fourth has none of return loss.
        worst = {}
        for part in parts:
            margins = [
                row.worst_margin_db
                for row in part.verdicts[0].rows
                if row.parameter is parameter and row.worst_margin_db is not None
            ]
            if margins:
                worst[part.specimen] = min(margins)
        values = worst.values()
        expected = [min(values), statistics.median(values), max(values)]
        assert told[name][1:5] == [str(len(worst)), *(f"{value:+.2f}" for value in expected)]
        assert told[name][5] == parameter.unit
        assert worst[told[name][6]] == min(values)
    assert told["return loss"][1] == "14"
    links = {row.cells[6][0].anchor: plain(row.cells[6]) for row in table.rows}
    assert all(anchor == f"specimen-{name.split()[-1]}" for anchor, name in links.items())


def test_a_few_are_compared_trace_by_trace(read: SimpleNamespace) -> None:
    parts = many(3)
    parts[1] = summary(2, [-0.5, None, 1.0, 2.0, 3.0])
    section = overview_section(parts, TEXTS)
    (compared,) = [block for block in section.blocks if isinstance(block, Section)]
    assert compared.folded
    table = tables(compared, read)[0]
    assert [column.title for column in table.columns][3:] == ["1", "2", "3", "spread"]
    assert len(table.rows) == len(TRACES)
    for place, row in enumerate(table.rows):
        margins = [part.verdicts[0].rows[place].worst_margin_db for part in parts]
        told = [plain(cell) for cell in row.cells[3:]]
        known = [value for value in margins if value is not None]
        for cell, value in zip(told[:3], margins, strict=True):
            words = "undecided" if value is None else f"{value:+.2f}" + (" fail" if value < 0 else "")
            assert cell == words
        assert told[3] == f"{max(known) - min(known):.2f}"
    assert table.rows[0].emphasis == "fail"


@pytest.mark.parametrize(("count", "compared"), [(8, True), (9, False)])
def test_more_than_eight_are_not_compared_trace_by_trace(count: int, compared: bool) -> None:
    section = overview_section(many(count), TEXTS)
    assert any(isinstance(block, Section) for block in section.blocks) == compared


def test_of_several_requirements_the_worst_is_told_and_each_has_its_margins(read: SimpleNamespace) -> None:
    parts = [
        Summary(
            f"specimen-{number}", f"cord {number}", "", "2026-03-01T08:30:00Z", None,
            (verdict("x", [2.0] * 5, "mild"), verdict("x", [-1.0 if number == 2 else 0.5] * 5, "strict")),
        )
        for number in (1, 2, 3)
    ]  # fmt: skip
    section = overview_section(parts, TEXTS)
    assert [plain(told) for told in counts(parts).lines] == [
        "mild, 3 measurements: 3 pass",
        "strict, 3 measurements: 1 fail, 2 pass",
    ]
    first, *margins = tables(section, read)
    assert [plain(row.cells[3]) for row in first.rows] == ["pass", "fail", "pass"]
    # Of those that all pass the one with the smallest margin.
    assert [plain(row.cells[4]) for row in first.rows] == ["strict"] * 3
    captions = [plain(table.caption) for table in margins[:2]]
    assert ["mild" in captions[0], "strict" in captions[1]] == [True, True]
    assert plain(margins[1].rows[0].cells[2]) == "-1.00"


def test_every_word_of_ours_comes_from_the_catalogue(read: SimpleNamespace, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    bad = summary(2, [-1.0, None, 1.0, 1.0, 1.0])
    for parts in ([*many(3), bad, bad], [*many(30), bad]):
        section = overview_section(parts, texts)
        ours = [
            plain(tuple(piece for piece in line if not isinstance(piece, Given | Link)))
            for line in (*read.lines(section), *counts(parts, texts).lines)
        ]
        left = {word for line in ours for word in re.findall(r"[^\W\d_]+", outside_marks(line))}
        # The ends of the specimen, units, and the T and Z of times.
        assert left <= {"A", "B", "dB", "ns"}


def test_names_of_others_stay_apart(read: SimpleNamespace) -> None:
    name = "<script>\u202e{count}"
    parts = [summary(1, [1.0] * 5, name=name, lot=name), summary(2, [1.0] * 5)]
    pieces = [piece for line in read.lines(overview_section(parts, TEXTS)) for piece in line]
    given = [piece.piece if isinstance(piece, Link) else piece for piece in pieces]
    holding = [piece for piece in given if name in plain((piece,))]
    # Twice in its own line, in each of three lines of margins, as the best, and once before the columns.
    assert len(holding) == 7
    assert all(isinstance(piece, Given) for piece in holding)


def with_outcome(part: Summary, place: int, outcome: Outcome, whole: Outcome) -> Summary:
    """Return the measurement with another outcome of one of its traces, and of all."""
    (one,) = part.verdicts
    rows = list(one.rows)
    rows[place] = dataclasses.replace(rows[place], outcome=outcome)
    return dataclasses.replace(part, verdicts=(dataclasses.replace(one, rows=tuple(rows), outcome=whole),))


def test_the_outcome_beside_the_least_margin_is_that_of_its_trace(read: SimpleNamespace) -> None:
    """Another measurement fails by its guard band though its margin is greater."""
    parts = [summary(1, [0.2, 5.0, 1.0, 1.0, 1.0]), summary(2, [0.5, 5.0, 1.0, 1.0, 1.0])]
    parts[1] = with_outcome(parts[1], 0, Outcome.FAIL, Outcome.FAIL)
    row = tables(overview_section(parts, TEXTS), read)[1].rows[0]
    assert [plain(cell) for cell in row.cells][6:] == ["cord 1", "A 12", "1.000", "pass"]
    assert row.emphasis == ""
    parts[0] = with_outcome(parts[0], 0, Outcome.FAIL, Outcome.FAIL)
    parts[1] = summary(2, [0.5, 5.0, 1.0, 1.0, 1.0])
    row = tables(overview_section(parts, TEXTS), read)[1].rows[0]
    assert (plain(row.cells[-1]), row.emphasis) == ("fail", "fail")


def test_infinite_margins_are_counted_beside_the_spread(read: SimpleNamespace) -> None:
    infinite = float("inf")
    parts = [
        summary(1, [1.0, infinite, -infinite, 1.0, 1.0]),
        summary(2, [2.5, 1.0, 2.0, 1.0, 1.0]),
        summary(3, [2.0, infinite, 3.5, 1.0, 1.0]),
    ]
    (compared,) = [block for block in overview_section(parts, TEXTS).blocks if isinstance(block, Section)]
    told = [plain(row.cells[-1]) for row in tables(compared, read)[0].rows]
    assert told == ["1.50", "-; 2 infinite", "1.50; 1 infinite", "0.00", "0.00"]
    assert "infinite margins are not in it" in plain(compared.blocks[-1].line)
    nearest = [plain(row.cells[-1]) for row in tables(overview_section(parts, TEXTS), read)[0].rows]
    assert "infinitely far outside the limit at 3.000 MHz" in nearest[0]
    assert "-infinite dB" not in " ".join(nearest)


def test_a_doubtful_outcome_is_marked(read: SimpleNamespace) -> None:
    parts = [dataclasses.replace(part, doubtful=(place == 1,)) for place, part in enumerate(many(3))]
    told = [plain(row.cells[4]) for row in tables(overview_section(parts, TEXTS), read)[0].rows]
    outcomes = [str(part.verdicts[0].outcome) for part in parts]
    assert told == [outcomes[0], f"{outcomes[1]}, doubtful", outcomes[2]]
    # Of two requirements the mark is that of the verdict that is shown.
    both = (verdict("x", [2.0] * 5, "mild"), verdict("x", [-1.0] * 5, "strict"))
    parts = [
        dataclasses.replace(part, verdicts=both, doubtful=(place == 0, place == 1))
        for place, part in enumerate(many(2))
    ]
    table = tables(overview_section(parts, TEXTS), read)[0]
    at = [column.title for column in table.columns].index("outcome")
    assert [plain(row.cells[at]) for row in table.rows] == ["fail", "fail, doubtful"]


@pytest.mark.parametrize(
    ("imported", "head"),
    [((False, False), "measured at"), ((True, True), "imported at"),
     ((True, False), "measured or imported at")],
)  # fmt: skip
def test_the_time_of_an_import_is_not_called_that_of_a_measurement(
    imported: tuple[bool, bool], head: str, read: SimpleNamespace
) -> None:
    parts = [dataclasses.replace(one, imported=told) for one, told in zip(many(2), imported, strict=True)]
    assert tables(overview_section(parts, TEXTS), read)[0].columns[3].title == head


def ranking(parts: list[Summary]) -> list[str]:
    blocks = overview_section(parts, TEXTS).blocks
    return [plain(block.line) for block in blocks if isinstance(block, Paragraph)]


def test_the_tightest_parameter_and_the_best_specimen_are_named() -> None:
    parts = [
        summary(1, [1.0, 4.0, 3.0, 2.0, 0.1]),
        summary(2, [3.0, 9.0, 2.5, 2.5, 0.1]),
        summary(3, [5.0, 9.0, 9.0, 1.0, -0.1]),  # the delay fails: not the best, whatever its margins in dB
        summary(4, [3.0, 3.0, 1.5, 2.5, 0.1]),
    ]
    # Return loss 1, 3, 5, 3 and NEXT 2, 2.5, 1, 1.5; delay is nearer to its limit, but in ns.
    assert ranking(parts) == [
        "Tightest parameter against r-1: NEXT, with the smallest median of the worst margins in dB: "
        "+1.75 dB.",
        "Best specimen against r-1: cord 2, which passes with the greatest worst margin in dB: +2.50 dB, "
        "NEXT A 12-36.",
    ]
    parts[1] = with_outcome(parts[1], 2, Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_PASS)
    assert "cord 4" in ranking(parts)[1]  # a plain pass first
    parts[3] = dataclasses.replace(parts[3], doubtful=(True,))
    assert "cord 4, which passes (doubtful)" in ranking(parts)[1]
    assert len(ranking([summary(1, [-1.0] * 5), summary(2, [-1.0] * 5)])) == 1
