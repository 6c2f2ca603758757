"""Plans: hookups and time, the grid in words, and what it is too coarse for."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import HookupImpossible, LinkLost, UnknownName, UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification import Planned, load_station, plan_document, plan_station
from benchsweep.qualification._grid import grid_findings

REST = """
[fixture]
name = "contacts"
[calibration]
kit = "ideal"
max_age_hours = 8.0
"""
NOBODY = "TCPIP::127.0.0.1::9::SOCKET"


def planned(
    tmp_path: Path,
    sweep: str,
    *,
    against: tuple[str, ...] = ("tia-6a-cord",),
    length_m: float | None = None,
    analyzer: str = "ports = 8",
    switch: str = 'kind = "person"',
) -> Planned:
    path = tmp_path / "bench-2.toml"
    path.write_text(
        f'schema = 1\nname = "bench-2"\n[analyzer]\n{analyzer}\n[sweep]\nif_bandwidth_hz = 1000.0\n{sweep}\n'
        f"[switch]\n{switch}\n{REST}"
    )
    return plan_station(load_station(str(path)), against, length_m=length_m)


FIXED = "start_mhz = 1.0\nstop_mhz = 500.0\npoints = 500"


def test_a_fixed_grid_that_fits_has_no_warnings_and_needs_no_other(tmp_path: Path) -> None:
    made = planned(tmp_path, FIXED, length_m=2.0)
    assert (len(made.plan.hookups), made.plan.matings) == (6, 14)
    assert made.grid == "1 MHz to 500 MHz in steps of 1 MHz, 500 points"
    assert made.warnings == ()
    assert made.better is None
    assert made.move_seconds == 14 * 20.0


def test_a_grid_too_coarse_for_the_specimen_is_said_with_one_that_fits(tmp_path: Path) -> None:
    made = planned(tmp_path, FIXED, against=("tia-6a-channel",), length_m=100.0)
    assert made.warnings[0].startswith("return loss and NEXT: the step of 1 MHz near 1 MHz is too coarse")
    assert made.better is not None
    assert made.better_words == "0.1 MHz to 500 MHz in steps of 0.1 MHz, 5000 points"
    assert made.better.warnings == ()
    # ten times the points, the same moves
    assert made.better_seconds - made.move_seconds == pytest.approx(10 * made.sweep_seconds)


def test_time_domain_alone_asks_for_no_other_grid(tmp_path: Path) -> None:
    made = planned(tmp_path, "start_mhz = 0.7\nstop_mhz = 500.7\npoints = 501", length_m=2.0)
    assert [words.split(":")[0] for words in made.warnings] == ["time domain"]
    assert made.better is None


def test_a_range_that_is_not_covered_is_said_without_a_length(tmp_path: Path) -> None:
    made = planned(tmp_path, FIXED.replace("500.0", "250.0"), against=("tia-6a-cord", "tia-6-cord"))
    lacking, words = made.warnings
    assert (
        lacking
        == "the limits of tia-6a-cord, tia-6-cord depend on the length: `qualify` will need --length-m"
    )
    assert words.startswith("tia-6a-cord goes from 1 to 500 MHz, the sweep from 1 to 250 MHz")


def test_several_requirements_share_one_grid(tmp_path: Path) -> None:
    made = planned(
        tmp_path,
        'requirements = ["tia-5e-cord", "tia-6a-cord"]\nlongest_m = 20.0',
        against=("tia-5e-cord", "tia-6a-cord", "tia-5e-cord"),
        length_m=20.0,
    )
    assert made.requirements == ("tia-5e-cord", "tia-6a-cord")
    assert made.length_m == 20.0
    assert (made.settings.points, made.warnings) == (1000, ())


def test_what_limits_the_analyzer_is_said_where_it_matters(tmp_path: Path) -> None:
    sweep = 'requirements = ["tia-6a-channel"]\nlongest_m = 100.0\nmost_points = 1601\nspacing = "linear"'
    long = planned(tmp_path, sweep, against=("tia-6a-channel",))
    assert "5000 points are needed for 100 m, the analyzer sweeps at most 1601" in long.warnings[0]
    assert "return loss" in long.warnings[1]
    short = planned(tmp_path, sweep, against=("tia-6a-channel",), length_m=5.0)
    assert short.warnings == ()


def test_the_bandwidth_of_each_segment_counts_in_the_time(tmp_path: Path) -> None:
    segments = "[[sweep.segments]]\nstart_mhz = {}\nstop_mhz = {}\npoints = 100\nif_bandwidth_hz = {}\n"
    fast = planned(tmp_path, segments.format(1, 100, 1000) + segments.format(101, 500, 1000))
    slow = planned(tmp_path, segments.format(1, 100, 10) + segments.format(101, 500, 1000))
    # 6 hookups of 8 ports; 100 points at 1.2 / 10 Hz instead of 1.2 / 1000 Hz
    assert slow.sweep_seconds - fast.sweep_seconds == pytest.approx(48 * 100 * 1.2 * (1 / 10 - 1 / 1000))
    twice = planned(
        tmp_path, "averages = 2\n" + segments.format(1, 100, 1000) + segments.format(101, 500, 1000)
    )
    assert twice.sweep_seconds == pytest.approx(2 * fast.sweep_seconds)


def test_relays_take_their_time_for_every_hookup(tmp_path: Path) -> None:
    relays = 'kind = "relays"\nsettle_s = 0.2\nchannels = "{port}!{column}"\ncolumns = { "A:12.1" = 1 }'
    made = planned(tmp_path, FIXED, switch=relays)
    assert made.move_seconds == pytest.approx(6 * 0.25)


def test_without_a_grid_the_analyzer_decides_and_one_is_proposed(tmp_path: Path) -> None:
    made = planned(tmp_path, "", length_m=5.0)
    assert made.grid == "the analyzer's own grid after a preset"
    assert made.better_words == "1 MHz to 500 MHz in steps of 1 MHz, 500 points"
    assert planned(tmp_path, "").better is None


def test_the_document_is_json_and_as_promised(tmp_path: Path) -> None:
    sweep = 'requirements = ["tia-6a-channel"]\nlongest_m = 100.0\nmost_points = 4001'
    document = plan_document(planned(tmp_path, sweep, against=("tia-6a-channel",)))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["schema"] == "benchsweep.plan/1"
    assert [set(hookup) for hookup in document["hookups"]] == [{"number", "connections"}] * 6
    assert document["hookups"][0]["connections"]["1"] == "A:12.1"
    assert document["matings"] == 14
    grid = document["grid"]
    assert grid["spacing"] == "segments"
    assert grid["points"] == sum(part["points"] for part in grid["segments"]) <= 4001
    assert (grid["start_hz"], grid["stop_hz"]) == (1e6, 500e6)
    assert document["seconds"] == pytest.approx(
        document["sweep_seconds"] + document["move_seconds"], abs=0.11
    )
    assert all(isinstance(words, str) for words in document["warnings"])


def test_an_analyzer_that_is_away_is_no_obstacle_when_its_ports_are_known(tmp_path: Path) -> None:
    sweep = 'requirements = ["tia-6a-cord"]\nlongest_m = 5.0'
    away = f'address = "{NOBODY}"'
    assert len(planned(tmp_path, sweep, analyzer=f"{away}\nports = 8").plan.hookups) == 6
    with pytest.raises(LinkLost) as caught:
        planned(tmp_path, sweep, analyzer=away)
    assert "put `ports` under [analyzer]" in caught.value.hint


def test_what_makes_no_sense_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnknownName, match="tia-99"):
        planned(tmp_path, FIXED, against=("tia-99",))
    with pytest.raises(UsageError, match="length of -1 m"):
        planned(tmp_path, FIXED, length_m=-1.0)
    with pytest.raises(HookupImpossible):
        planned(tmp_path, FIXED, analyzer="ports = 2")
    with pytest.raises(UsageError, match="no requirement"):
        plan_station(load_station("simulated"), [])


def test_findings_of_a_grid_of_one_point_or_without_a_length_are_those_of_the_range() -> None:
    cord = load_requirement("tia-6a-cord")
    assert len(grid_findings(np.array([100e6]), [cord], 2.0)) == 1
    assert grid_findings(np.arange(1, 501) * 1e6, [cord], None) == ()
    # Nothing that is graded needs the time domain: not said unless asked for.
    coarse = np.arange(1, 501) * 1e6 + 0.3e6
    assert len(grid_findings(coarse, [], 2.0, time_domain=True)) == 1
    assert grid_findings(coarse, [], 2.0) == ()
