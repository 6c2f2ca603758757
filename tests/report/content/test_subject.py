"""A specimen's part: the order in which people ask, nothing lost, nothing said twice."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import (
    AlienShare,
    Comment,
    Fault,
    Origin,
    Outcome,
    Parameter,
    Trace,
    WiringReport,
)
from benchsweep.report import BestCategory, Findings, ReportItem
from benchsweep.report.content import subject_section
from benchsweep.report.document import Box, Drawn, Link, Section, Table, plain
from benchsweep.report.text import english

TEXTS = english()
FAULTS = (
    Fault(
        "untwist", "B", ("36", "45"), (3, 4, 5, 6), 1.9, 2.0, "pairs 3-6 and 4-5 are untwisted", ("21 dB",)
    ),
    Fault("crush", None, ("12",), (1, 2), 0.7, 0.9, "pair 1-2 is crushed between 0.7 and 0.9 m", ()),
)


def titles(section: Section) -> list[str]:
    return [plain(block.title) for block in section.blocks if isinstance(block, Section)]


def easier(item: ReportItem, name: str, by_db: float) -> ReportItem:
    """The same measurement against limits that are so much easier."""
    rows = tuple(
        dataclasses.replace(
            row,
            worst_margin_db=row.worst_margin_db + by_db,
            limit=row.limit - by_db,
            outcome=Outcome.PASS if row.worst_margin_db + by_db >= 0 else Outcome.FAIL,
        )
        for row in item.verdict.rows
    )
    outcome = Outcome.FAIL if any(row.outcome is Outcome.FAIL for row in rows) else Outcome.PASS
    verdict = dataclasses.replace(item.verdict, requirement=name, rows=rows, outcome=outcome)
    return dataclasses.replace(item, verdict=verdict)


@pytest.fixture(scope="module")
def failing(build: SimpleNamespace) -> ReportItem:
    return build.item(points=40, fault_db=11.0)


@pytest.fixture(scope="module")
def untwisted(graded: Callable[..., list[ReportItem]]) -> list[ReportItem]:
    # The grid is fine enough for places to be told.
    return graded("cord-2m-untwisted-b", "tia-6a-cord", rule="guard-band 0.83", points=500)


@pytest.fixture(scope="module")
def several(graded: Callable[..., list[ReportItem]]) -> list[ReportItem]:
    return graded("cord-2m", "tia-6a-cord", "iso-ea-channel", "tia-6-cord", rule="four-way")


def test_outcome_then_doubts_then_faults_then_margins_then_charts_then_how(
    untwisted: list[ReportItem], read: SimpleNamespace
) -> None:
    section = subject_section(untwisted, TEXTS, place=4)
    assert section.anchor == "specimen-4"
    assert section.tellable == ("12", "36", "45", "78")
    first = section.blocks[0]
    assert isinstance(first, Box)
    assert (first.word, first.emphasis) == ("fail", "fail")
    assert plain(first.items[0]).startswith("NEXT, end B, pairs 36-45: ")
    told = titles(section)
    order = [
        "What is wrong, and where",
        "Worst margins, pair by pair",
        "Traces",
        "Over the distance",
        "How it was measured",
        "Calibration",
        "Fixture",
        "Uncertainty budget",
        "Limits used",
        "Provenance",
    ]
    assert [told.index(title) for title in order] == sorted(told.index(title) for title in order)
    words = read.words(section)
    assert words.index("untwisted too far") < words.index("wiring") < words.index("Worst margin of each")
    drawn = [picture.picture.name for picture in read.every(section, Drawn)]
    assert len(set(drawn)) == len(drawn) == 13 + 3
    assert all(name.startswith("specimen-4-") for name in drawn)


def test_every_row_and_the_record_are_told(untwisted: list[ReportItem], read: SimpleNamespace) -> None:
    """Margin, limit, uncertainty and guard band of each row, as the record's verdict has them."""
    section = subject_section(untwisted, TEXTS, place=1)
    (every,) = [s for s in read.every(section, Section) if plain(s.title).startswith("Every graded trace")]
    assert every.folded
    (table,) = read.every(every, Table)
    heads = [column.title for column in table.columns]
    rows = [dict(zip(heads, row, strict=True)) for row in read.cells(table)]
    verdict = untwisted[0].verdict
    names = {Parameter.NEXT: "NEXT", Parameter.RETURN_LOSS: "return loss"}
    assert len(rows) == len(verdict.rows) == 20
    for row in verdict.rows:
        key = (names[row.parameter], row.end, "-".join(row.pairs))
        (told,) = [one for one in rows if (one["parameter"], one["end"], one["pairs"]) == key]
        assert told["margin"] == f"{row.worst_margin_db:+.2f}"
        assert told["value"] == f"{row.value:.2f}"
        assert float(told["at MHz"]) == pytest.approx(row.frequency_hz / 1e6, rel=1e-4)
        assert told["limit"] == f"{row.limit:.2f}"
        assert told["U (k = 2)"] == f"{row.expanded_uncertainty:.2f}"
        assert told["guard band"] == f"{row.guard_band:.2f}"
        assert told["outcome"] == row.outcome.value
    facts = read.facts(section)
    assert facts["record"] == [verdict.record]
    assert facts["content hash"][0] == untwisted[0].content_hash
    assert len(untwisted[0].content_hash) == 64
    assert facts["length used"] == ["2 m"]
    assert facts["uncertainty by budget"] == ["simulated"]
    assert facts["imported at"][0] == "2026-01-01T09:00:00+00:00"


def test_the_outcome_is_counted_and_the_wiring_told(failing: ReportItem, read: SimpleNamespace) -> None:
    section = subject_section([failing], TEXTS, place=1)
    counts = Counter(row.outcome.value for row in failing.verdict.rows)
    assert set(counts) == {"pass", "fail"}
    (box,) = read.every(section, Box)
    assert plain(box.lines[-1]) == (
        f"of {sum(counts.values())} graded traces {counts['fail']} fail, {counts['pass']} pass"
    )
    assert read.facts(section)["wiring"] == ["wrong", "pairs 3-6 and 4-5 are split at end B"]
    sound = dataclasses.replace(failing.verdict, wiring=WiringReport((1, 2, 3, 4, 5, 6, 7, 8), ()))
    again = subject_section([dataclasses.replace(failing, verdict=sound)], TEXTS, place=1)
    assert "wrong" not in read.facts(again)["wiring"]


def test_a_measurement_is_drawn_once_with_every_limit(failing: ReportItem, read: SimpleNamespace) -> None:
    known = dataclasses.replace(failing, findings=Findings(faults=FAULTS))
    items = [known, easier(failing, "easy", 30.0), easier(failing, "easier", 40.0)]
    section = subject_section(items, TEXTS, place=1)
    drawn = [block.picture for block in read.every(section, Drawn)]
    there = [p for p in Parameter if any(trace.parameter is p for trace in failing.traces)]
    there.sort(key=lambda parameter: parameter not in failing.limits)
    assert [one.name for one in drawn] == [f"specimen-1-{p.value.replace('_', '-')}" for p in there]
    (others,) = [s for s in read.every(section, Section) if plain(s.title).startswith("Parameters that no")]
    assert others.folded
    assert len(read.every(others, Drawn)) == sum(p not in failing.limits for p in there) > 0
    rows = read.cells(section.blocks[0])
    assert rows[0] == ("1", "tia-6a-cord", "fail", "wiring: split, pairs 36 and 45")
    assert rows[2][:3] == ("3", "easier", "pass")
    assert "inside the limit" in rows[2][3]
    words = read.words(section)
    order = ["One measurement, 3 requirements", "What is wrong", "1: against", "3: against", "Traces"]
    assert [words.index(part) for part in order] == sorted(words.index(part) for part in order)
    assert "(1 tia-6a-cord, 2 easy, 3 easier)" in words


def test_whether_uncertainty_was_evaluated_is_said(failing: ReportItem, read: SimpleNamespace) -> None:
    plainly = read.words(subject_section([failing], TEXTS, place=1))
    assert "No measurement uncertainty was evaluated" in plainly
    for told in ("The bar through a ring", "acceptance limit", "U (k = 2)", "conditional-pass"):
        assert told not in plainly
    first, *others = (
        dataclasses.replace(
            row, expanded_uncertainty=0.5, uncertainty_low=0.4, uncertainty_high=0.5, guard_band=0.4
        )
        for row in failing.verdict.rows
    )
    rows = (dataclasses.replace(first, outcome=Outcome.CONDITIONAL_PASS), *others)
    known = dataclasses.replace(failing, verdict=dataclasses.replace(failing.verdict, rows=rows))
    words = read.words(subject_section([known], TEXTS, place=1))
    assert "No measurement uncertainty" not in words
    for told in ("The bar through a ring", "acceptance limit", "U (k = 2)"):
        assert told in words
    assert "conditional-pass: inside the limit, but by less than the guard band." in words


def test_alien_traces_stand_beside_their_table(failing: ReportItem, read: SimpleNamespace) -> None:
    grid = failing.traces[0].frequency_hz
    alien = [Trace(Parameter.PS_ANEXT, "A", (pair,), grid, np.full(grid.size, 60.0)) for pair in ("12", "36")]
    share = AlienShare(Parameter.PS_ANEXT, "A", "12", 2, None, 1e8, 1.0, 61.5, 1.0)
    findings = Findings(shares=[share], enough_disturbers="2 disturbing cables are not enough")
    item = dataclasses.replace(failing, traces=[*failing.traces, *alien], findings=findings)
    section = subject_section([item], TEXTS, place=1)
    (beside,) = [one for one in read.every(section, Section) if plain(one.title) == "Alien crosstalk"]
    assert [one.picture.name for one in read.every(beside, Drawn)] == ["specimen-1-ps-anext"]
    assert len(read.every(beside, Table)) == 1
    assert "2 disturbing cables are not enough" in read.words(beside)
    (traces,) = [one for one in read.every(section, Section) if plain(one.title) == "Traces"]
    assert "PS ANEXT" not in read.words(traces)


def test_several_requirements_are_told_one_by_one_and_side_by_side(
    several: list[ReportItem], read: SimpleNamespace
) -> None:
    section = subject_section(several, TEXTS, place=2)
    head = section.blocks[0]
    assert isinstance(head, Table)
    assert [row[2] for row in read.cells(head)] == ["pass", "pass", "pass"]
    links = [cell for row in head.rows for cell in row.cells[1] if isinstance(cell, Link)]
    anchors = [inner.anchor for inner in read.every(section, Section) if inner.anchor]
    assert [link.anchor for link in links] == ["specimen-2-1", "specimen-2-2", "specimen-2-3"]
    assert set(anchors) == {"specimen-2", *(link.anchor for link in links)}
    assert len(anchors) == 4
    assert [title for title in titles(section) if "against" in title] == [
        "1: against tia-6a-cord", "2: against iso-ea-channel", "3: against tia-6-cord"
    ]  # fmt: skip
    (best,) = [t for t in read.every(section, Table) if plain(t.caption) == "Highest category that passes"]
    assert ("TIA cord", "tia-6a-cord", "tia-6a-cord pass, tia-6-cord pass") in read.cells(best)
    (abreast,) = [
        s for s in read.every(section, Section) if plain(s.title).startswith("Every graded trace: worst")
    ]
    table = read.every(abreast, Table)[0]
    rows = {row[:3]: row[3:] for row in read.cells(table)}
    # No cord requirement limits insertion loss; a cord has too little of it for NEXT of a channel to count.
    assert rows["insertion loss", "A", "12"][0] == rows["insertion loss", "A", "12"][2] == ""
    assert rows["NEXT", "A", "12-36"][1] == "pass"
    assert len(rows) == len({(r.parameter, r.end, r.pairs) for item in several for r in item.verdict.rows})


def test_of_many_requirements_eight_stand_in_a_table(failing: ReportItem, read: SimpleNamespace) -> None:
    items = [failing, *(easier(failing, f"r{number}", number) for number in range(2, 11))]
    section = subject_section(items, TEXTS, place=1)
    (abreast,) = [
        s for s in read.every(section, Section) if plain(s.title).startswith("Every graded trace: worst")
    ]
    heads = [[c.title for c in block.columns] for block in abreast.blocks if isinstance(block, Table)]
    assert [head[3:-1] for head in heads] == [[str(n) for n in range(1, 9)], ["9", "10"]]
    assert "1 tia-6a-cord, 2 r2" in read.words(abreast)


def test_faults_stand_at_the_beginning_whether_it_fails_or_passes(
    failing: ReportItem, read: SimpleNamespace
) -> None:
    bad = dataclasses.replace(failing, findings=Findings(faults=FAULTS))
    words = read.words(subject_section([bad], TEXTS, place=1))
    assert (
        words.index("What is wrong") < words.index(f"{FAULTS[0].words} (21 dB)") < words.index("Worst margin")
    )
    origin = Origin(Parameter.NEXT, "B", ("36", "45"), 2e8, (1e8, 3e8), "B", 1.9, 2.0, 0.9, "end B, 90 %")
    nameless = dataclasses.replace(bad, findings=Findings(origins=[origin], why_no_profiles="too coarse"))
    words = read.words(subject_section([nameless], TEXTS, place=1))
    assert "No fault was found that has a name. This sweep does not tell places: too coarse." in words
    assert "NEXT, end B, pairs 36-45, near 200.00 MHz: end B, 90 %" in words
    good = dataclasses.replace(easier(bad, "easy", 30.0), findings=bad.findings)
    words = read.words(subject_section([good], TEXTS, place=1))
    assert "What is wrong" not in words
    assert words.index("What stands out") < words.index(FAULTS[0].words) < words.index("Worst margin")
    assert words.count(FAULTS[0].words) == 1
    # Of what passes it is not said that nothing was found.
    quiet = dataclasses.replace(good, findings=Findings(why_no_profiles="too coarse"))
    words = read.words(subject_section([quiet], TEXTS, place=1))
    assert "What stands out" not in words
    assert "No fault was found" not in words


def test_doubts_stand_before_everything_but_the_outcome_and_only_there(
    failing: ReportItem, read: SimpleNamespace
) -> None:
    doubt = "the step is too coarse"
    verdict = dataclasses.replace(failing.verdict, notes=(doubt, "a note"), doubts=(doubt,))
    section = subject_section([dataclasses.replace(failing, verdict=verdict)], TEXTS, place=1)
    assert [plain(item) for item in section.blocks[0].items][-1] == f"doubtful: {doubt}"
    assert read.words(section).count(doubt) == 1
    assert read.facts(section)["note"] == ["a note"]


def test_notes_that_all_requirements_share_are_told_once(failing: ReportItem, read: SimpleNamespace) -> None:
    def noted(item: ReportItem, *notes: str) -> ReportItem:
        return dataclasses.replace(item, verdict=dataclasses.replace(item.verdict, notes=notes))

    items = [noted(failing, "shared", "one"), noted(easier(failing, "easy", 9.0), "two", "shared")]
    section = subject_section(items, TEXTS, place=1)
    assert read.facts(section)["note"] == ["shared", "one", "two"]


def test_best_categories_and_comments_are_told(failing: ReportItem, read: SimpleNamespace) -> None:
    best = BestCategory("TIA cord", "", (("tia-6a-cord", Outcome.FAIL), ("tia-6-cord", Outcome.UNDECIDED)))
    comment = Comment(
        at="2026-04-01T08:00:00Z", by="H. Adler", record="ab" * 32, text="plug of end B looked worn"
    )
    item = dataclasses.replace(failing, findings=Findings(best=[best]), comments=[comment])
    for detail in ("full", "brief"):
        section = subject_section([item], TEXTS, place=1, detail=detail)
        (table,) = [t for t in read.every(section, Table) if plain(t.caption).startswith("Highest")]
        assert read.cells(table) == [("TIA cord", "none", "tia-6a-cord fail, tia-6-cord undecided")]
        assert "plug of end B looked worn" in read.words(section)


def test_brief_tells_whether_why_not_and_by_how_much(
    graded: Callable[..., list[ReportItem]], read: SimpleNamespace
) -> None:
    items = graded("cord-2m", "tia-6a-cord", detail="brief")
    section = subject_section(items, TEXTS, place=1, detail="brief")
    told = titles(section)
    assert set(told) == {"Worst margins, pair by pair", "Traces"}
    assert [plain(item)[:9] for item in section.blocks[0].items] == ["doubtful:"]
    # Charts of what is graded alone: a cord has limits for return loss and NEXT.
    assert [d.picture.name for d in read.every(section, Drawn)] == [
        "specimen-1-return-loss",
        "specimen-1-next",
    ]
    facts = read.facts(section)
    assert facts["record"] == [items[0].verdict.record]
    assert facts["content hash"] == [items[0].content_hash]
    assert facts["operator"] == ["I. Vogt"]
    full = subject_section(items, TEXTS, place=1)
    assert len(read.words(section)) < 0.5 * len(read.words(full))


def test_a_sweep_is_named_with_its_number(failing: ReportItem) -> None:
    section = subject_section([dataclasses.replace(failing, sweep=17)], TEXTS, place=1)
    assert plain(section.title) == "cord 2 m / no. 7, sweep 17"


def test_nothing_graded_is_said(failing: ReportItem, read: SimpleNamespace) -> None:
    verdict = dataclasses.replace(failing.verdict, rows=(), outcome=Outcome.UNDECIDED, notes=("no length",))
    item = dataclasses.replace(failing, verdict=verdict, limits={})
    section = subject_section([item], TEXTS, place=1)
    box = section.blocks[0]
    assert isinstance(box, Box)
    assert (box.word, box.emphasis) == ("undecided", "undecided")
    assert "nothing was graded" in map(plain, box.lines)
    assert not [title for title in titles(section) if title.startswith(("Every", "Worst"))]
    assert read.facts(section)["note"] == ["no length"]


def test_the_wiring_is_told_once_where_a_fault_says_it(failing: ReportItem, read: SimpleNamespace) -> None:
    """The fault of the same kind and pairs has the place and the evidence; the box names the kind."""
    split = Fault("split", None, ("36", "45"), (3, 4, 5, 6), None, None, "pairs are split all along", ())
    item = dataclasses.replace(failing, findings=Findings(faults=[split]))
    section = subject_section([item], TEXTS, place=1)
    assert plain(section.blocks[0].items[0]) == "wiring: split, pairs 36 and 45"
    assert read.facts(section)["wiring"] == ["wrong: see above"]
    other = dataclasses.replace(split, kind="crush", pairs=("12",))
    told = subject_section([dataclasses.replace(item, findings=Findings(faults=[other]))], TEXTS, place=1)
    assert read.facts(told)["wiring"] == ["wrong", "pairs 3-6 and 4-5 are split at end B"]


def test_why_traces_are_undecided_is_told_once_with_their_number(
    failing: ReportItem, read: SimpleNamespace
) -> None:
    why = "there is no uncertainty budget, so the guard band is not known"
    rows = tuple(
        dataclasses.replace(row, outcome=Outcome.UNDECIDED, note=why)
        for row in failing.verdict.rows
        if row.parameter in (Parameter.NEXT, Parameter.RETURN_LOSS)
    )
    verdict = dataclasses.replace(
        failing.verdict, rows=rows, outcome=Outcome.UNDECIDED, wiring=WiringReport((1,), ())
    )
    box = subject_section([dataclasses.replace(failing, verdict=verdict)], TEXTS, place=1).blocks[0]
    # 12 combinations of pairs and 4 pairs, from both ends.
    assert list(map(plain, box.items)) == [f"undecided, 32 traces (return loss, NEXT): {why}"]
    one = dataclasses.replace(verdict, rows=rows[:1])
    box = subject_section([dataclasses.replace(failing, verdict=one)], TEXTS, place=1).blocks[0]
    assert list(map(plain, box.items)) == [f"undecided, 1 trace (return loss): {why}"]


def test_one_length_for_all_requirements_is_told_with_the_measurement(
    several: list[ReportItem], read: SimpleNamespace
) -> None:
    section = subject_section(several, TEXTS, place=1)
    assert read.facts(section)["length used"] == ["2 m"]
    assert read.facts(section.blocks[:5])["length used"] == ["2 m"]
    longer = dataclasses.replace(several[1], verdict=dataclasses.replace(several[1].verdict, length_m=3.0))
    apart = subject_section([several[0], longer], TEXTS, place=1)
    assert read.facts(apart)["length used"] == ["2 m", "3 m"]


def test_a_family_with_one_graded_category_has_no_highest(failing: ReportItem, read: SimpleNamespace) -> None:
    alone = BestCategory("TIA cord", "", (("tia-6a-cord", Outcome.FAIL),))
    item = dataclasses.replace(failing, findings=Findings(best=[alone]))
    assert "Highest category" not in read.words(subject_section([item], TEXTS, place=1))
