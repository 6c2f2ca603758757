"""The whole report: a certificate's head, an overview, the parts in order, and an end."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from benchsweep.records import Comment, Fault, Outcome
from benchsweep.report import BestCategory, Findings, KeptOutcome, LengthRule, ReportItem, SeriesItem
from benchsweep.report.chart import Picture
from benchsweep.report.content import Particulars, assembled, grouped, report_document, report_part
from benchsweep.report.document import Box, Document, Drawn, Given, Link, Section, Strong, plain
from benchsweep.report.html import CONTROLS
from benchsweep.report.text import english, load_texts
from tests.report.content.test_series import head as series_head
from tests.report.content.test_series import summary as series_summary
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()
GIVEN = Particulars(
    laboratory="Cabling laboratory",
    address="1 High Street\nAnytown",
    location="chamber 2",
    statement="Accredited as no. 7.\nTerms apply.",
    customer="A customer",
    customer_address="2 High Street",
    number="T-2026-0117",
    authorised_by="I. Vogt",
    function="head of laboratory",
    issued_on="2026-03-02",
    received_on="2026-02-27",
    order="PO 4711",
    condition="undamaged",
    sampling="drawn by the customer",
    deviations="no deviations\nbut one addition",
    traceability="kit 17: certificate K-2025-118\nanalyzer: certificate A-31",
)
# The same in every language.
UNITS = {"MHz", "ohm"}
HOSTILE = "<script>alert(1)</script>\"'&\u202e\x00\x1b[31m{{ 7*7 }}#eval(1)"


@pytest.fixture(scope="module")
def one(build: SimpleNamespace) -> ReportItem:
    return build.item(points=30)


@pytest.fixture(scope="module")
def bad(build: SimpleNamespace) -> ReportItem:
    return build.item("defective cord", points=30, fault_db=11.0, seed=2)


def sections(document: Document) -> list[Section]:
    return [block for block in document.blocks if isinstance(block, Section)]


def head(document: Document, read: SimpleNamespace) -> dict[str, list[str]]:
    return read.facts(document.blocks[1:2])


def on_a_real_bench(item: ReportItem) -> ReportItem:
    analyzer = dataclasses.replace(item.measurement.analyzer, idn="A maker,VNA,17,1.0")
    return dataclasses.replace(item, measurement=dataclasses.replace(item.measurement, analyzer=analyzer))


def test_the_head_holds_what_was_given_and_what_the_records_say(
    one: ReportItem, read: SimpleNamespace
) -> None:
    """ISO/IEC 17025:2017, 7.8.2.1 (the list of what a report holds is from memory)."""
    named = dataclasses.replace(one, title="Modular cord", edition="2nd edition")
    document = report_document([named], TEXTS, title="Cord 7", particulars=GIVEN)
    told = head(document, read)
    assert plain(document.title) == "Cord 7"  # a
    assert told["laboratory"] == ["Cabling laboratory", "1 High Street", "Anytown"]  # b
    assert told["measured in"] == ["chamber 2"]  # c
    assert told["report number"] == ["T-2026-0117"]  # d
    assert document.number == "T-2026-0117"
    assert "T-2026-0117" in document.end
    assert told["customer"] == ["A customer", "2 High Street"]  # e
    assert "network analyzer" in told["method"][0]  # f
    assert told["traceability"] == ["kit 17: certificate K-2025-118", "analyzer: certificate A-31"]
    assert told["graded against"] == ["tia-6a-cord: Modular cord, 2nd edition"]
    assert told["item"] == ["cord 2 m / no. 7: green, from drum 12"]  # g
    assert told["condition on receipt"] == ["undamaged"]
    assert told["received on"] == ["2026-02-27"]  # h
    assert told["measured on"] == ["2026-03-01"]  # i
    assert told["issued on"] == ["2026-03-02"]  # j
    assert told["sampling"] == ["drawn by the customer"]  # k
    words = read.words(document.blocks[:7])
    assert "relate only to the items measured, as they were received" in words  # l
    assert "names, lots and lengths are as told to the laboratory" in words  # 7.8.2.2
    assert told["ambient conditions"] == ["temperature 21.5 °C"]  # 7.8.3.1
    assert "reproduced in full only" in words
    assert told["deviations from the method"] == ["no deviations", "but one addition"]  # n
    assert told["authorised by"] == ["I. Vogt, head of laboratory"]  # o
    assert told["decision rule"][0].startswith("simple: ")
    assert "Accredited as no. 7.\nTerms apply." in words
    assert "Not stated" not in words
    real = report_document([on_a_real_bench(one)], TEXTS, particulars=GIVEN)
    assert plain(real.running) == "Cabling laboratory"


def test_what_nobody_stated_is_said_in_one_line(one: ReportItem, read: SimpleNamespace) -> None:
    document = report_document([one], TEXTS)
    told = head(document, read)
    assert {"laboratory", "customer", "authorised by", "issued on", "order", "sampling"}.isdisjoint(told)
    (line,) = [words for words in read.words(document.blocks[:5]).splitlines() if "Not stated" in words]
    assert line == (
        "Not stated: laboratory, its address, customer, condition on receipt, received on, traceability, "
        "issued on, authorised by."
    )
    assert plain(document.title) == "Test report"
    some = report_document([one], TEXTS, particulars=Particulars(laboratory="L", issued_on="2026-03-02"))
    words = read.words(some.blocks[:5])
    assert (
        "Not stated: its address, customer, condition on receipt, received on, traceability, authorised by."
        in words
    )
    # The time of an import is not that of its measurement.
    touchstone = dataclasses.replace(one.measurement, origin="touchstone")
    imported = report_document([dataclasses.replace(one, measurement=touchstone)], TEXTS, particulars=GIVEN)
    assert "Not stated: measured on." in read.words(imported.blocks[:5])
    assert "measured elsewhere" in head(imported, read)["method"][0]


def test_a_number_is_derived_from_the_content_and_nothing_else(
    one: ReportItem, bad: ReportItem, read: SimpleNamespace
) -> None:
    def number(*items: ReportItem, **how: object) -> str:
        return report_document(items, TEXTS, detail="brief", **how).number

    first = number(one)
    assert re.fullmatch(r"[0-9A-F]{4}-[0-9A-F]{4}-[0-9A-F]{4}", first)
    told = head(report_document([one], TEXTS), read)["report number"]
    assert told == [
        f"{first} (nobody gave one: derived from the records and the outcomes, the same for the same content)"
    ]
    elsewhere = dataclasses.replace(one, verdict=dataclasses.replace(one.verdict, record="/elsewhere/x.h5"))
    assert number(elsewhere) == first
    assert number(one, title="another", particulars=Particulars(customer="C")) == first
    others = [
        dataclasses.replace(one, content_hash="cd" * 32),
        dataclasses.replace(one, sweep=3),
        *(
            dataclasses.replace(one, verdict=dataclasses.replace(one.verdict, **change))
            for change in (
                {"requirement": "tia-6-cord"}, {"decision_rule": "guard-band"}, {"length_m": 3.0},
                {"budget": "b"}, {"outcome": Outcome.FAIL}, {"rows": one.verdict.rows[1:]},
            )
        ),
    ]  # fmt: skip
    numbers = [first, number(one, bad), number(bad, one), *map(number, others)]
    assert len(set(numbers)) == len(numbers)


def test_the_parts_come_in_order_and_links_lead_somewhere(
    one: ReportItem, bad: ReportItem, read: SimpleNamespace
) -> None:
    again = dataclasses.replace(bad, verdict=dataclasses.replace(bad.verdict, requirement="tia-6-cord"))
    document = report_document([one, bad, again], TEXTS)
    titles = [plain(section.title) for section in sections(document)]
    assert titles == ["Overview", "cord 2 m / no. 7", "defective cord", "Safety"]
    anchors = [section.anchor for section in read.every(document.blocks, Section) if section.anchor]
    assert len(set(anchors)) == len(anchors)
    links = [
        piece.anchor
        for block in document.blocks
        for line in read.lines(block)
        for piece in line
        if isinstance(piece, Link)
    ]
    assert set(links) == {"specimen-1", "specimen-2", "specimen-2-1", "specimen-2-2", "shared-1", "shared-2"}
    assert set(links) <= set(anchors)
    drawn = [block.picture.name for block in read.every(document.blocks, Drawn)]
    assert len(set(drawn)) == len(drawn)
    assert [section.own_page for section in sections(document)] == [False, True, True, False]
    assert "confirm that no voltage is present" in read.words(document.blocks[-1])
    alone = report_document([one], TEXTS)
    assert [section.own_page for section in sections(alone)] == [False, False]


def test_what_changed_over_time_comes_before_the_graded_sweep(one: ReportItem, read: SimpleNamespace) -> None:
    graded = dataclasses.replace(one, sweep=7)
    document = report_document([graded], TEXTS, series=[SeriesItem(series_head(), series_summary(), "x.h5")])
    titles = [plain(section.title) for section in sections(document)]
    assert titles == ["T118-07: 20 sweeps of one hookup", "cord 2 m / no. 7, sweep 7", "Safety"]
    words = read.words(document.blocks)
    assert words.index("Change over time") < words.index("Worst margin of each parameter")


def test_parts_made_elsewhere_make_the_same_document(one: ReportItem, bad: ReportItem) -> None:
    import pickle

    parts = [
        pickle.loads(pickle.dumps(report_part(group, TEXTS, place=place, detail="brief")))
        for place, group in enumerate(grouped([one, bad]), start=1)
    ]
    made = assembled(parts, TEXTS, detail="brief", particulars=GIVEN)
    assert made == report_document([one, bad], TEXTS, detail="brief", particulars=GIVEN)
    # A part is not the record: a thousand of them are kept at once.
    assert len(pickle.dumps(parts[0])) < 1_000_000


def test_of_many_items_the_first_and_last_are_named(one: ReportItem, read: SimpleNamespace) -> None:
    def numbered(number: int) -> ReportItem:
        specimen = dataclasses.replace(
            one.measurement.specimen, identifier=f"cord {number}", lot=f"L{number % 2}"
        )
        day = dataclasses.replace(
            one.measurement, specimen=specimen, created_at=f"2026-03-{number:02}T08:00:00Z"
        )
        return dataclasses.replace(one, measurement=day, traces=())

    told = head(report_document([numbered(n) for n in range(1, 8)], TEXTS, detail="brief"), read)
    assert told["items"] == ["7, from cord 1 to cord 7", "of 2 lots: L1, L0"]
    assert told["measured on"] == ["2026-03-01 to 2026-03-07"]
    few = head(report_document([numbered(n) for n in (1, 2)], TEXTS, detail="brief"), read)
    assert few["items"] == ["cord 1, lot L1: green, from drum 12", "cord 2, lot L0: green, from drum 12"]


def test_brief_explains_tables_and_charts_once(
    one: ReportItem, bad: ReportItem, read: SimpleNamespace
) -> None:
    document = report_document([one, bad], TEXTS, detail="brief")
    words = read.words(document.blocks)
    assert words.count("The end is where the receiver is.") == 1
    assert words.count("Line style and colour tell") == 1
    assert "How to read the tables and charts" in [plain(section.title) for section in sections(document)]


def test_the_page_gets_its_words(one: ReportItem) -> None:
    document = report_document([one], TEXTS)
    assert set(document.controls) == set(CONTROLS)
    assert document.page_words == "page {page} of {pages}"
    assert document.language == "en"


def hostile(item: ReportItem) -> ReportItem:
    """The item with a hostile text wherever people, instruments or files give one."""
    measurement = dataclasses.replace(
        item.measurement,
        specimen=dataclasses.replace(
            item.measurement.specimen, identifier=HOSTILE, description=HOSTILE, lot=HOSTILE
        ),
        operator=HOSTILE, station=HOSTILE, reduced_at=HOSTILE, reason=HOSTILE, incidents=(HOSTILE,),
        ambient={HOSTILE: 1.0}, software={HOSTILE: HOSTILE}, verification=HOSTILE,
    )  # fmt: skip
    rows = tuple(dataclasses.replace(row, note=HOSTILE, standing=HOSTILE) for row in item.verdict.rows)
    verdict = dataclasses.replace(
        item.verdict, specimen=HOSTILE, requirement=HOSTILE, decision_rule=HOSTILE, record=HOSTILE, rows=rows,
        notes=(HOSTILE, HOSTILE + "2"), doubts=(HOSTILE + "2",), budget=HOSTILE,
    )  # fmt: skip
    findings = Findings(
        faults=[Fault("untwist", "B", ("36", "45"), (3,), 1.9, 2.0, HOSTILE, (HOSTILE,))],
        why_no_profiles=HOSTILE,
        electrical_length_m=1.0,
        length_rules=[LengthRule(HOSTILE, 90.0, HOSTILE)],
        enough_disturbers=HOSTILE,
        best=[BestCategory(HOSTILE, HOSTILE, ((HOSTILE, Outcome.PASS),))],
    )
    comment = Comment(record="ab", by=HOSTILE, at=HOSTILE, text=HOSTILE)
    return dataclasses.replace(
        item,
        measurement=measurement,
        verdict=verdict,
        findings=findings,
        comments=[comment],
        content_hash=HOSTILE,
    )


@pytest.mark.parametrize("detail", ["full", "brief"])
def test_what_others_gave_is_always_set_apart(bad: ReportItem, detail: str, read: SimpleNamespace) -> None:
    """None of it is among the report's own words, in any piece of any line."""
    given = Particulars(**dict.fromkeys((f.name for f in dataclasses.fields(Particulars)), HOSTILE))
    worse = dataclasses.replace(
        bad,
        verdict=dataclasses.replace(bad.verdict, requirement="second"),
        measurement=hostile(bad).measurement,
    )
    first = hostile(bad)
    items = [first, dataclasses.replace(worse, measurement=first.measurement), bad]
    document = report_document(items, TEXTS, detail=detail, title=HOSTILE, particulars=given)
    pieces = [piece for block in document.blocks for line in read.lines(block) for piece in line] + [
        *document.title,
        *document.running,
    ]
    own = [p.piece if isinstance(p, Link) else p for p in pieces]
    own = [p.text if isinstance(p, Strong) else p for p in own if not isinstance(p, Given)]
    # What a chart says to those who hear it is plain text, which its writer escapes.
    spoken = {p.picture.words for p in read.every(document.blocks, Drawn)}
    assert [text for text in own if "script" in text and text not in spoken] == []
    assert sum(isinstance(piece, Given) and "script" in piece.text for piece in pieces) > 20
    assert not [
        s.anchor for s in read.every(document.blocks, Section) if not re.fullmatch(r"[\w-]*", s.anchor)
    ]


@pytest.fixture(scope="module")
def pseudo(tmp_path_factory: pytest.TempPathFactory):
    return load_texts(pseudo_language(tmp_path_factory.mktemp("texts")))


def test_no_word_of_ours_stands_outside_the_catalogue(
    graded: Callable[..., list[ReportItem]], pseudo, read: SimpleNamespace
) -> None:
    items = [
        *graded("cord-2m-untwisted-b", "tia-6a-cord", "iso-ea-channel", rule="four-way", points=500),
        *graded("cord-2m-split", "tia-6a-channel", length_m=None),
    ]
    given = dataclasses.replace(GIVEN, number="")
    for detail in ("full", "brief"):
        document = report_document(items, pseudo, detail=detail, particulars=given)
        left = []
        for block in document.blocks:
            for line in read.lines(block):
                kept = [piece.piece if isinstance(piece, Link) else piece for piece in line]
                own = "".join(
                    "" if isinstance(p, Given) else p.text if isinstance(p, Strong) else p for p in kept
                )
                left.append(outside_marks(own))
        for drawn in read.every(document.blocks, Drawn):
            left.append(outside_marks(" ".join(re.findall(r">([^<]+)<", drawn.picture.svg))))
        words = {word for text in left for word in re.findall(r"[^\W\d_]{3,}", text)}
        # Units and names of tables, those of the TOML files printed as they are.
        listed = {word for text in _listings(document, read) for word in re.findall(r"[^\W\d_]{3,}", text)}
        # Charts of several name the specimens, shortened where there is no room.
        names = [part for item in items for part in item.verdict.specimen.split("-")]
        left_over = {
            word for word in words - listed - UNITS if not any(name.startswith(word) for name in names)
        }
        assert left_over == set()
        assert document.language == "qps-ploc"
        assert outside_marks(document.end) == outside_marks(document.page_words) == ""
        assert {outside_marks(text) for text in document.controls.values()} == {""}


def _listings(document: Document, read: SimpleNamespace) -> list[str]:
    from benchsweep.report.document import Listing

    return [text for listing in read.every(document.blocks, Listing) for text in listing.lines]


def test_pictures_are_drawn_from_the_record_alone(one: ReportItem, read: SimpleNamespace) -> None:
    first, second = (report_document([one], TEXTS) for _ in range(2))
    assert first == second
    pictures = [drawn.picture for drawn in read.every(first.blocks, Drawn)]
    assert len(pictures) == 13
    assert all(isinstance(picture, Picture) and picture.svg.startswith("<svg") for picture in pictures)


def test_practice_on_the_simulated_bench_is_said_on_every_page(
    one: ReportItem, bad: ReportItem, read: SimpleNamespace
) -> None:
    practice = "simulated bench: for practice, no real part was measured"
    for detail in ("full", "brief"):
        document = report_document([one], TEXTS, particulars=GIVEN, detail=detail)
        assert plain(document.running) == f"Cabling laboratory, {practice}"
        assert practice in map(plain, document.blocks[0].lines)
        assert read.facts(document.blocks)["origin"] == [practice] * 2
    real = on_a_real_bench(one)
    assert "for practice" not in read.words(report_document([real], TEXTS).blocks)
    assert report_document([real], TEXTS).running == ()
    mixed = report_document([real, bad], TEXTS, detail="brief")
    told = "1 of 2 was measured on the simulated bench: for practice, no real part"
    assert plain(mixed.running) == told
    assert told in map(plain, mixed.blocks[0].lines)
    series = report_document([], TEXTS, series=[SeriesItem(series_head(), series_summary(), "x.h5")])
    analyzer = series_head().analyzer
    assert (plain(series.running) == practice) is analyzer.simulated


def test_an_import_names_its_file(one: ReportItem, read: SimpleNamespace) -> None:
    imported = dataclasses.replace(
        one.measurement, origin="touchstone", analyzer=None, source_file="cord <7>.s16p"
    )
    told = head(report_document([dataclasses.replace(one, measurement=imported)], TEXTS), read)
    assert told["item"] == ["cord 2 m / no. 7: green, from drum 12; from the file cord <7>.s16p"]
    assert "named with the item" in told["method"][0]
    many = [
        dataclasses.replace(
            one,
            traces=(),
            measurement=dataclasses.replace(
                imported, specimen=dataclasses.replace(imported.specimen, identifier=f"c{number}")
            ),
        )
        for number in range(6)
    ]
    document = report_document(many, TEXTS, detail="brief")
    assert "provenance of its part" in head(document, read)["method"][0]
    assert read.facts(document.blocks)["file it came from"] == ["cord <7>.s16p"] * 6


def doubtful(item: ReportItem, *doubts: str) -> ReportItem:
    verdict = dataclasses.replace(item.verdict, notes=(*item.verdict.notes, *doubts), doubts=doubts)
    return dataclasses.replace(item, verdict=verdict)


def test_doubts_stand_in_the_box_and_only_there(
    one: ReportItem, bad: ReportItem, read: SimpleNamespace
) -> None:
    doubt = "a peak may be missed by up to 15 dB"
    document = report_document([doubtful(one, doubt)], TEXTS)
    box = document.blocks[0]
    assert isinstance(box, Box)
    assert [plain(item) for item in box.items] == [f"doubtful: {doubt}"]
    assert read.words(document.blocks).count(doubt) == 1
    again = dataclasses.replace(
        doubtful(one, doubt), verdict=dataclasses.replace(one.verdict, requirement="b", doubts=(doubt,))
    )
    several = report_document([doubtful(one, doubt), again], TEXTS)
    assert [plain(item) for item in several.blocks[0].items] == [f"doubtful: {doubt}"]
    assert read.words(several.blocks).count(doubt) == 1
    other = doubtful(bad, "another")
    for items, told in (
        ([doubtful(one, doubt), bad], "1 of 2 measurements is doubtful; its part says why"),
        ([doubtful(one, doubt), other], "2 of 2 measurements are doubtful; their parts say why"),
    ):
        many = report_document(items, TEXTS, detail="brief")
        assert told in map(plain, many.blocks[0].lines)
        assert read.words(many.blocks).count(doubt) == 1
    assert "doubtful" not in read.words(report_document([one, bad], TEXTS, detail="brief").blocks)


def test_a_kept_grading_that_says_something_else_makes_it_doubtful(
    one: ReportItem, read: SimpleNamespace
) -> None:
    def kept(rule: str, outcome: Outcome, day: int, edition: str = "E1") -> KeptOutcome:
        return KeptOutcome(f"2026-05-{day:02}T08:00:00Z", rule, edition, outcome)

    def document(*gradings: KeptOutcome) -> Document:
        return report_document([dataclasses.replace(one, edition="E1", kept=gradings)], TEXTS)

    told = document(kept("guard-band 10", Outcome.FAIL, 3), kept("simple", Outcome.PASS, 4))
    assert [plain(item) for item in told.blocks[0].items] == [
        "doubtful: the grading against tia-6a-cord kept on 2026-05-03 says fail, by the decision rule "
        "guard-band 10"
    ]
    assert "kept grading" not in read.facts(told.blocks)
    # What was graded again by the same rule counts as it was graded last.
    told = document(kept("simple", Outcome.FAIL, 3), kept("simple", Outcome.PASS, 4))
    assert told.blocks[0].items == ()
    older = document(kept("simple", Outcome.FAIL, 3, "E0"))
    assert plain(older.blocks[0].items[0]).endswith("decision rule simple, against the edition E0")
    # The same by another rule is no doubt.
    same = document(kept("guard-band 10", Outcome.PASS, 3))
    assert same.blocks[0].items == ()
    assert read.facts(same.blocks)["kept grading"] == [
        "the grading against tia-6a-cord kept on 2026-05-03 says pass, by the decision rule guard-band 10"
    ]


def test_the_decision_rule_is_explained_once(
    graded: Callable[..., list[ReportItem]], read: SimpleNamespace
) -> None:
    """ILAC-G8:09/2019, 4.2.1: simple acceptance, and its risk."""
    document = report_document(graded("cord-2m", "tia-6a-cord", detail="brief"), TEXTS, detail="brief")
    words = read.words(document.blocks)
    assert words.count("ILAC-G8") == words.count("simple acceptance") == 1
    (told,) = head(document, read)["decision rule"]
    assert told.startswith("simple: simple acceptance, no guard band (ILAC-G8:09/2019, 4.2.1)")


def test_ambient_conditions_are_told_from_least_to_greatest(one: ReportItem, read: SimpleNamespace) -> None:
    def at(number: int, **ambient: float) -> ReportItem:
        specimen = dataclasses.replace(one.measurement.specimen, identifier=f"c{number}")
        measurement = dataclasses.replace(one.measurement, specimen=specimen, ambient=ambient)
        return dataclasses.replace(one, measurement=measurement, traces=())

    items = [at(1, temperature_degc=21.5), at(2, temperature_degc=23.0, humidity_percent=45.0), at(3)]
    told = head(report_document(items, TEXTS, detail="brief"), read)["ambient conditions"]
    assert told == [
        "temperature 21.5 to 23 °C", "relative humidity 45 %", "noted for 2 of 3 measurements"
    ]  # fmt: skip
    nothing = report_document([at(1), at(2)], TEXTS, detail="brief")
    assert "traceability, ambient conditions, issued on" in read.words(nothing.blocks[:4])
