"""Rows as tables: nobody can take a mark of a limit's standing for one of the outcome."""

from __future__ import annotations

import dataclasses
import re
from itertools import permutations
from pathlib import Path
from types import SimpleNamespace

import pytest

from benchsweep.records import FOUR_PAIRS, Outcome, Parameter, Verdict, VerdictRow
from benchsweep.report.content._matrix import matrix_blocks
from benchsweep.report.content._verdict import emphasis_of, outcome_box, rule_words
from benchsweep.report.content._verdict_rows import reading_legend, rows_table
from benchsweep.report.document import Strong, Table, plain
from benchsweep.report.text import english, interval_words, load_texts, uncertainty_words, worst_rows
from tests.report.text.pseudo import translation

TEXTS = english()
P = Parameter


def row(parameter: Parameter, end: str | None, pairs: tuple[str, ...], margin: float | None, **more: object):
    made = VerdictRow(
        parameter, end, pairs, margin, 1e8, 40.0, 40.0 - (margin or 0.0), None,
        Outcome.PASS if margin is None or margin >= 0 else Outcome.FAIL, "from-memory",
    )  # fmt: skip
    return dataclasses.replace(made, **more)


def verdict(*rows: VerdictRow) -> Verdict:
    return Verdict("r", "s", "tia-6a-cord", "simple", 2.0, Outcome.FAIL, rows)


def test_one_standing_is_said_once_in_words_below(read: SimpleNamespace) -> None:
    rows = [row(P.NEXT, "A", ("12", "36"), 1.0), row(P.NEXT, "B", ("12", "36"), -1.0)]
    table, legend = rows_table(rows, ("caption",), TEXTS)
    assert isinstance(table, Table)
    assert [column.title for column in table.columns] == [
        "parameter", "end", "pairs", "margin", "at MHz", "value", "limit", "unit", "outcome"
    ]  # fmt: skip
    assert read.cells(table)[0] == ("NEXT", "A", "12-36", "+1.00", "100.00", "40.00", "39.00", "dB", "pass")
    assert plain(legend.line) == (
        "Standing of these limits: from memory, to be verified against your own copy of the standard."
    )
    assert not re.search(r"[*+?†]", "".join(cell for line in read.cells(table) for cell in line[4:]))
    assert [line.emphasis for line in table.rows] == ["", "fail"]


def test_several_standings_have_letters_in_a_column_of_their_own(read: SimpleNamespace) -> None:
    standings = ("published", "from-memory", "common-practice", "from hearsay", "published")
    rows = [row(P.NEXT, "A", ("12", "36"), 1.0, standing=standing) for standing in standings]
    table, legend = rows_table(rows, (), TEXTS)
    at = [column.title for column in table.columns].index("standing")
    letters = [cells[at] for cells in read.cells(table)]
    told = plain(legend.line)
    # The weakest comes first.
    assert letters == ["c", "a", "b", "d", "c"]
    for letter, words in zip(
        "abcd", ("from memory", "common practice", "checked", "from hearsay"), strict=True
    ):
        assert f"Standing of the limit, {letter}: {words}" in told
    assert all(re.fullmatch(r"\d+\.\d\d", cells[at - 1]) for cells in read.cells(table))


def test_notes_stand_below_once_and_columns_are_there_where_they_are_wanted(read: SimpleNamespace) -> None:
    rows = [
        row(P.NEXT, "A", ("12", "36"), 1.0, note="counts nowhere", expanded_uncertainty=0.31),
        row(P.NEXT, "A", ("36", "12"), None, note="no point", outcome=Outcome.UNDECIDED),
        row(P.NEXT, "B", ("12", "36"), 1.0, note="counts nowhere", guard_band=0.26),
    ]
    table, notes, _ = rows_table(rows, (), TEXTS)
    heads = [column.title for column in table.columns]
    cells = [dict(zip(heads, line, strict=True)) for line in read.cells(table)]
    assert [one["outcome"] for one in cells] == ["pass (1)", "undecided (2)", "pass (1)"]
    assert notes.legend
    assert plain(notes.line) == "(1) counts nowhere; (2) no point"
    assert [(one["U (k = 2)"], one["guard band"]) for one in cells] == [
        ("0.31", "-"), ("-", "-"), ("-", "0.26")
    ]  # fmt: skip
    assert [line.emphasis for line in table.rows] == ["", "undecided", ""]


def test_the_legend_tells_what_is_in_the_rows_and_no_more() -> None:
    bare = plain(reading_legend([row(P.NEXT, "A", ("12",), 1.0)], TEXTS).line)
    assert "receiver" in bare
    assert "guard band" not in bare.lower()
    assert "k = 2" not in bare
    told = [
        row(
            P.NEXT,
            "A",
            ("12",),
            0.1,
            outcome=Outcome.CONDITIONAL_PASS,
            guard_band=0.2,
            expanded_uncertainty=0.2,
        )
    ]
    for legend in (reading_legend(told, TEXTS), reading_legend(None, TEXTS)):
        words = plain(legend.line)
        assert "conditional-pass: inside the limit, but by less than the guard band." in words
        assert "k = 2" in words
        assert "Guard band" in words
    assert "conditional-fail" not in plain(reading_legend(told, TEXTS).line)
    assert "conditional-fail" in plain(reading_legend(None, TEXTS).line)


def test_the_matrix_holds_the_worst_of_both_directions(read: SimpleNamespace) -> None:
    """Against a plain loop over the rows."""
    rows = [
        row(P.NEXT, end, pairs, round(((place * 37) % 23) / 4 - 2.0, 2))
        for end in ("A", "B")
        for place, pairs in enumerate(permutations(FOUR_PAIRS, 2), start=ord(end))
    ]
    rows += [row(P.RETURN_LOSS, "A", (pair,), 1.0 + place) for place, pair in enumerate(FOUR_PAIRS)]
    rows += [row(P.SKEW, None, ("12", pair), 3.0) for pair in FOUR_PAIRS[1:]]
    rows += [row(P.PS_ANEXT_AVERAGE, "A", FOUR_PAIRS, 0.5)]
    pairs, both, legend = matrix_blocks(verdict(*rows), TEXTS)
    assert read.cells(pairs) == [("return loss", "A", "+1.00", "+2.00", "+3.00", "+4.00", "dB")]
    heads = [column.title for column in both.columns]
    assert heads == ["parameter", "end", "12-36", "12-45", "12-78", "36-45", "36-78", "45-78", "unit"]
    for cells in read.cells(both)[:2]:
        for head, cell in zip(heads[2:-1], cells[2:-1], strict=True):
            ways = {tuple(head.split("-")), tuple(reversed(head.split("-")))}
            worst = min(
                r.worst_margin_db
                for r in rows
                if r.parameter is P.NEXT and r.end == cells[1] and r.pairs in ways
            )
            assert cell == f"{worst:+.2f}" + (" f" if worst < 0 else "")
    assert read.cells(both)[2] == ("skew", "", "+3.00", "+3.00", "+3.00", "", "", "", "ns")
    assert "f: fail." in plain(legend.line)
    assert "cp:" not in plain(legend.line)


def test_what_is_no_plain_pass_is_heavy_and_lettered_in_the_matrix() -> None:
    rows = [
        row(
            P.RETURN_LOSS, "A", ("12",), 0.1, outcome=Outcome.FAIL
        ),  # within the guard band of guarded acceptance
        row(P.RETURN_LOSS, "A", ("36",), 0.1, outcome=Outcome.CONDITIONAL_PASS),
        row(P.RETURN_LOSS, "A", ("45",), -0.1, outcome=Outcome.CONDITIONAL_FAIL),
        row(P.RETURN_LOSS, "A", ("78",), None, outcome=Outcome.UNDECIDED),
    ]
    table, legend = matrix_blocks(verdict(*rows), TEXTS)
    cells = table.rows[0].cells[2:-1]
    assert all(isinstance(cell[0], Strong) for cell in cells)
    assert [plain(cell) for cell in cells] == ["+0.10 f", "+0.10 cp", "-0.10 cf", "- u"]
    for words in ("f: fail.", "cp: conditional-pass.", "cf: conditional-fail.", "u: undecided."):
        assert words in plain(legend.line)
    assert matrix_blocks(verdict(), TEXTS) == ()


def test_the_box_names_the_worst_six_and_counts_the_rest() -> None:
    rows = [row(P.NEXT, "A", pairs, -1.0 - n) for n, pairs in enumerate(permutations(FOUR_PAIRS, 2))]
    box = outcome_box(verdict(*rows), TEXTS)
    assert len(box.items) == 7
    assert plain(box.items[0]).startswith("NEXT, end A, pairs 78-45: 12.00 dB outside")
    assert plain(box.items[-1]) == "and 6 more, all listed below"
    good = dataclasses.replace(verdict(row(P.NEXT, "A", ("12", "36"), 2.0)), outcome=Outcome.PASS)
    box = outcome_box(good, TEXTS)
    assert box.items == ()
    assert plain(box.lines[-1]).startswith("Closest to its limit: NEXT, end A, pairs 12-36: 2.00 dB inside")


@pytest.mark.parametrize(
    ("outcome", "emphasis"),
    [("fail", "fail"), ("conditional-fail", "fail"), ("undecided", "undecided"), ("pass", ""),
     ("conditional-pass", "")],
)  # fmt: skip
def test_emphasis_goes_with_the_outcome(outcome: str, emphasis: str) -> None:
    assert emphasis_of(Outcome(outcome)) == emphasis


def test_decision_rules_are_explained_and_unknown_ones_left_as_they_are() -> None:
    assert "simple acceptance" in rule_words("simple", TEXTS)
    # ISO 14253-1:2017 (from memory): one-sided guard band of 1.65 u, which is 0.83 U with k = 2
    assert "0.83 times its expanded uncertainty" in rule_words("guard-band 0.83", TEXTS)
    assert "by at least its expanded uncertainty" in rule_words("guard-band", TEXTS)
    assert "the guard band is 1.5 times" in rule_words("four-way 1.5", TEXTS)
    assert "the guard band is the expanded uncertainty" in rule_words("four-way", TEXTS)
    assert rule_words("by lot", TEXTS) == ""


def test_an_uncertainty_never_prints_as_zero(read: SimpleNamespace) -> None:
    """Two significant digits: JCGM 100:2008, 7.2.6 (from memory)."""
    for value, told in (
        (0.0042, "0.0042"), (0.000996, "0.0010"), (3.14e-7, "0.00000031"), (0.0051, "0.01"),
        (0.31, "0.31"), (0.0, "0.00"), (None, "-"), (float("inf"), "infinite"),
    ):  # fmt: skip
        assert uncertainty_words(value, TEXTS) == told
    assert interval_words(0.004, 0.004, "ns", TEXTS) == "U 0.0040 ns"
    small = row(P.DELAY, None, ("12",), 1.0, expanded_uncertainty=0.0042, guard_band=0.0035)
    assert {"0.0042", "0.0035"} <= set(read.cells(rows_table([small], (), TEXTS)[0])[0])


def test_a_margin_smaller_than_its_uncertainty_has_a_note(read: SimpleNamespace) -> None:
    rows = [
        row(P.NEXT, "A", ("12", "36"), 0.3, expanded_uncertainty=0.31),
        row(P.NEXT, "A", ("12", "45"), -0.3, expanded_uncertainty=0.31, note="counts above 30 MHz"),
        row(P.NEXT, "A", ("12", "78"), 0.31, expanded_uncertainty=0.31),
        row(P.NEXT, "B", ("12", "36"), 0.3),
        # Rules with a guard band say so themselves.
        row(P.NEXT, "B", ("12", "45"), 0.3, expanded_uncertainty=0.31, guard_band=0.26),
        row(P.NEXT, "B", ("12", "78"), None, expanded_uncertainty=0.31),
    ]
    table, notes, _ = rows_table(rows, (), TEXTS)
    assert [cells[-1] for cells in read.cells(table)] == [
        "pass (1)", "fail (2) (1)", "pass", "pass", "pass", "pass"
    ]  # fmt: skip
    assert plain(notes.line) == (
        "(1) nearer to the limit than U: decided by the value alone (simple acceptance), the true value may "
        "lie beyond the limit; (2) counts above 30 MHz"
    )


def test_a_failing_row_stands_before_an_undecided_one_of_the_same_parameter_and_end() -> None:
    failing = row(P.NEXT, "A", ("12", "36"), -1.0)
    undecided = row(P.NEXT, "A", ("12", "45"), None, outcome=Outcome.UNDECIDED)
    passing = row(P.NEXT, "A", ("12", "78"), 2.0)
    for rows in permutations((failing, undecided, passing)):
        assert worst_rows(verdict(*rows)) == (failing, undecided)
    assert worst_rows(verdict(passing, undecided)) == (undecided, passing)


def test_letters_of_outcomes_follow_the_catalogue(tmp_path: Path) -> None:
    letters = {"f": "nb", "u": "offen", "fail": "nicht bestanden"}
    texts = load_texts(translation(tmp_path, lambda word: letters.get(word, word), language="de"))
    rows = [
        row(P.RETURN_LOSS, "A", ("12",), -0.1),
        row(P.RETURN_LOSS, "A", ("36",), None, outcome=Outcome.UNDECIDED),
    ]
    table, legend = matrix_blocks(verdict(*rows), texts)
    assert [plain(cell) for cell in table.rows[0].cells[2:4]] == ["-0.10 nb", "- offen"]
    assert "nb: nicht bestanden." in plain(legend.line)
