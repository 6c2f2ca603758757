"""A series on the terminal."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from benchsweep.records import (
    AnalyzerIdentity,
    Extreme,
    Hookup,
    LineFit,
    Parameter,
    RawSweep,
    SeriesChange,
    SeriesCourse,
    SeriesEvent,
    SeriesHead,
    SeriesSummary,
    SeriesSweep,
    Specimen,
    SweepSettings,
)
from benchsweep.report import series_sweep_table, series_table

AT = "2026-03-01T12:00:00+00:00"


def head(name: str = "T118-07") -> SeriesHead:
    return SeriesHead(
        Specimen(name, 2.0),
        AT,
        "bench",
        "M. Lindqvist",
        name,
        Hookup(1, {1: "A:12.1", 2: "A:12.2", 3: "B:12.1", 4: "B:12.2"}),
        np.linspace(1e6, 500e6, 50),
        AnalyzerIdentity("Simulated works,x,1,0", "named-measurement", 4),
        SweepSettings(1e6, 500e6, 50, 1e3),
        None,
        "",
        software={"benchsweep": "0.1.0"},
    )


def summary(
    count: int = 20, parameter: Parameter = Parameter.INSERTION_LOSS, words: str = "lost"
) -> SeriesSummary:
    hours = np.arange(count) / 6.0
    loss = 0.02 * hours
    delay = 4.0 * hours if parameter is Parameter.INSERTION_LOSS else np.full(count, np.nan)
    change = SeriesChange(
        parameter,
        "A",
        ("12",),
        Extreme(0.125, 250e6, 17),
        Extreme(-3.6, 100e6, 18),
        Extreme(-41.25, 1e6, 3),
        loss,
        delay,
        LineFit(0.02, 0.00123, count),
        LineFit(4.0, None, 2),
        LineFit(0.03, 0.01, count),
        LineFit(0.01, 0.002, count),
        LineFit(0.5, 0.02, count),
    )
    reading = np.linspace(20.0, 30.0, count)
    reading[count // 2] = np.nan
    return SeriesSummary(
        count,
        1,
        count,
        (),
        AT,
        AT,
        "enough",
        (SeriesEvent(AT, "gap", words, 600.0), SeriesEvent(AT, "clock", "moved", None)),
        {"gap": 1, "clock": 1},
        {"chamber_degc": (20.0, 30.0, 25.0)},
        (change, replace(change, end="B")),
        SeriesCourse(np.arange(count) + 1, hours, reading, "chamber_degc", 1),
        False,
        ("not attached, so nothing is known of them: A:36",),
    )


def test_the_table_says_what_there_is() -> None:
    text = series_table(head(), summary())
    assert re.search(
        r"^insertion loss +A +12 +\+0\.125 +250\.00 +17 +-3\.60 +\+100\.0 +100\.00 +18$", text, re.M
    )
    assert re.search(r"^insertion loss +B +12 +\+0\.0200 ± 0\.0012 +\+4\.00$", text, re.M)
    assert re.search(r"^per chamber_degc", text, re.M)
    assert "chamber_degc 20 to 30, mean 25" in text
    assert "times without the analyzer: 1, moves of the clock: 1" in text
    assert "not attached" in text


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    text = series_table(
        head("a very long name of a specimen that goes on and on " * 3), summary(), width=width
    )
    assert max(map(len, text.splitlines())) <= width
    assert "+0.125" in text


def test_what_the_noise_hides_is_a_dash_and_a_wander_is_marked() -> None:
    whole = summary(parameter=Parameter.NEXT)
    hidden = replace(
        whole.changes[0],
        largest_loss_db=None,
        largest_deg=None,
        loss_db=np.full(20, np.nan),
        loss_per_hour=None,
        delay_per_hour=None,
        worst_per_hour=None,
        loss_per_unit=None,
        delay_per_unit=None,
    )
    wander = replace(
        whole.changes[1], loss_per_hour=LineFit(0.02, 0.0012, 20, 0.3, 0.05), delay_per_hour=None
    )
    text = series_table(head(), replace(whole, changes=(hidden, wander)))
    assert re.search(r"^NEXT +A +12 +-41\.2 +1\.000 +3 +- +- +- +-$", text, re.M)
    assert re.search(r"^NEXT +A +12 +-$", text, re.M)
    assert re.search(r"^NEXT +B +12 +\+0\.0200 ± 0\.0012 ~$", text, re.M)
    assert "~ the changes wander" in text
    assert "~" not in series_table(head(), whole)


def test_one_sweep() -> None:
    raw = RawSweep([1e6], np.zeros((1, 1, 1)), (1,), AT, 0.25)
    text = series_sweep_table(
        SeriesSweep(7, raw, {"t": 21.5}, (SeriesEvent(AT, "gap", "the link was lost"),))
    )
    assert text.splitlines()[0].split() == ["sweep", "7"]
    assert "t 21.5" in text
    assert "the link was lost" in text
