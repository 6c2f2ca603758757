"""The change over time of a series whose change is known."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import linregress

from benchsweep.archive import SeriesWriter
from benchsweep.errors import RecordDamaged, UsageError
from benchsweep.qualification import (
    followed_parameters,
    grade_series,
    load_requirements,
    series_change,
    series_sweep,
)
from benchsweep.qualification._series_clock import Schedule
from benchsweep.qualification._series_lines import RunningLine
from benchsweep.records import (
    AnalyzerIdentity,
    Hookup,
    Parameter,
    RawSweep,
    SeriesEnding,
    SeriesEvent,
    SeriesHead,
    SeriesSummary,
    SeriesSweep,
    Specimen,
    SweepSettings,
)

BEGAN = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
GRID = np.linspace(1e6, 500e6, 40)
LEGS = ("A:12.1", "A:12.2", "B:12.1", "B:12.2")


def through(gain_db: float, delay_ps: float) -> np.ndarray:
    """A pair of one plain line for each leg, 10 dB and 40 ns, with that much more gain and delay."""
    way = 10 ** ((gain_db - 10.0) / 20) * np.exp(-2j * np.pi * GRID * (40e-9 + delay_ps * 1e-12))
    s = np.zeros((GRID.size, 4, 4), dtype=complex)
    s[:, 2, 0] = s[:, 3, 1] = s[:, 0, 2] = s[:, 1, 3] = way
    s[:, range(4), range(4)] = 0.05
    return s


def series(
    folder: Path,
    count: int,
    matrix: Callable[[int, float], np.ndarray],
    *,
    every_s: float = 60.0,
    ambient: Callable[[int], dict[str, float]] = lambda _: {},
    events: dict[int, SeriesEvent] | None = None,
) -> Path:
    """An uncorrected series; `matrix` is given place and hours."""
    head = SeriesHead(
        Specimen("T118-07", 2.0),
        BEGAN.isoformat(),
        "bench",
        "",
        "soak",
        Hookup(1, dict(enumerate(LEGS, start=1))),
        GRID,
        AnalyzerIdentity("Simulated works,x,1,0", "named-measurement", 4),
        SweepSettings(1e6, 500e6, GRID.size, 1e3),
        None,
        "",
    )
    with SeriesWriter(folder, "key") as writer:
        writer.begin(head)
        for place in range(count):
            at = BEGAN + timedelta(seconds=place * every_s)
            raw = RawSweep(GRID, matrix(place, place * every_s / 3600), (1, 2, 3, 4), at.isoformat(), 0.5)
            told = (events or {}).get(place + 1)
            writer.append(SeriesSweep(place + 1, raw, ambient(place), () if told is None else (told,)))
        return writer.pack(SeriesEnding(BEGAN.isoformat(), "enough"))


def summary_of(path: Path, *parameters: Parameter, reading: str | None = None) -> SeriesSummary:
    return series_change(path, parameters=parameters, reading=reading).summary


def test_a_known_drift_has_its_size(tmp_path: Path) -> None:
    path = series(tmp_path, 31, lambda _, hours: through(-0.4 * hours, 7.0 * hours))
    summary = summary_of(path)
    assert [(c.parameter, c.end, c.pairs) for c in summary.changes] == [
        (Parameter.INSERTION_LOSS, "A", ("12",)),
        (Parameter.INSERTION_LOSS, "B", ("12",)),
    ]
    for change in summary.changes:
        assert change.loss_per_hour is not None
        assert change.delay_per_hour is not None
        assert change.worst_per_hour is not None
        assert change.largest_loss_db is not None
        assert change.largest_deg is not None
        # Less signal is more loss, and a loss is positive.
        assert change.loss_per_hour.slope == pytest.approx(0.4, rel=1e-9)
        assert change.delay_per_hour.slope == pytest.approx(7.0, rel=1e-9)
        assert change.worst_per_hour.slope == pytest.approx(0.4, rel=1e-6)
        assert change.loss_per_hour.standard_error == pytest.approx(0.0, abs=1e-6)
        assert not change.loss_per_hour.wanders
        assert change.largest_loss_db.value == pytest.approx(0.2, rel=1e-9)  # after half an hour
        assert change.largest_loss_db.sweep == 31
        # 3.5 ps at 500 MHz are 0.63 degrees.
        assert change.largest_deg.value == pytest.approx(-360 * 3.5e-12 * 500e6, rel=1e-9)
        assert (change.largest_deg.frequency_hz, change.largest_deg.sweep) == (500e6, 31)
        assert change.loss_db == pytest.approx(0.4 * summary.course.hours)
    assert any("uncorrected" in note for note in summary.notes)
    assert any("A:36" in note and "A:12" not in note for note in summary.notes)


def test_a_delay_of_many_turns_is_followed(tmp_path: Path) -> None:
    """9 ns at 500 MHz are four and a half turns: a long cable in a temperature chamber."""
    path = series(tmp_path, 4, lambda place, _: through(0.0, 3000.0 * place))
    change = summary_of(path).changes[0]
    assert change.delay_ps == pytest.approx([0.0, 3000.0, 6000.0, 9000.0])
    assert change.largest_deg is not None
    assert change.largest_deg.value == pytest.approx(-360 * 4.5)


def test_one_bad_point_of_one_sweep_is_found(tmp_path: Path) -> None:
    def matrix(place: int, _: float) -> np.ndarray:
        s = through(0.0, 0.0)
        if place == 6:
            s[17, 2, 0] *= 10 ** (1.5 / 20)
            s[17, 3, 1] *= 10 ** (1.5 / 20)
        return s

    there, back = (
        next(change for change in summary_of(series(tmp_path, 9, matrix)).changes if change.end == end)
        for end in "BA"
    )
    assert there.largest_loss_db is not None
    assert back.largest_loss_db is not None
    assert there.largest_loss_db.value == pytest.approx(-1.5)
    assert (there.largest_loss_db.frequency_hz, there.largest_loss_db.sweep) == (GRID[17], 7)
    assert back.largest_loss_db.value == pytest.approx(0.0, abs=1e-9)


def test_against_temperature(tmp_path: Path) -> None:
    """A cycle: time tells nothing, temperature all: 0.02 dB and 3 ps for each kelvin."""

    def degrees(place: int) -> float:
        return 20.0 + 15.0 * np.sin(2 * np.pi * place / 20)

    path = series(
        tmp_path,
        41,
        lambda place, _: through(-0.02 * (degrees(place) - 20), 3.0 * (degrees(place) - 20)),
        ambient=lambda place: (
            {"humidity_percent": 40.0} | ({"chamber_degc": degrees(place)} if place != 7 else {})
        ),
    )
    change = summary_of(path, reading="chamber_degc").changes[0]
    assert change.loss_per_unit is not None
    assert change.delay_per_unit is not None
    assert change.loss_per_unit.slope == pytest.approx(0.02, rel=1e-9)
    assert change.delay_per_unit.slope == pytest.approx(3.0, rel=1e-9)
    assert change.loss_per_unit.count == 40
    by_default = summary_of(path)
    assert by_default.course.reading_name == "humidity_percent"
    assert by_default.changes[0].loss_per_unit is None  # it never moved
    low, high, _ = by_default.ambient["chamber_degc"]
    assert (low, high) == pytest.approx((5.0, 35.0))
    with pytest.raises(UsageError, match="no ambient reading 'pressure'"):
        summary_of(path, reading="pressure")


def test_other_parameters_and_what_cannot_be_formed(tmp_path: Path) -> None:
    def matrix(place: int, _: float) -> np.ndarray:
        s = through(0.0, 0.0)
        s[:, range(4), range(4)] = 0.05 + 0.01 * place
        return s

    path = series(tmp_path, 3, matrix)
    summary = summary_of(path, Parameter.RETURN_LOSS, Parameter.NEXT)
    assert [(c.parameter, c.end) for c in summary.changes] == [
        (Parameter.RETURN_LOSS, "A"),
        (Parameter.RETURN_LOSS, "B"),
    ]
    assert summary.changes[0].largest_difference_db.value == pytest.approx(20 * np.log10(0.02))
    assert summary.changes[0].delay_per_hour is None
    assert any("NEXT cannot be formed" in note for note in summary.notes)
    with pytest.raises(UsageError, match="'ps_next' cannot be followed"):
        followed_parameters(["return_loss", "ps_next"])


def test_long_series_are_thinned_and_still_counted_whole(tmp_path: Path) -> None:
    event = SeriesEvent(BEGAN.isoformat(), "gap", "the link was lost", 3.0)
    path = series(
        tmp_path,
        250,
        lambda _, hours: through(0.1 * hours, 0.0),
        every_s=6.0,
        events={7: event, 200: event},
    )
    import benchsweep.qualification._series_change as module

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_MOST_KEPT", 20)
        patch.setattr(module, "_MOST_EVENTS", 1)
        summary = summary_of(path)
    assert summary.course.every == 16
    assert list(summary.course.number) == list(range(1, 251, 16))
    assert summary.event_counts == {"gap": 2}
    assert len(summary.events) == 1
    change = summary.changes[0]
    assert change.loss_per_hour is not None
    assert change.loss_per_hour.count == 250
    assert change.largest_loss_db is not None
    assert change.largest_loss_db.sweep == 250


def test_one_sweep_has_no_change(tmp_path: Path) -> None:
    summary = summary_of(series(tmp_path, 1, lambda *_: through(0.0, 0.0)))
    change = summary.changes[0]
    assert (change.loss_per_hour, change.noise_db) == (None, None)
    assert change.largest_loss_db is not None
    assert change.largest_loss_db.value == 0.0


def test_uncorrected_sweeps_are_not_graded(tmp_path: Path) -> None:
    path = series(tmp_path, 1, lambda *_: through(0.0, 0.0))
    with pytest.raises(UsageError, match="recorded without a calibration"):
        grade_series(path, load_requirements(["tia-6a-cord"]), length_m=2.0)
    with pytest.raises(UsageError, match="sweep 5 is not there"):
        series_sweep(path, 5)


def noisy(
    rng: np.random.Generator, level_db: float, noise_db: float, slope_db: float = 0.0
) -> Callable[[int, float], np.ndarray]:
    """Reflections of that level, which may fall in an hour, and noise of that rms magnitude everywhere."""
    pattern = 10 ** (level_db / 20) * np.exp(1j * np.cumsum(rng.normal(size=GRID.size)))

    def matrix(_: int, hours: float) -> np.ndarray:
        s = through(0.0, 0.0)
        s[:, range(4), range(4)] = pattern[:, None] * 10 ** (-slope_db * hours / 20)
        noise = rng.normal(size=(2, *s.shape)) * 10 ** (noise_db / 20) / np.sqrt(2)
        return s + noise[0] + 1j * noise[1]

    return matrix


@pytest.mark.parametrize("noise_db", [-60.0, -75.0, -90.0])
@pytest.mark.parametrize("count", [3, 40])
def test_the_noise_is_estimated_from_successive_sweeps(noise_db: float, count: int, tmp_path: Path) -> None:
    """Legs with noise e each give a differential one of (e11 - e12 - e21 + e22) / 2: the same rms."""
    path = series(tmp_path, count, noisy(np.random.default_rng(4), -30.0, noise_db))
    for change in summary_of(path, Parameter.RETURN_LOSS, Parameter.INSERTION_LOSS, Parameter.TCL).changes:
        assert change.noise_db == pytest.approx(noise_db, abs=1.5 if count == 3 else 0.5)


@pytest.mark.parametrize(("level_db", "clear"), [(-35.0, 40), (-65.0, 0)])
def test_what_lies_in_the_noise_has_neither_level_nor_phase(
    level_db: float, clear: int, tmp_path: Path
) -> None:
    """Noise at -70 dB: 35 dB below the one, 5 dB below the other."""
    path = series(tmp_path, 30, noisy(np.random.default_rng(5), level_db, -70.0, slope_db=2.0))
    change = summary_of(path, Parameter.RETURN_LOSS).changes[0]
    assert change.clear_points == clear
    assert (change.delay_per_hour, change.largest_difference_db.value < -20.0) == (None, True)
    if clear:
        assert change.loss_per_hour is not None
        assert change.loss_per_hour.standard_error is not None
        assert change.loss_per_hour.slope == pytest.approx(2.0, abs=3 * change.loss_per_hour.standard_error)
        assert change.largest_deg is not None
        assert abs(change.largest_deg.value) < 20.0
    else:
        assert (change.loss_per_hour, change.largest_loss_db, change.largest_deg) == (None, None, None)
        assert change.worst_per_hour is None
        assert np.isnan(change.loss_db).all()


def test_frequencies_in_the_noise_are_left_out_of_the_mean(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)

    def matrix(_: int, hours: float) -> np.ndarray:
        s = through(-0.5 * hours, 3.0 * hours)
        noise = rng.normal(size=(2, *s.shape)) * 1e-5
        s[12:20, 2:, :2] *= 1e-5  # a notch in one direction
        return s + noise[0] + 1j * noise[1]

    change = next(c for c in summary_of(series(tmp_path, 31, matrix)).changes if c.end == "B")
    assert change.clear_points == 32
    assert change.loss_per_hour is not None
    assert change.delay_per_hour is not None
    assert change.loss_per_hour.slope == pytest.approx(0.5, abs=0.01)
    assert change.delay_per_hour.slope == pytest.approx(3.0, abs=0.1)
    assert change.largest_loss_db is not None
    assert change.largest_loss_db.value == pytest.approx(0.25, abs=0.01)


def test_a_wander_is_told_from_a_trend(tmp_path: Path) -> None:
    """Up and down over the series is no line; a line with noise, or one bad sweep, is one."""
    rng = np.random.default_rng(7)

    def fit(loss_db: Callable[[int], float]) -> bool:
        path = series(tmp_path, 60, lambda place, _: through(-loss_db(place), 0.0))
        line = summary_of(path).changes[0].loss_per_hour
        assert line is not None
        return line.wanders

    noise = 0.002 * rng.normal(size=60)
    assert fit(lambda place: 0.1 * np.sin(2 * np.pi * place / 40) + noise[place])
    assert fit(lambda place: (0.1 if place > 30 else 0.0) + noise[place])
    assert not fit(lambda place: 0.01 * place + noise[place])
    assert not fit(lambda place: 0.01 * place + (0.5 if place == 20 else 0.0))
    assert not fit(lambda place: float(noise[place]))


def test_noise_is_hardly_ever_called_a_wander() -> None:
    rng = np.random.default_rng(8)
    for count, most in ((8, 0.015), (30, 0.001)):
        line = RunningLine((4000,))
        for place in range(count):
            line.add(float(place), rng.normal(size=4000))
        told = [fit.wanders for fit in map(line.fit, range(4000)) if fit is not None]
        assert np.mean(told) <= most


def test_damaged_sweeps_are_left_out_when_that_is_wanted(tmp_path: Path) -> None:
    path = series(tmp_path, 9, lambda place, _: through(-0.1 * place, 0.0))
    with h5py.File(path) as file:
        s = file["sweeps/s"]
        places = [s.id.get_offset() + at * s[0].nbytes + 5 for at in (0, 4)]
    content = bytearray(path.read_bytes())
    for place in places:
        content[place] ^= 1
    path.write_bytes(content)
    with pytest.raises(RecordDamaged, match="sweep 1 is damaged") as caught:
        summary_of(path)
    assert "`show --sweep N`" in caught.value.hint
    summary = series_change(path, leave_out_damaged=True).summary
    assert (summary.sweeps, summary.missing) == (7, (1, 5))
    assert "damaged, so left out: sweeps 1, 5" in summary.notes
    change = summary.changes[0]
    assert change.largest_loss_db is not None
    assert change.largest_loss_db.value == pytest.approx(0.7)  # from sweep 2 on
    assert series_sweep(path, 4).number == 4


numbers = st.floats(-1e6, 1e6, allow_subnormal=False)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.floats(-100, 100), numbers), min_size=3, max_size=40), st.floats(-1e4, 1e4))
def test_lines_are_those_of_scipy(points: list[tuple[float, float]], start: float) -> None:
    """Slope and standard error of `scipy.stats.linregress`, also far from the origin."""
    x = start + np.round(np.array([point[0] for point in points]), 3)
    y = np.array([point[1] for point in points])
    line = RunningLine((1,))
    for one, other in zip(x, y, strict=True):
        line.add(float(one), np.array([other]))
    fit = line.fit(0)
    if np.ptp(x) < 0.1 or np.ptp(y) < 1e-6:
        return  # where scipy gives no error of the slope
    assert fit is not None
    expected = linregress(x, y)
    size = float(np.ptp(y)) / float(np.ptp(x)) + 1e-9
    assert fit.slope == pytest.approx(expected.slope, rel=1e-6, abs=1e-7 * size)
    assert fit.standard_error == pytest.approx(expected.stderr, rel=1e-4, abs=1e-6 * size)


def test_the_standard_error_is_right_about_noise() -> None:
    """The slope found in noise lies within two standard errors in some 95 of 100 cases."""
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 10.0, 200)
    line = RunningLine((1000,))
    for at in x:
        line.add(float(at), 0.3 * at + rng.normal(size=1000))
    fits = [line.fit(place) for place in range(1000)]
    inside = [
        fit is not None
        and fit.standard_error is not None
        and abs(fit.slope - 0.3) < 1.972 * fit.standard_error
        for fit in fits
    ]
    assert 0.93 < np.mean(inside) < 0.97


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(0.0, 50.0), min_size=1, max_size=30), st.floats(0.5, 20.0))
def test_a_schedule_never_piles_up_and_never_drifts(taken_s: list[float], every_s: float) -> None:
    schedule = Schedule(100.0, every_s)
    now, missed = 100.0, 0
    for number, seconds in enumerate(taken_s):
        due = schedule.due_s
        place = (due - 100.0) / every_s
        assert place == pytest.approx(round(place), abs=1e-6)  # on the grid for ever
        assert round(place) == number + missed
        begins = max(now, due)
        late, left_out = schedule.begin(begins)
        assert late == pytest.approx(begins - due, abs=1e-9)
        missed += left_out
        assert schedule.due_s > begins - 1e-6  # no time that has passed is made up for
        now = begins + seconds
