"""``[sweep]`` of a station file: the four ways to a grid, and what cannot be combined."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.acquisition import settings_grid
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.qualification import Station, load_station
from benchsweep.records import SweepSegment, SweepSettings

REST = """
[switch]
kind = "person"
[fixture]
name = "contacts"
[calibration]
kit = "ideal"
max_age_hours = 8.0
"""


def station(tmp_path: Path, sweep: str) -> Station:
    path = tmp_path / "bench-1.toml"
    path.write_text(f'schema = 1\nname = "bench-1"\n[sweep]\nif_bandwidth_hz = 1000.0\n{sweep}\n{REST}')
    return load_station(str(path))


SEGMENTS = """
[[sweep.segments]]
start_mhz = 1.0
stop_mhz = 10.0
points = 91
if_bandwidth_hz = 300.0
[[sweep.segments]]
start_mhz = 11.0
stop_mhz = 500.0
points = 490
"""


def test_segments_reach_the_settings_in_hertz(tmp_path: Path) -> None:
    settings = station(tmp_path, SEGMENTS).settings()
    assert settings == SweepSettings(
        None,
        None,
        None,
        1000.0,
        spacing="segments",
        segments=(SweepSegment(1e6, 10e6, 91, 300.0), SweepSegment(11e6, 500e6, 490)),
    )


def test_a_logarithmic_grid(tmp_path: Path) -> None:
    text = 'start_mhz = 1.0\nstop_mhz = 100.0\npoints = 201\nspacing = "logarithmic"'
    settings = station(tmp_path, text).settings()
    assert (settings.spacing, settings.points) == ("logarithmic", 201)
    grid = settings_grid(settings)
    assert grid is not None
    assert grid[100] == pytest.approx(10e6)


def test_a_grid_from_requirements_covers_them_all(tmp_path: Path) -> None:
    loaded = station(tmp_path, 'requirements = ["tia-5e-cord", "tia-6a-cord"]\nlongest_m = 20.0')
    settings = loaded.settings()
    assert (settings.start_hz, settings.stop_hz, settings.points) == (0.5e6, 500e6, 1000)
    only_5e = station(tmp_path, 'requirements = ["tia-5e-cord"]\nlongest_m = 20.0').settings()
    assert only_5e.stop_hz == 100e6


def test_what_the_analyzer_can_narrows_the_grid(tmp_path: Path) -> None:
    loaded = station(tmp_path, 'requirements = ["tia-6a-channel"]\nlongest_m = 100.0')
    told = loaded.settings({"max_points": 4001, "min_frequency_hz": 300e3, "max_frequency_hz": 8.5e9})
    assert told.spacing == "segments"
    grid = settings_grid(told)
    assert grid is not None
    assert grid.size <= 4001
    assert grid[0] == 1e6
    assert loaded.settings().points == 5000
    linear = station(
        tmp_path,
        'requirements = ["tia-6a-channel"]\nlongest_m = 100.0\nspacing = "linear"\nmost_points = 1601\n'
        "lowest_mhz = 0.3",
    )
    assert linear.settings({"max_points": 4001}).points == 1000
    chosen = linear.sweep.chosen()
    assert chosen is not None
    assert "at most 1601" in chosen.warnings[0]
    assert chosen.start_hz == 0.5e6


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SEGMENTS.replace("11.0", "10.0"), r"segments\[1\]: start_mhz 10 must be above stop_mhz 10"),
        (SEGMENTS.replace("start_mhz = 1.0", "start_mhz = 20.0"), r"sweep.segments\[0\]: start_mhz must be"),
        ("points = 5\n" + SEGMENTS, "points and segments exclude each other"),
        ('spacing = "linear"\n' + SEGMENTS, 'segments and spacing = "linear" exclude'),
        ('spacing = "segments"', "needs segments or requirements"),
        ('spacing = "logarithmic"', "needs start_mhz, stop_mhz and points"),
        ("longest_m = 5.0", "longest_m belongs to requirements"),
        ("most_points = 201", "most_points belongs to requirements"),
        ('requirements = ["tia-6a-cord"]', "requirements needs longest_m"),
        ('requirements = ["tia-6a-cord"]\nlongest_m = 5.0\nstart_mhz = 1.0', "start_mhz and requirements"),
        ('requirements = ["tia-99"]\nlongest_m = 5.0', "sweep.requirements: no requirement named 'tia-99'"),
        ("span_mhz = 5.0", "sweep.span_mhz: unknown key"),
    ],
)
def test_what_cannot_be_is_refused_with_file_and_key(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(DefinitionError, match=words) as caught:
        station(tmp_path, text)
    assert str(tmp_path / "bench-1.toml") in caught.value.message
    assert "sweep" in caught.value.message


def test_an_analyzer_that_does_not_reach_the_range_is_told_before_it_is_set(tmp_path: Path) -> None:
    loaded = station(tmp_path, 'requirements = ["tia-5e-cord"]\nlongest_m = 5.0')
    with pytest.raises(UsageError, match="the analyzer goes from 200 MHz"):
        loaded.settings({"min_frequency_hz": 200e6})
