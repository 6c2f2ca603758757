"""The small plot: read back from its characters, its value, limit and worst point are where they belong."""

from __future__ import annotations

import math
import unicodedata
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchsweep.records import LimitCurve, Outcome, Parameter, Trace, VerdictRow
from benchsweep.report import PlottedTrace, can_draw, trace_plot
from benchsweep.report.terminal._ticks import frequency_ticks, value_ticks

P = Parameter
Floats = NDArray[np.float64]
GRID = np.linspace(1e6, 500e6, 60)
BRAILLE = range(0x2800, 0x2900)
# Rows of the dots of a Braille pattern by bit (Unicode 15, "Braille Patterns", dots 1 to 8).
DOT_ROW = {0x01: 0, 0x02: 1, 0x04: 2, 0x40: 3, 0x08: 0, 0x10: 1, 0x20: 2, 0x80: 3}


def plotted(value: Floats, limit: Floats, *, sense: str = "min", grid: Floats = GRID) -> PlottedTrace:
    margin = np.where(np.isfinite(limit), (value - limit) * (1 if sense == "min" else -1), np.inf)
    at = int(np.argmin(margin))
    outcome = Outcome.PASS if margin[at] >= 0 else Outcome.FAIL
    row = VerdictRow(
        P.NEXT if sense == "min" else P.INSERTION_LOSS,
        "B",
        ("36", "45") if sense == "min" else ("36",),
        float(margin[at]) if math.isfinite(margin[at]) else None,
        float(grid[at]),
        float(value[at]),
        float(limit[at]),
        None,
        outcome,
        "from-memory",
        "",
    )
    return PlottedTrace(row, grid, value, limit, sense)


def next_of(grid: Floats = GRID) -> tuple[Floats, Floats]:
    limit = 44.3 - 15.0 * np.log10(grid / 1e8)
    dip = 6.0 * np.exp(-(((grid - 212e6) / 2e7) ** 2))
    return limit + 4.0 + 2.0 * np.abs(np.sin(grid / 3e7)) - dip, limit


class Read:
    """What a person reads off a plot: numbers at the axes, and where things stand between them."""

    def __init__(self, text: str) -> None:
        lines = text.splitlines()
        self.words = " ".join(line for line in lines if not set("│┤|+└") & set(line[:12]))
        self.rows = [line for line in lines if any(char in "│┤" for char in line[:12])]
        self.left = next(at for at, char in enumerate(self.rows[0]) if char in "│┤") + 1
        ticks = [
            (at, float(row[: self.left - 1]))
            for at, row in enumerate(self.rows)
            if row[: self.left - 1].strip()
        ]
        (first, high), (last, low) = ticks[0], ticks[-1]
        assert len(ticks) >= 3
        self.per_row = (high - low) / (last - first)
        self.top = high + (first + 0.5) * self.per_row
        rule, below = lines[-2:]
        self.marks = [at - self.left for at, char in enumerate(rule) if char == "┬"]
        self.hertz = [float(word) * 1e6 for word in below.split()[1:]]
        assert below.split()[0] == "MHz"
        assert len(self.marks) == len(self.hertz)

    def frequency(self, column: float) -> float:
        return 10 ** float(np.interp(column, self.marks, np.log10(self.hertz)))

    def value(self, row: float) -> float:
        return self.top - (row + 0.5) * self.per_row

    def points(self, chars: str) -> list[tuple[float, float]]:
        """Return frequency and row of every character among `chars`."""
        return [
            (self.frequency(at), row)
            for row, line in enumerate(self.rows)
            for at, char in enumerate(line[self.left :])
            if char in chars
        ]


@pytest.mark.parametrize("sense", ["min", "max"])
def test_value_limit_and_worst_point_are_read_back(sense: str) -> None:
    value, limit = next_of()
    if sense == "max":
        value, limit = 2.0 * limit[0] - value, 2.0 * limit[0] - limit
    shown = plotted(value, limit, sense=sense)
    read = Read(trace_plot(shown))
    assert len(read.rows) == 12
    ((hertz, row),) = read.points("X")
    assert shown.row.frequency_hz is not None
    assert shown.row.value is not None
    # half a column of 76 over 2.7 decades, and half a line
    assert abs(math.log10(hertz / shown.row.frequency_hz)) < 2.7 / 76
    assert abs(read.value(row) - shown.row.value) < 1.01 * read.per_row
    found = read.points("▔─▁")
    assert len(found) > 40
    for hertz, row in found:
        wanted = np.interp(math.log10(hertz), np.log10(GRID), limit)
        assert abs(read.value(row) - wanted) < 1.2 * read.per_row
    dots = read.points("".join(map(chr, BRAILLE)))
    assert len({round(hertz) for hertz, _ in dots}) > 60
    for hertz, row in dots:
        near = np.abs(np.log10(GRID / hertz)) < 0.06
        low, high = (value[near].min(), value[near].max()) if near.any() else (value.min(), value.max())
        assert low - 1.5 * read.per_row < read.value(row) < high + 1.5 * read.per_row


def test_a_narrow_peak_is_not_lost() -> None:
    grid = np.linspace(1e6, 500e6, 3000)
    value = np.full(grid.size, 30.0)
    value[2500] = 10.0
    read = Read(trace_plot(plotted(value, np.full(grid.size, 5.0), grid=grid)))
    lowest = max(row for _, row in read.points("X" + "".join(map(chr, BRAILLE))))
    assert abs(read.value(lowest) - 10.0) < read.per_row


def test_where_no_limit_counts_none_is_drawn() -> None:
    value, limit = next_of()
    counts = GRID > 100e6
    read = Read(trace_plot(plotted(value, np.where(counts, limit, np.nan))))
    found = read.points("▔─▁")
    assert found
    assert min(hertz for hertz, _ in found) > 85e6
    nowhere = replace(plotted(value, limit), limit=np.full(GRID.size, np.nan))
    assert "limit, fails" not in trace_plot(nowhere)
    assert Read(trace_plot(nowhere)).points("▔─▁") == []


def test_words_tell_which_trace_and_what_is_what() -> None:
    words = Read(trace_plot(plotted(*next_of()))).words
    assert "worst: NEXT, end B, pairs 36-45: 0.56 dB outside the limit at 212.44 MHz" in words
    assert "limit, fails below" in words
    assert "in dB" in words
    value, limit = next_of()
    assert "limit, fails above" in trace_plot(plotted(-value, -limit, sense="max"))
    assert "X worst, " in words


LEVELS = {False: "▔─▁", True: '"-_'}
DOTS = {False: "".join(map(chr, BRAILLE)), True: ".':"}


def areas(text: str) -> list[str]:
    """The lines of the plot without the numbers and the axis to their left."""
    lines = [line for line in text.splitlines() if any(char in "│┤|+" for char in line[:12])]
    left = next(at for at, char in enumerate(lines[0]) if char in "│┤|+") + 1
    return [line[left:] for line in lines if "└" not in line and "++" not in line]


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("distance_db", [0.0, 0.05, -0.05, 0.3])
def test_the_limit_is_seen_beside_a_near_trace(distance_db: float, ascii_only: bool) -> None:
    _, limit = next_of()
    near = plotted(limit + distance_db + 0.01 * np.sin(GRID / 3e6), limit)
    text = trace_plot(near, ascii_only=ascii_only)
    columns = ["".join(column) for column in zip(*(f"{row:76}" for row in areas(text)), strict=False)]
    limits = [any(char in LEVELS[ascii_only] for char in column) for column in columns]
    traces = [any(char in DOTS[ascii_only] for char in column) for column in columns]
    # Nowhere four columns side by side in which one of the two is not seen (the worst point covers both).
    for shown in (limits, traces):
        assert sum(shown) > 0.4 * len(columns)
        assert "...." not in "".join("#" if at else "." for at in shown).strip(".")
    if not ascii_only:
        read = Read(text)
        for hertz, row in read.points(LEVELS[False]):
            wanted = np.interp(math.log10(hertz), np.log10(GRID), limit)
            assert abs(read.value(row) - wanted) < 1.2 * read.per_row


def test_a_crossing_trace_is_not_interrupted() -> None:
    grid = np.linspace(1e6, 500e6, 2000)
    steep = np.where(grid < 50e6, 50.0, 10.0)
    rows = areas(trace_plot(plotted(steep, np.full(grid.size, 30.0), grid=grid)))
    columns = [[line[at : at + 1] or " " for line in rows] for at in range(76)]
    crossing = [column for column in columns if sum(char in DOTS[False] + "X" for char in column) > 6]
    assert len(crossing) == 1
    assert not set("".join(crossing[0])) & set(LEVELS[False])


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("shape", ["level", "sloped", "near", "covered"])
def test_the_legend_shows_what_the_limit_is_drawn_with(shape: str, ascii_only: bool) -> None:
    _, limit = next_of()
    limit = np.full(GRID.size, 30.0) if shape in ("level", "covered") else limit
    value = limit + (0.05 if shape == "near" else 4.0)
    if shape == "covered":  # one column, in which the trace runs over all lines
        value = np.where(np.arange(GRID.size) % 2 == 0, 20.0, 40.0)
        limit = np.where(np.arange(GRID.size) == GRID.size - 2, limit, np.nan)
    text = trace_plot(plotted(value, limit), ascii_only=ascii_only)
    legend = text.splitlines()[1]
    drawn = {char for line in areas(text) for char in line if char in LEVELS[ascii_only]}
    if shape == "covered":
        assert not drawn
        assert "limit, covered by it, fails below" in " ".join(text.split())
        return
    sample = legend.partition(" limit, fails")[0].split()[-1]
    assert set(sample) == drawn
    assert len(sample) in (2, 3)


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("width", [1, 40, 57, 80, 100])
def test_it_keeps_within_the_width_and_to_its_characters(width: int, ascii_only: bool) -> None:
    text = trace_plot(plotted(*next_of()), width=width, ascii_only=ascii_only)
    assert all(len(line) <= max(width, 40) for line in text.splitlines())
    assert all(line == line.rstrip() for line in text.splitlines())
    if ascii_only:
        assert text.isascii()
        assert "X" in text
        assert sum(char in "'.:" for char in text) > 20
    else:
        # each takes one column, also where East Asian characters are two wide
        assert all(unicodedata.east_asian_width(char) not in "WF" for char in text)
        assert not text.isascii()


def test_ascii_tells_the_same_points() -> None:
    shown = plotted(*next_of())
    lines = [trace_plot(shown, ascii_only=ascii_only).splitlines() for ascii_only in (False, True)]
    places = [
        [(row, line.index("X")) for row, line in enumerate(drawn[2:]) if "X" in line] for drawn in lines
    ]
    assert places[0] == places[1]
    assert lines[0][-1] == lines[1][-1]


@pytest.mark.parametrize(
    ("encoding", "can"),
    [("utf-8", True), ("UTF-8", True), ("ascii", False), ("latin-1", False), ("cp437", False)],
)
def test_encodings(encoding: str, can: bool) -> None:
    assert can_draw(encoding) is can
    assert can_draw(None) is False
    assert can_draw("no-such-encoding") is False


@pytest.mark.parametrize(
    "value",
    [
        np.full(GRID.size, np.inf),
        np.where(np.arange(GRID.size) == 5, 30.0, np.inf),
    ],
)
def test_fewer_than_two_points_are_no_plot(value: Floats) -> None:
    shown = replace(plotted(*next_of()), value=value)
    assert trace_plot(shown) == ""


def test_a_flat_trace_and_one_without_signal_at_some_points() -> None:
    flat = np.full(GRID.size, 20.0)
    flat[10:20] = np.inf
    read = Read(trace_plot(plotted(flat, np.full(GRID.size, 20.0))))
    assert read.points("X")
    assert {row for _, row in read.points("".join(map(chr, BRAILLE)))} <= {5, 6}


def test_a_trace_of_another_grid_than_its_limit_is_no_plot() -> None:
    shown = plotted(*next_of())
    trace = Trace(P.NEXT, "B", ("36", "45"), GRID, shown.value)
    curve = LimitCurve(P.NEXT, "min", GRID, shown.limit, "from-memory", "invented")
    made = PlottedTrace.of(shown.row, trace, curve, GRID < 50e6)
    assert made is not None
    assert np.array_equal(np.isnan(made.limit), GRID < 50e6)
    assert np.array_equal(made.limit[GRID >= 50e6], shown.limit[GRID >= 50e6])
    assert PlottedTrace.of(shown.row, trace, curve, None).limit is curve.value
    other = LimitCurve(P.NEXT, "min", GRID + 1.0, shown.limit, "from-memory", "invented")
    assert PlottedTrace.of(shown.row, trace, other, None) is None


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(-1e300, 1e300), min_size=2, max_size=30),
    st.floats(1.0, 1e12),
    st.floats(1.0001, 1e6),
    st.booleans(),
)
def test_any_numbers_are_drawn_within_the_width(
    values: list[float], start: float, ratio: float, ascii_only: bool
) -> None:
    grid = np.geomspace(start, start * ratio, len(values))
    value = np.array(values)
    text = trace_plot(plotted(value, value[::-1].copy(), grid=grid), ascii_only=ascii_only)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert text.splitlines()[-1].split()[0] == "MHz"


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [
        (-1.0, 61.0, ["0", "10", "20", "30", "40", "50", "60"]),
        (0.1, 1.1, ["0.2", "0.4", "0.6", "0.8", "1.0"]),
        (-0.03, 0.03, ["-0.03", "-0.02", "-0.01", "0.00", "0.01", "0.02", "0.03"]),
    ],
)
def test_values_at_the_axis_are_round(low: float, high: float, wanted: list[str]) -> None:
    found = value_ticks(low, high, 12)
    assert [words for _, words in found] == wanted
    assert all(abs(float(words) - value) < 1e-9 for value, words in found)


def test_frequencies_at_the_axis_are_the_ends_then_decades() -> None:
    words = [words for _, words in frequency_ticks(1e6, 500e6)]
    assert words == ["1", "500", "10", "100", "2", "20", "200", "5", "50"]
    assert [words for _, words in frequency_ticks(100e6, 250e6)] == ["100", "250", "200"]
