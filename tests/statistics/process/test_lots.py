"""Charts of lots that differ in their own right, and which charts a process gets."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from benchsweep.errors import UsageError
from benchsweep.records import ControlChart
from benchsweep.statistics.process import (
    between_chart,
    capability,
    ewma_chart,
    individuals_chart,
    mean_charts,
    process_charts,
)

BEYOND = 2.0 * float(ndtr(-3.0))


def names(count: int, of: str = "lot") -> list[str]:
    return [f"{of} {place}" for place in range(1, count + 1)]


def reels_of(groups: list[np.ndarray]) -> list[list[str]]:
    return [names(len(group), f"{place}-") for place, group in enumerate(groups)]


def beyond(chart: ControlChart) -> set[int]:
    return {place for signal in chart.signals if signal.rule == "beyond-limits" for place in signal.points}


def lots(seed: int, sizes: list[int], *, between: float, within: float = 1.5) -> list[np.ndarray]:
    draw = np.random.default_rng(seed)
    return [draw.normal(draw.normal(8.0, between), within, size) for size in sizes]


def test_lots_of_one_size_have_the_limits_of_individuals() -> None:
    groups = lots(1, [8] * 40, between=2.0)
    means = [float(group.mean()) for group in groups]
    chart = between_chart(groups, names(40), baseline=30)
    individuals, _ = individuals_chart(means, names(40), baseline=30)
    assert chart.upper == pytest.approx(individuals.upper, rel=1e-12)
    assert chart.lower == pytest.approx(individuals.lower, rel=1e-12)
    single = between_chart([[mean] for mean in means], names(40), baseline=30)
    assert single.upper == pytest.approx(individuals.upper, rel=1e-12)


def test_limits_from_lot_to_lot_are_not_narrower_than_the_inside_explains() -> None:
    # Means that are all but alike by chance: the deviations inside are the better knowledge.
    inside = np.array([-1.0, 0.0, 1.0])
    groups = [inside + 0.001 * place for place in range(6)]
    chart = between_chart(groups, names(6))
    assert chart.deviation == pytest.approx(np.full(6, 1.0 / math.sqrt(3.0)))


def test_lots_of_few_reels_do_not_alarm_more_often() -> None:
    # Expected from the normal distribution: one in 370.4, whatever the size.
    sizes = ([16] * 3 + [1]) * 1500
    chart = between_chart(lots(2, sizes, between=0.3), names(len(sizes)))
    few = [place for place in range(len(sizes)) if sizes[place] == 1]
    error = math.sqrt(BEYOND / len(few))
    rate = len(beyond(chart) & set(few)) / len(few)
    assert rate == pytest.approx(BEYOND, abs=4.0 * error)
    # The same means against limits that know no sizes.
    flat, _ = individuals_chart(chart.value, names(len(sizes)))
    assert len(beyond(flat) & set(few)) / len(few) > 10.0 * BEYOND


def test_average_of_values_with_deviations_of_their_own() -> None:
    # Its variance is the sum of the squares of the weights that the values have in it, written out.
    deviation = np.array([1.0, 3.0, 0.5, 2.0])
    chart = ewma_chart([1.0, 2.0, 3.0, 4.0], names(4), weight=0.3, centre=0.0, deviation=deviation)
    weights = 0.3 * 0.7 ** np.arange(3, -1, -1)
    assert chart.upper[-1] == pytest.approx(3.0 * math.sqrt(float(np.sum((weights * deviation) ** 2))))
    assert chart.value[-1] == pytest.approx(float(weights @ np.arange(1.0, 5.0)))
    alike = ewma_chart([1.0, 2.0, 3.0, 4.0], names(4), weight=0.3, centre=0.0, deviation=2.0)
    closed = 2.0 * np.sqrt(0.3 / 1.7 * (1.0 - 0.7 ** (2 * np.arange(1, 5))))
    assert alike.deviation == pytest.approx(closed, rel=1e-12)
    for wrong in ([1.0, 2.0], [1.0, math.nan, 1.0, 1.0], [1.0, -2.0, 1.0, 1.0], math.inf):
        with pytest.raises(UsageError, match="standard deviation"):
            ewma_chart([1.0, 2.0, 3.0, 4.0], names(4), deviation=wrong)
    with pytest.raises(UsageError, match="centre"):
        ewma_chart([1.0, 2.0], names(2), centre=math.nan)


def test_charts_of_lots_that_do_not_differ() -> None:
    groups = lots(3, [6] * 10, between=0.0)
    charts, notes = process_charts(groups, names(10), reels_of(groups))
    assert [chart.kind for chart in charts] == ["individuals", "moving-range", "ewma", "mean", "deviation"]
    assert [len(chart.labels) for chart in charts] == [60, 60, 60, 10, 10]
    assert charts[3].upper == pytest.approx(mean_charts(groups, names(10))[0].upper)
    assert notes == ()


def test_charts_of_lots_that_differ() -> None:
    groups = lots(4, [6] * 25, between=2.0)
    charts, notes = process_charts(groups, names(25), reels_of(groups))
    assert [chart.kind for chart in charts] == ["individuals", "moving-range", "ewma", "mean", "deviation"]
    assert [len(chart.labels) for chart in charts] == [150, 150, 25, 25, 25]
    assert charts[3].upper == pytest.approx(between_chart(groups, names(25)).upper)
    assert not beyond(charts[2])
    assert not beyond(charts[3])
    assert len(notes) == 2
    assert "lots differ in their own right" in notes[0]
    assert "less confidence" in notes[1]


def test_the_bound_of_a_capability_is_too_high_where_lots_differ() -> None:
    # What the note says: of 10 lots of 8 that scatter as reels do, 95 % bounds hold far less often.
    draw = np.random.default_rng(7)
    held = {0.0: 0, 1.0: 0}
    for between in held:
        index = 3.0 / (3.0 * math.hypot(1.0, between))
        for _ in range(300):
            values = 3.0 + draw.normal(0.0, between, (10, 1)) + draw.normal(0.0, 1.0, (10, 8))
            held[between] += capability(values.ravel()).lower_bound <= index
    assert held[0.0] / 300 == pytest.approx(0.95, abs=4.0 * math.sqrt(0.05 * 0.95 / 300))
    assert held[1.0] / 300 < 0.85


def test_a_change_after_the_baseline_is_not_told_to_be_usual() -> None:
    groups = lots(5, [6] * 20, between=0.0)
    groups = groups[:10] + [group - 3.0 for group in groups[10:]]
    charts, notes = process_charts(groups, names(20), reels_of(groups), baseline=60)
    assert any("not those of the baseline" in note for note in notes)
    assert not any("in their own right" in note for note in notes)
    assert any("limits of means rest on 10 lots" in note for note in notes)
    average = charts[2]
    assert average.baseline == 10
    assert 10 <= min(signal.noticed for signal in average.signals) <= 12


def test_limits_that_rest_on_few_points_are_provisional() -> None:
    groups = lots(6, [4] * 4, between=0.0)
    _, notes = process_charts(groups, names(4), reels_of(groups))
    assert notes == (
        "limits rest on 16 reels and are provisional; they should on 20 or more (common practice)",
    )
    with pytest.raises(UsageError, match="a baseline of 99 reels, of which there are 16"):
        process_charts(groups, names(4), reels_of(groups), baseline=99)
    _, notes = process_charts(groups, names(4), reels_of(groups), baseline=7)
    assert any("all 4 lots" in note for note in notes)
    _, notes = process_charts(groups, names(4), reels_of(groups), baseline=8)
    assert not any("all 4 lots" in note for note in notes)


def test_lots_that_overlap_in_time() -> None:
    groups = [np.array([1.0, 2.0, 3.0]), np.array([1.5, 2.5, 3.5]), np.array([1.2, 2.2, 3.2])]
    order = [0, 3, 1, 4, 2, 5, 6, 7, 8]
    charts, _ = process_charts(groups, names(3), reels_of(groups), order=order)
    assert list(charts[0].value) == [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 1.2, 2.2, 3.2]
    assert charts[0].labels[:3] == ("0- 1", "1- 1", "0- 2")
    # Within the first five there is but one whole lot, within six there are two.
    for baseline, lots_used in ((5, 3), (6, 2)):
        charts, _ = process_charts(groups, names(3), reels_of(groups), order=order, baseline=baseline)
        assert charts[3].baseline == lots_used
    with pytest.raises(UsageError, match="each of them once"):
        process_charts(groups, names(3), reels_of(groups), order=[0, 0, 1, 4, 2, 5, 6, 7, 8])


def test_too_little_is_told_instead_of_drawn() -> None:
    charts, notes = process_charts([[4.0]], ["lot 1"], [["R001"]])
    assert charts == ()
    assert any("no chart of reels" in note for note in notes)
    charts, notes = process_charts([[4.0], [5.0], [4.5]], names(3), [["R001"]] * 3)
    assert [chart.kind for chart in charts] == ["individuals", "moving-range", "ewma"]
    assert any("no chart of lots" in note for note in notes)
    charts, _ = process_charts([[4.0, 5.0, 4.5]], ["lot 1"], [names(3)])
    assert [chart.kind for chart in charts] == ["individuals", "moving-range", "ewma"]


def test_what_does_not_fit_is_refused_with_words() -> None:
    with pytest.raises(UsageError, match="R002 of lot 1 is nan"):
        process_charts([[4.0, math.nan]], ["1"], [["R001", "R002"]])
    with pytest.raises(UsageError, match="R001 of lot 1 is inf"):
        process_charts([[math.inf, 4.0]], ["1"], [["R001", "R002"]])
    with pytest.raises(UsageError, match="labels for"):
        process_charts([[4.0, 5.0]], ["1"], [["R001"]])
    with pytest.raises(UsageError, match="lists of reels"):
        process_charts([[4.0, 5.0]], ["1"], [])
    with pytest.raises(UsageError, match="lists of reels"):
        process_charts([], [], [])
    with pytest.raises(UsageError, match="lot 2 needs 1"):
        process_charts([[4.0, 5.0], []], ["1", "2"], [["R001", "R002"], []])
    with pytest.raises(UsageError, match="a baseline of 1 reels"):
        process_charts([[4.0, 5.0]], ["1"], [["R001", "R002"]], baseline=1)
