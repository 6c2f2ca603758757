"""Control charts and capability on a terminal."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import numpy as np
import pytest

from benchsweep.records import (
    Capability,
    ChartSignal,
    ControlChart,
    Normality,
    Parameter,
    ProcessView,
    ToleranceLimits,
)
from benchsweep.report import process_list, process_table
from benchsweep.report.terminal._process_chart import control_chart

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches, from memory: centre 50.81, limits 45.8159 and
# 55.8041 (mean moving range 1.8778, d2 1.128).
FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
LABELS = tuple(f"R{number:02d}" for number in range(1, 11))


def chart(values: np.ndarray, *signals: ChartSignal, **changes: object) -> ControlChart:
    size = values.size
    whole = np.ones(size)
    made = ControlChart(
        *("individuals", tuple(f"R{at:02d}" for at in range(1, size + 1)), values),
        *(50.81 * whole, 45.8159 * whole, 55.8041 * whole, 1.6647 * whole, size),
        signals=signals,
        constants="centre ± 3 mean moving range / 1.128",
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def plot_of(told: str) -> list[str]:
    """Return the lines of the plot without the numbers beside them, in ASCII."""
    return [
        line.split("|" if "|" in line[:9] else "+", 1)[1]
        for line in told.splitlines()
        if line[:9].strip(" 0123456789.-")[:1] in ("|", "+")
    ]


def test_points_centre_and_limits_stand_where_they_are() -> None:
    told = control_chart(chart(FLOW), unit="dB", ascii_only=True)
    assert "centre 50.810, lower limit 45.816, upper limit 55.804 dB" in told
    lines = plot_of(told)[:12]
    assert len(lines) == 12
    assert sum(line.count("o") for line in lines) == 10
    rows = {
        column // 4: row for row, line in enumerate(lines) for column, sign in enumerate(line) if sign == "o"
    }
    by_height = sorted(range(10), key=lambda at: (rows[at], -FLOW[at]))
    assert by_height[0] == 8, "53.6 is the highest"
    assert rows[1] == max(rows.values()), "47.6 is the lowest"
    assert all(FLOW[a] >= FLOW[b] for a in range(10) for b in range(10) if rows[a] < rows[b])
    assert lines[0].count("=") + lines[1].count("=") >= 39
    assert lines[-1].count("=") + lines[-2].count("=") >= 39
    middle = [row for row, line in enumerate(lines) if line.count("-") > 20]
    assert len(middle) == 1
    assert all(rows[at] < middle[0] for at in range(10) if FLOW[at] > 51.6)
    assert all(rows[at] > middle[0] for at in range(10) if FLOW[at] < 50.0)
    assert "R01" in told
    assert "R10" in told


def test_a_signal_is_marked_and_names_rule_and_points() -> None:
    values = FLOW.copy()
    values[6] = 57.0
    beyond = ChartSignal("beyond-limits", "a point beyond a control limit", (6,), True, 6)
    run = ChartSignal("run-of-8", "8 points in a row on one side", tuple(range(10)), False, 7)
    made = chart(values, beyond, run)
    told = control_chart(made, ascii_only=True)
    lines = plot_of(told)[:12]
    assert sum(line.count("X") for line in lines) == 1
    assert sum(line.count("o") for line in lines) == 0, "all others are of the run"
    assert "X" in lines[0] + lines[1]
    view = replace(VIEW, charts=(made,))
    flat = " ".join(process_table(view).split())
    assert "individuals chart: a point beyond a control limit [beyond-limits]: R07 (point 7)" in flat
    assert "[run-of-8, for information]: R01 (point 1) to R10 (point 10); seen first with R08" in flat
    listed = process_list([view])
    assert "NEXT, individuals chart: a point beyond" in " ".join(listed.split())
    assert "run-of-8" not in listed, "what is for information does not alarm"
    assert listed.splitlines()[7].split()[-1] == "1"


@pytest.mark.parametrize("count", [1, 2, 37, 400, 3000])
def test_any_number_of_points_is_drawn(count: int) -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(50.81, 1.6, count)
    values[count // 2] = 70.0
    signal = ChartSignal("beyond-limits", "a point beyond a control limit", (count // 2,), True, count // 2)
    for width in (40, 80):
        told = control_chart(chart(values, signal), width=width, ascii_only=True)
        assert max(map(len, told.splitlines())) <= width
        assert sum(line.count("X") for line in plot_of(told)[:12]) == 1


def test_what_has_no_value_or_limit_is_left_out() -> None:
    nothing = np.full(10, np.nan)
    moving = np.concatenate(([np.nan], np.abs(np.diff(FLOW))))
    made = chart(
        moving, kind="moving-range", centre=np.full(10, 1.8778), lower=nothing, upper=np.full(10, 6.1349)
    )
    told = control_chart(made, ascii_only=True)
    assert sum(line.count("o") for line in plot_of(told)[:12]) == 9
    assert "no lower limit, upper limit 6.135" in told
    assert control_chart(chart(nothing)) == ""


VIEW = ProcessView(
    *("C6-23", "Tollmoor Wire", "tia-6-cable", Parameter.NEXT, None, "dB"),
    *(("T1",) * 5 + ("T2",) * 5, LABELS, tuple(f"2026-03-{day:02d}T09:00:00Z" for day in range(1, 11))),
    FLOW - 47.0,
    charts=(chart(FLOW),),
    capability=Capability(10, 3.81, 2.05, 0.62, 0.34, 0.95, 3.2),
    tolerance=(ToleranceLimits(10, 0.99, 0.95, -4.35, None, 3.981, "normal"),),
    normality=Normality(10, 0.93, 0.45, False, "Shapiro-Wilk: nothing against a normal distribution"),
    notes=("fewer than 25 reels: limits are rough",),
)


def test_capability_with_its_bound_and_tolerance() -> None:
    flat = " ".join(process_table(VIEW).split())
    assert "Ppk 0.62 (mean / 3 s, s of all reels); the process is above 0.34 with 95 % confidence" in flat
    assert "at least 99 % of reels above -4.35 dB, with 95 % confidence (normal, k 3.981)" in flat
    assert "least +0.60 dB, reel R02 of lot T1" in flat
    assert "fewer than 25 reels" in flat
    assert "signal none" in flat
    within = replace(VIEW, capability=replace(VIEW.capability, within=True))  # type: ignore[type-var]
    assert "Cpk 0.62 (mean / 3 s, s within lots)" in " ".join(process_table(within).split())
    listed = process_list([VIEW, replace(VIEW, end="B", capability=None)]).splitlines()
    assert "10 reels of 2 lots, 2026-03-01 to 2026-03-10" in listed[3]
    assert listed[7].split() == ["NEXT", "worst", "10", "+3.81", "+0.60", "0.62", "0.34", "0"]
    assert listed[8].split() == ["NEXT", "B", "10", "+3.81", "+0.60", "-", "-", "0"]


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("name", ["a\u202eb\x1b[31mc", "電線" * 30, "x" * 130, "reel\naccepted: all"])
def test_names_of_any_sort_stay_within_the_columns(name: str, width: int) -> None:
    signal = ChartSignal("beyond-limits", name, (3,), True, 3)
    made = chart(FLOW, signal, labels=(name,) * 10, constants=name)
    view = replace(
        *(VIEW,),
        product=name,
        supplier=name,
        requirement=name,
        reels=(name,) * 10,
        lots=(name,) * 10,
        charts=(made,),
        notes=(name,),
    )
    for told in (process_table(view, width=width), process_list([view], width=width)):
        assert {char for char in told if unicodedata.category(char)[0] == "C"} <= {"\n"}
        for line in told.splitlines():
            taken = sum(
                0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
                for char in line
            )
            assert taken <= width
