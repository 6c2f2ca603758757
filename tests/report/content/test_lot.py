"""The report on a lot: the decision, what it stands on, what makes it doubtful, how it can be checked."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep.records import (
    LotReplanned,
    Outcome,
    Parameter,
    ReelExcluded,
    Severity,
    VariablesDecision,
)
from benchsweep.report import LotItem, Particulars, english, load_texts, lot_document, write_html, write_pdf
from benchsweep.report.document import Box, Document, Drawn, Given, Section, plain
from benchsweep.statistics.process import normality
from benchsweep.statistics.sampling import (
    attributes_plan,
    judge_variables,
    operating_curve,
    variables_plan,
    zero_acceptance_plan,
)
from tests.report.content.lots_made import (
    PARAMETERS,
    item_of,
    reel_of,
    state_of_lot,
    view_of,
    with_views,
)
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of, within
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


def whole(document: Document) -> Section:
    return Section(document.title, document.blocks)


def told_of(item: LotItem, **how: object) -> Section:
    return whole(lot_document(item, TEXTS, **how))  # type: ignore[arg-type]


def box_of(item: LotItem) -> Box:
    (box,) = [block for block in lot_document(item, TEXTS).blocks if isinstance(block, Box)]
    return box


def test_the_decision_comes_first_with_what_it_stands_on() -> None:
    box = box_of(item_of(bad=(1,)))
    assert (box.word, box.emphasis) == ("accepted", "")
    assert [plain(line) for line in box.lines] == [
        "lot 26-118: C6-23 from Tollmoor Wire",
        "against cat6-cable, decision rule simple",
        "20 of 20 reels of the sample tested, 1 does not conform (Ac 1, Re 2)",
        "decided by I. Vogt on 2026-03-03",
        "9 limit lines are from memory, to be verified against your own copy of the standard",
        "one thing makes it doubtful: see below",
    ]
    (reel,) = map(plain, box.items)
    assert re.fullmatch(r"T\d{4}: fail; NEXT, end A, pairs 36-45: -0\.42 dB at [\d.]+ MHz", reel)


def test_a_lot_that_is_not_accepted_and_one_that_is_open() -> None:
    box = box_of(item_of(bad=(0, 3)))
    assert (box.word, box.emphasis) == ("not accepted", "fail")
    assert len(box.items) == 2
    box = box_of(item_of(bad=(0, 3), tested=6))
    assert (box.word, box.emphasis) == ("open", "undecided")
    told = [plain(line) for line in box.lines]
    assert "6 of 20 reels of the sample tested, 2 do not conform (Ac 1, Re 2)" in told
    assert any(line.startswith("14 still to be tested: ") and line.endswith(" and 2 more") for line in told)
    assert "it will not be accepted: the rejection number 2 is reached" in told
    done = item_of(bad=(), closed=False)
    assert "every reel of the sample is decided: the lot can be closed" in map(plain, box_of(done).lines)


def test_parts_stand_in_the_order_in_which_people_ask() -> None:
    document = lot_document(with_views(item_of(), view_of()), TEXTS)
    titles = [plain(block.title) for block in document.blocks if isinstance(block, Section)]
    assert titles == [
        "What makes it doubtful",
        "Sampling plan",
        "Requirement",
        "What the plan accepts",
        "Reels of the sample",
        "What does not conform",
        "Worst margins of the sample",
        "Worst traces against the limit",
        "The product over its lots",
        "History",
        "How to check the draw",
        "Provenance",
        "Safety",
    ]
    assert plain(document.title) == "Report on the lot 26-118"
    anchors = [block.anchor for block in document.blocks if isinstance(block, Section) and block.anchor]
    assert len(set(anchors)) == len(anchors)


def test_the_head_is_that_of_a_certificate() -> None:
    stated = Particulars(
        laboratory="Cable laboratory Mossend", number="M-17", authorised_by="I. Vogt", function="head"
    )
    document = lot_document(item_of(), TEXTS, particulars=stated)
    facts = facts_of(whole(document))
    assert document.number == "M-17"
    assert facts["report number"] == ["M-17"]
    assert facts["authorised by"] == ["I. Vogt, head"]
    assert facts["sampling"] == [
        "by attributes, level II, AQL 2.5 %, normal inspection",
        "20 of 60 reels are tested; accepted with 1 or fewer nonconforming (Ac 1, Re 2)",
    ]
    assert facts["reels in the lot"] == ["60, from T0701 to T0760"]
    assert facts["measured on"] == ["2026-03-03"]
    assert "Not stated: its address, customer, condition on receipt" in text_of(whole(document))


def test_a_number_nobody_gave_is_that_of_the_history() -> None:
    one, same, other = (
        lot_document(item, TEXTS).number
        for item in (item_of(), item_of(), replace(item_of(), digest="0" * 64))
    )
    assert one == same != other
    assert re.fullmatch("[0-9A-F]{4}(-[0-9A-F]{4}){2}", one)


def test_severity_arrow_and_requirement_are_told_with_their_standing() -> None:
    # MIL-STD-105E, Table II-A: 60 reels, level II, is E; at AQL 2.5 % an arrow leads down to F, n = 20.
    section = told_of(item_of())
    facts = facts_of(section_in(section, "Sampling plan"))
    assert facts["why this severity"] == ["normal inspection: the start (switching rules, no lot before it)"]
    assert facts["kind"][1].startswith("code letter E; there the table has an arrow to the plan of letter F")
    assert facts["source of the plan"][-1] in ("published", "from memory, to be verified")
    requirement = section_in(section, "Requirement")
    assert "9 limit lines are from memory" in text_of(requirement)
    assert len(tables_of(requirement)[0]) == 1 + len(PARAMETERS)


def test_the_curve_has_the_points_of_the_binomial_distribution() -> None:
    # Closed form: P(X <= 1) of n = 20 at 2.5 % is 0.975^20 + 20 * 0.025 * 0.975^19.
    at_aql = 100.0 * (0.975**20 + 20 * 0.025 * 0.975**19)
    section = section_in(told_of(item_of()), "What the plan accepts")
    rows = {row[0]: row for row in tables_of(section)[0]}
    assert float(rows["AQL"][2]) == pytest.approx(at_aql, abs=0.06)
    for name, share in (("95 % accepted", 95.0), ("50 % accepted", 50.0), ("10 % accepted", 10.0)):
        p = float(rows[name][1]) / 100.0
        closed = 100.0 * ((1 - p) ** 20 + 20 * p * (1 - p) ** 19)
        assert closed == pytest.approx(share, abs=0.3)
    facts = facts_of(section)
    assert float(facts["producer's risk"][0].split(" %")[0]) == pytest.approx(100.0 - at_aql, abs=0.01)
    assert [plain(block.caption) for block in within(section) if isinstance(block, Drawn)] == [
        "Operating characteristic and average outgoing quality of the plan"
    ]


def test_every_doubt_is_told() -> None:
    item = item_of(bad=())
    state = item.state
    reel, other = state.sample[0], state.sample[1]
    again = replace(state.counting[reel], at="2026-03-04T08:00:00+00:00", retest_reason="a loose contact")
    earlier = replace(state.counting[reel], result=replace(again.result, outcome=Outcome.FAIL))
    cold = replace(
        state.counting[other],
        result=replace(state.counting[other].result, doubts=("measured at 14 degC, outside 20 +- 3 degC",)),
    )
    close = [replace(each, expanded_uncertainty=9.0) for each in cold.result.margins]
    cold = replace(cold, result=replace(cold.result, margins=tuple(close)))
    state = replace(
        state,
        opened=replace(
            state.opened, seed_given=True, reason="the customer asks for it", resubmission_of="26-111"
        ),
        added=(earlier, cold, again),
        counting={**state.counting, reel: again, other: cold},
        excluded=(ReelExcluded("2026-03-03T10:00:00+00:00", "I. Vogt", "T0760", "crushed by a fork"),),
        replanned=(LotReplanned("2026-03-03T11:00:00+00:00", "I. Vogt", state.plan, "more to be tested"),),
    )
    item = replace(
        item,
        state=state,
        simulated=frozenset(state.counting),
        doubts=("the requirement has another text now",),
        corrections={
            other: ("corrected by Q. Eng on 2026-03-02 (typed wrong): lot '26-118' instead of none",)
        },
    )
    told = text_of(section_in(told_of(item), "What makes it doubtful")).splitlines()[1:]
    assert told == [
        "simulated bench: for practice, no real part was measured",
        "the requirement has another text now",
        f"{', '.join(state.sample[0:1])}, {', '.join(state.sample[2:12])}, {state.sample[12]} and 7 more: "
        "the limits of TCL are from memory",
        f"{other}: measured at 14 degC, outside 20 +- 3 degC",
        "nearer to a limit than its expanded uncertainty, so that the truth may lie on the other side: "
        f"{other}",
        "the seed of the draw was given by a person (I. Vogt), not by chance",
    ]
    happened = text_of(section_in(told_of(item), "What happened to the sample")).splitlines()[1:]
    assert happened == [
        f"{reel} was tested again (fail before, pass now): a loose contact",
        "T0760 was excluded: crushed by a fork",
        "another plan took the place of the one before "
        "(20 of 60 reels are tested; accepted with 1 or fewer nonconforming (Ac 1, Re 2)): more to be tested",
        "the lot 26-111 was submitted again as this one",
        "reason given when the lot was opened: the customer asks for it",
        f"record of {other}: corrected by Q. Eng on 2026-03-02 (typed wrong): lot '26-118' instead of none",
    ]
    box = list(map(plain, box_of(item).lines))
    assert box[-2:] == [
        "6 things happened to the sample and are told below",
        "6 things make it doubtful: see below",
    ]
    document = lot_document(item, TEXTS)
    assert "simulated bench" in plain(document.running)
    assert "pass (again)" in text_of(whole(document))
    some = replace(item, simulated=frozenset([reel]))
    assert "1 of 20 was measured on the simulated bench" in text_of(told_of(some))


def test_each_reel_has_its_worst_margin_of_both_ends() -> None:
    item = item_of(bad=(1,))
    tables = tables_of(section_in(told_of(item), "Reels of the sample"))
    heads = tables[0][0]
    assert heads[:4] == ["no.", "reel", "outcome", "insertion loss, dB"]
    assert [row[1] for row in tables[0][1:]] == list(item.state.sample)
    column = heads.index("return loss, dB")
    for reel, row in zip(item.state.sample, tables[0][1:], strict=True):
        of = item.state.counting[reel].result.margins
        ends = {each.end: each.margin or 0.0 for each in of if each.parameter is Parameter.RETURN_LOSS}
        end, least = min(ends.items(), key=lambda each: each[1])
        assert row[column] == f"{least:+.2f} {end}"
    assert tables[0][2][2] == "fail"
    assert tables[0][2][heads.index("NEXT, dB")] == "-0.42 A f"
    besides = tables[2]
    assert besides[0][:4] == ["no.", "reel", "length, m", "°C"]
    first = item.state.counting[item.state.sample[0]].result
    impedances = [each.fitted_impedance_ohm for each in first.constants]
    assert besides[1][2:4] == ["100.2", "20"]
    assert besides[1][6] == f"{min(impedances):.1f} to {max(impedances):.1f}"
    least_srl = min(each.structural_return_loss_db for each in first.constants)
    assert besides[1][7].startswith(f"{least_srl:.1f} ")
    assert f"{first.skew_ns_per_100m:.2f}" == besides[1][5]
    assert "All were measured at the station bench-2." in text_of(told_of(item))


def test_reels_that_wait_are_in_the_table() -> None:
    item = item_of(tested=3, bad=())
    table = tables_of(section_in(told_of(item), "Reels of the sample"))[0]
    assert [row[2] for row in table[1:]] == ["pass"] * 3 + ["to be tested"] * 17


def test_what_does_not_conform_is_told_as_the_verdict_said_it() -> None:
    section = section_in(told_of(item_of(bad=(1,))), "What does not conform")
    assert "fail\nNEXT, end A, pairs 36-45: 0.42 dB outside" in text_of(section)
    good = section_in(told_of(item_of(bad=())), "What does not conform")
    assert "All 20 reels of the sample conform." in text_of(good)
    nothing = told_of(item_of(tested=0))
    assert "Nothing is tested yet." in text_of(nothing)


def test_anybody_can_check_the_draw_by_the_rule_that_is_printed() -> None:
    # By the words of the report alone, with the SHA-256 of the standard library.
    item = item_of(seed="7f3a-19")
    section = section_in(told_of(item), "How to check the draw")
    facts = facts_of(section)
    seed, _, origin = facts["seed"][0].partition(" ")
    assert origin == "(made by chance)"
    reels = [f"T{number:04d}" for number in range(701, 761)]
    mine = sorted(reels, key=lambda reel: hashlib.sha256(f"{seed}\n{reel}".encode()).hexdigest())
    assert facts["sample in that order"] == [", ".join(mine[:20])]
    assert ", ".join(mine) in text_of(section)


def test_provenance_names_digest_records_and_software() -> None:
    item = item_of()
    section = section_in(told_of(item), "Provenance")
    facts = facts_of(section)
    assert facts["digest of the history"][0] == item.digest
    assert facts["software"] == ["benchsweep 0.9"]
    first = item.state.added[0]
    assert tables_of(section)[0][1] == [first.reel, first.path, first.record, "yes"]


def test_history_tells_who_when_and_why() -> None:
    item = item_of(bad=(), tested=20)
    added = item.state.added[0]
    again = replace(added, at="2026-03-03T14:00:00+00:00", by="R. Lund", retest_reason="a loose contact")
    state = replace(item.state, added=(*item.state.added, again))
    rows = tables_of(section_in(told_of(replace(item, state=state)), "History"))[0]
    assert rows[1][:2] == ["2026-03-02T08:00Z", "I. Vogt"]
    assert [
        "2026-03-03T14:00Z",
        "R. Lund",
        f"tested {added.reel} again: pass (pass before)",
        "a loose contact",
    ] in rows
    assert rows[-1] == ["2026-03-03T15:00Z", "I. Vogt", "closed it", "accepted: 0 of 20 do not conform"]


def test_a_plan_by_variables_says_why() -> None:
    plan = variables_plan(60, aql_percent=2.5, characteristics=("next", "return_loss"))
    state, traces = state_of_lot(plan=plan, bad=())
    margins = {
        name: [
            added.result.margin_of(Parameter(name)).margin or 0.0  # type: ignore[union-attr]
            for added in state.counting.values()
        ]
        for name in plan.characteristics
    }
    decided = tuple(
        judge_variables(plan, name, values, normality(values) if len(values) > 7 else None)
        for name, values in margins.items()
    )
    assert state.closed is not None
    state = replace(state, closed=replace(state.closed, variables=decided))
    item = LotItem(state=state, curve=operating_curve(plan), traces=traces)
    section = section_in(told_of(item), "Sampling plan")
    table = tables_of(section)[0]
    assert [row[0] for row in table[1:]] == ["NEXT", "return loss"]
    assert float(table[1][2]) == pytest.approx(np.mean(margins["next"]), abs=0.006)
    assert float(table[1][3]) == pytest.approx(np.std(margins["next"], ddof=1), abs=0.0006)
    assert f"NEXT, accepted: {decided[0].reason}" in map(plain, box_of(item).lines)
    doubtful = VariablesDecision("next", 7, 3.0, 1.0, 3.0, 0.1, None, "not normal")
    undecided = replace(item, state=replace(state, closed=None), variables=(doubtful,))
    assert "NEXT, not judged: not normal" in map(plain, box_of(undecided).lines)


def test_zero_acceptance_and_reduced_plans_in_words() -> None:
    plan = zero_acceptance_plan(40, limiting_percent=10.0)
    state, _ = state_of_lot(size=40, plan=plan, bad=())
    section = told_of(LotItem(state=state, curve=operating_curve(plan)))
    assert "zero acceptance: a lot with 10 % nonconforming is accepted in at most 10 of 100 cases" in text_of(
        section
    )
    assert "(Ac 0, Re 1)" in text_of(section)
    reduced = attributes_plan(1200, level="II", aql_percent=1.0, severity=Severity.REDUCED)
    assert reduced.reject > reduced.accept + 1
    state, _ = state_of_lot(size=1200, plan=reduced, bad=())
    told = text_of(told_of(LotItem(state=state, curve=operating_curve(reduced))))
    between = f"with {reduced.accept + 1} to {reduced.reject - 1} nonconforming the lot is accepted and"
    assert between in told
    assert "reduced inspection" in told


def test_words_of_ours_and_of_others(tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    item = item_of(bad=(1,), tested=19, closed=False)
    reel = item.state.sample[0]
    result, _ = reel_of(HOSTILE)
    result = replace(result, failing=(HOSTILE,), doubts=(HOSTILE,), notes=(HOSTILE,))
    added = replace(item.state.counting[reel], by=HOSTILE, station=HOSTILE, path=HOSTILE, result=result)
    opened = replace(
        item.state.opened,
        supplier=HOSTILE,
        product=HOSTILE,
        by=HOSTILE,
        reason=HOSTILE,
        severity_because=HOSTILE,
    )
    state = replace(item.state, opened=opened, counting={**item.state.counting, reel: added})
    bad = with_views(replace(item, state=state, doubts=(HOSTILE,), inspection=(HOSTILE,)), view_of(drop=1.5))
    document = lot_document(bad, texts)
    own = outside_marks(ours(whole(document)))
    # Units stand in tables as they are; letters of ends and outcomes, versions and hashes of records too.
    words = set(re.findall(r"[^\W\d_]{3,}", own)) - {"Given"}
    assert words <= set(), words
    for drawn in (block for block in within(whole(document)) if isinstance(block, Drawn)):
        svg = outside_marks(" ".join(re.findall(r">([^<]+)<", drawn.picture.svg)))
        assert not set(re.findall(r"[^\W\d_]{3,}", svg)) - {"MHz", "ohm"}
    page = write_html(tmp_path / "lot.html", document).read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "\u202e" not in page
    assert write_pdf(tmp_path / "lot.pdf", document).read_bytes().startswith(b"%PDF")


def test_the_same_item_gives_the_same_document() -> None:
    item = with_views(item_of(), view_of())
    assert lot_document(item, TEXTS) == lot_document(item, TEXTS)


def test_eighty_reels_stay_a_page_that_can_be_sent(tmp_path: Path) -> None:
    plan = attributes_plan(1200, level="II", aql_percent=0.65)
    assert plan.sample_size == 80
    item = item_of(size=1200, plan=plan, bad=(1, 7, 30), points=1001)
    path = write_html(tmp_path / "lot.html", lot_document(item, TEXTS))
    assert path.stat().st_size < 5_000_000


def test_names_of_charts_are_unique() -> None:
    views = [view_of(parameter) for parameter in PARAMETERS]
    document = lot_document(with_views(item_of(), *views), TEXTS)
    names = [block.picture.name for block in within(whole(document)) if isinstance(block, Drawn)]
    assert len(set(names)) == len(names) == 1 + 1 + 2 * len(PARAMETERS)
    for block in within(whole(document)):
        if isinstance(block, Drawn) and block.picture.readout:
            json.loads(block.picture.readout)


def test_given_names_are_never_words_of_ours() -> None:
    item = item_of()
    document = lot_document(item, TEXTS)
    given = {piece.text for line in [document.title] for piece in line if isinstance(piece, Given)}
    assert given == {"26-118"}
