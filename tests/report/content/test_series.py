"""A series, as the report tells it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from benchsweep.records import (
    AnalyzerIdentity,
    Comment,
    Extreme,
    Hookup,
    LineFit,
    Parameter,
    SafetyConfirmation,
    SeriesChange,
    SeriesCourse,
    SeriesEvent,
    SeriesHead,
    SeriesSummary,
    Specimen,
    SweepSettings,
)
from benchsweep.report.content._series import series_section
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.document import Drawn, plain
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of, within
from tests.report.text.pseudo import outside_marks, pseudo_language

AT = "2026-03-01T12:00:00+00:00"
LATER = "2026-03-01T15:10:00+00:00"
TEXTS = english()
P = Parameter


def head(name: str = "T118-07") -> SeriesHead:
    return SeriesHead(
        Specimen(name, 2.0, "green", "lot 3"),
        AT,
        "bench",
        "M. Lindqvist",
        "soak",
        Hookup(1, {1: "A:12.1", 2: "A:12.2", 3: "B:12.1", 4: "B:12.2"}),
        np.linspace(1e6, 500e6, 50),
        AnalyzerIdentity("Simulated works,x,1,0", "named-measurement", 4),
        SweepSettings(1e6, 500e6, 50, 1e3),
        None,
        'name = "contacts"\n',
        software={"benchsweep": "0.1.0"},
    )


def change(parameter: Parameter = P.INSERTION_LOSS, count: int = 20) -> SeriesChange:
    hours = np.arange(count) / 6.0
    return SeriesChange(
        parameter,
        "A",
        ("12",),
        Extreme(0.125, 250e6, 17),
        Extreme(-3.6, 100e6, 18),
        Extreme(-41.25, 1e6, 3),
        0.02 * hours,
        4.0 * hours if parameter is P.INSERTION_LOSS else np.full(count, np.nan),
        LineFit(0.02, 0.00123, count),
        LineFit(4.0, None, 2) if parameter is P.INSERTION_LOSS else None,
        LineFit(0.03, 0.01, count),
        LineFit(0.01, 0.002, count),
        LineFit(0.5, 0.02, count) if parameter is P.INSERTION_LOSS else None,
    )


def summary(*changes: SeriesChange, words: str = "lost", count: int = 20) -> SeriesSummary:
    reading = np.linspace(20.0, 30.0, count)
    reading[count // 2] = np.nan
    return SeriesSummary(
        count,
        1,
        count,
        (),
        AT,
        LATER,
        "enough",
        (SeriesEvent(AT, "gap", words, 600.0), SeriesEvent(AT, "clock", "moved", None)),
        {"gap": 1, "clock": 1},
        {"chamber_degc": (20.0, 30.0, 25.0), "temperature_degc": (21.0, 21.5, 21.25)},
        changes or (change(), replace(change(), end="B"), change(P.NEXT)),
        SeriesCourse(np.arange(count) + 1, np.arange(count) / 6.0, reading, "chamber_degc", 1),
        False,
        ("not attached, so nothing is known of them: A:36",),
    )


def item(**changes: object) -> SeriesItem:
    return replace(SeriesItem(head(), summary(), "archive/x.h5", "ab" * 32), **changes)


def test_what_it_is_and_how_it_went() -> None:
    section = series_section(item(), TEXTS, place=2)
    assert plain(section.title) == "T118-07: 20 sweeps of one hookup"
    assert section.anchor == "series-2"
    told = facts_of(section)
    assert told["description"] == ["soak"]
    assert told["sweeps"] == ["numbers 1 to 20"]
    assert told["from"] == [f"{AT} to {LATER}"]
    assert told["ended"] == ["enough"]
    assert told["attached"] == ["A:12, B:12"]
    assert told["ambient conditions"] == [
        "chamber 20 to 30 °C, mean 25",
        "temperature 21 to 21.5 °C, mean 21.25",
    ]
    assert told["changes are those of"] == ["values as swept, without a calibration"]
    assert told["uncertainty"] == ["none is stated, neither of the values of a series nor of their changes"]
    assert told["note"] == ["not attached, so nothing is known of them: A:36"]
    gone = replace(summary(), missing=(4, 9), ended="", corrected=True)
    told = facts_of(series_section(item(summary=gone, content_hash=""), TEXTS, place=1))
    assert told["sweeps"] == ["numbers 1 to 20, without 4, 9"]
    assert told["ended"] == ["not finished: it is being recorded, or was cut off"]
    assert told["changes are those of"] == ["corrected values"]
    assert told["content hash"] == ["none yet: the series is not finished"]
    one = replace(summary(), sweeps=1, last_number=1)
    section = series_section(item(summary=one), TEXTS, place=1)
    assert plain(section.title) == "T118-07: 1 sweep of one hookup"
    assert facts_of(section)["sweeps"] == ["number 1"]


def test_how_it_was_recorded(build: SimpleNamespace) -> None:
    section = series_section(item(), TEXTS, place=1)
    told = facts_of(section)
    assert told["specimen"] == ["T118-07", "green"]
    assert told["lot"] == ["lot 3"]
    assert told["length"] == ["2 m"]
    assert told["station"] == ["bench"]
    assert told["operator"] == ["M. Lindqvist"]
    assert told["analyzer"] == ["Simulated works,x,1,0", "command family named-measurement, 4 ports"]
    assert told["grid"] == ["1.000 MHz to 500.00 MHz, 50 points"]
    assert told["settings"] == ["IF bandwidth 1000 Hz, averages 1, power -5 dBm, points spaced linearly"]
    assert told["calibration"] == ["none"]
    assert told["fixture"] == ["contacts"]
    assert told["record"] == ["archive/x.h5"]
    assert told["content hash"][0] == "ab" * 32
    assert told["software"] == ["benchsweep 0.1.0"]
    safe = SafetyConfirmation("I. Vogt", AT, ("No voltage is present.",))
    known = replace(head(), calibration=build.item(points=40).measurement.calibration, safety=safe)
    told = facts_of(series_section(item(head=known), TEXTS, place=1))
    assert told["calibration"] == ["cal-7"]
    assert told["made at"] == ["2026-03-01T08:00:00Z", "4.0 h old when it was used"]
    assert told["kit"] == ["simulated-contacts"]
    assert told["safety"] == [f"cautions confirmed by I. Vogt at {AT}", "No voltage is present."]


def test_comments_are_told_without_any_requirement() -> None:
    comment = Comment("ab" * 32, "I. Vogt", "2026-03-02T08:00:00Z", "the door of the chamber was open")
    section = series_section(item(comments=(comment,)), TEXTS, place=1)
    assert facts_of(section_in(section, "Comments")) == {
        "2026-03-02T08:00:00Z, I. Vogt": ["the door of the chamber was open"]
    }
    assert "Comments" not in text_of(series_section(item(), TEXTS, place=1))


def test_the_largest_changes() -> None:
    through, others, *_ = tables_of(section_in(series_section(item(), TEXTS, place=1), "Change over time"))
    assert through == [
        [
            "parameter",
            "end",
            "pairs",
            "loss dB",
            "MHz",
            "sweep",
            "degrees",
            "ps",
            "MHz",
            "sweep",
            "|diff| dB",
        ],
        ["insertion loss", "A", "12", "+0.125", "250.00", "17", "-3.60", "+100.0", "100.00", "18", "-41.2"],
        ["insertion loss", "B", "12", "+0.125", "250.00", "17", "-3.60", "+100.0", "100.00", "18", "-41.2"],
    ]
    assert others == [
        ["parameter", "end", "pairs", "|diff| dB", "MHz", "sweep", "loss dB", "MHz", "sweep", "degrees"],
        ["NEXT", "A", "12", "-41.2", "1.000", "3", "+0.12", "250.00", "17", "-3.6"],
    ]


def test_the_lines_over_time_and_over_the_reading() -> None:
    section = section_in(series_section(item(), TEXTS, place=1), "Change over time")
    *_, hours, reading = tables_of(section)
    assert hours[0][3:] == ["loss dB/h", "delay ps/h", "loss dB/h where it changed most"]
    assert hours[1] == ["insertion loss", "A", "12", "+0.0200 ± 0.0012", "+4.00", "+0.030 ± 0.010"]
    assert hours[3] == ["NEXT", "A", "12", "+0.0200 ± 0.0012", "-", "+0.030 ± 0.010"]
    assert reading[0][3:] == ["loss, dB per unit of the reading", "delay, ps per unit of the reading"]
    assert reading[1][3:] == ["+0.0100 ± 0.0020", "+0.500 ± 0.020"]
    assert "Straight lines over chamber_degc by least squares" in text_of(section)
    assert "a dash stands where that leaves nothing" in text_of(section)


def test_what_the_noise_hides_is_a_dash_and_a_wander_is_marked() -> None:
    hidden = replace(
        change(P.NEXT),
        largest_loss_db=None,
        largest_deg=None,
        loss_db=np.full(20, np.nan),
        loss_per_hour=None,
        worst_per_hour=None,
        loss_per_unit=None,
    )
    wander = replace(change(P.NEXT), end="B", loss_per_hour=LineFit(0.02, 0.0012, 20, 0.3, 0.05))
    section = series_section(item(summary=summary(hidden, wander)), TEXTS, place=1)
    largest, hours, _ = tables_of(section_in(section, "Change over time"))
    assert largest[1] == ["NEXT", "A", "12", "-41.2", "1.000", "3", "-", "-", "-", "-"]
    assert hours[0][3:] == ["loss dB/h", "loss dB/h where it changed most"]  # no delay: no column for it
    assert [row[3] for row in hours[1:]] == ["-", "+0.0200 ± 0.0012 ~"]
    assert "~ the changes wander" in text_of(section)
    assert "wander" not in text_of(series_section(item(), TEXTS, place=1))
    section = series_section(item(summary=summary(hidden)), TEXTS, place=1)
    assert not any(isinstance(block, Drawn) for block in within(section))
    assert tables_of(section)[0][0][3:] == ["|diff| dB", "MHz", "sweep"]


def test_charts_are_named_by_the_place_of_the_series() -> None:
    section = series_section(item(), TEXTS, place=3)
    names = [block.picture.name for block in within(section) if isinstance(block, Drawn)]
    assert names
    assert all(name.startswith("series-3-") for name in names)
    assert "Hatched are times without the analyzer" in text_of(section)
    assert "12 circle, 36 square, 45 triangle, 78 diamond; filled with the receiver at end A" in text_of(
        section
    )


def test_pairs_can_be_chosen_where_there_are_several() -> None:
    assert series_section(item(), TEXTS, place=1).tellable == ()
    several = summary(replace(change(P.NEXT), pairs=("78", "36")), change())
    assert series_section(item(summary=several), TEXTS, place=1).tellable == ("12", "36", "78")


def test_what_happened() -> None:
    events = section_in(series_section(item(), TEXTS, place=1), "What happened")
    assert facts_of(events)["in all"] == ["time without the analyzer: 1", "move of the clock: 1"]
    assert tables_of(events)[0] == [
        ["at", "kind", "what", "s"],
        [AT, "time without the analyzer", "lost", "600.0"],
        [AT, "move of the clock", "moved", "-"],
    ]
    many = tuple(SeriesEvent(AT, "late", f"late {n}", 1.0) for n in range(130))
    told = replace(summary(), events=many, event_counts={"late": 1000})
    events = section_in(series_section(item(summary=told), TEXTS, place=1), "What happened")
    assert len(tables_of(events)[0]) == 1 + 100
    assert text_of(events).endswith("and 900 more")
    assert facts_of(events)["in all"] == ["late sweeps: 1000"]
    none = replace(summary(), events=(), event_counts={})
    assert "What happened" not in text_of(series_section(item(summary=none), TEXTS, place=1))


def test_a_series_without_changes_is_told(build: SimpleNamespace) -> None:
    still = replace(summary(), changes=())
    section = series_section(item(summary=still), TEXTS, place=1)
    assert "Change over time" not in text_of(section)
    assert "changes are those of" not in facts_of(section)


def test_words_of_ours_and_of_others(build: SimpleNamespace, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    whole = head(HOSTILE)
    hostile = replace(
        whole,
        station=HOSTILE,
        operator=HOSTILE,
        description=HOSTILE,
        started_at=HOSTILE,
        analyzer=replace(whole.analyzer, idn=HOSTILE, family=HOSTILE),
        hookup=Hookup(1, {1: HOSTILE}),
        software={HOSTILE: HOSTILE},
        safety=SafetyConfirmation(HOSTILE, HOSTILE, (HOSTILE,)),
        calibration=build.item(points=40).measurement.calibration,
    )
    told = replace(
        summary(words=HOSTILE),
        first_at=HOSTILE,
        ended=HOSTILE,
        ambient={HOSTILE: (1.0, 2.0, 1.5)},
        notes=(HOSTILE,),
    )
    comments = (Comment("ab", HOSTILE, HOSTILE, HOSTILE),)
    for one in (SeriesItem(hostile, told, HOSTILE, HOSTILE, comments), item()):
        section = series_section(one, texts, place=1)
        left = re.sub(r"\b(dB|MHz|s|ps|A|B)\b", "", outside_marks(ours(section)))
        assert not re.search("[A-Za-z]", left), re.findall("[A-Za-z]+", left)
        assert "<script" not in ours(section)
