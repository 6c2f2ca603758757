"""Exchanged names, wrong units and other channels are noticed, and nothing is suspected of a good tester.

``pytest --thorough`` takes 70 testers for each channel, 1 as a rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from benchsweep.comparison import suspicions, worst_margin
from benchsweep.records import (
    FOUR_PAIRS,
    FieldPoint,
    FieldResult,
    FieldTrace,
    LimitCurve,
    Parameter,
    Suspicion,
    Trace,
)
from tests.comparison.made import CHANNELS, bench, limits, made_tester, renamed

ORDERS = tuple(permutations(FOUR_PAIRS))[1:]
OTHER = {"A": "B", "B": "A", None: None}
NS = (Parameter.DELAY, Parameter.SKEW)


def exchanged(
    order=FOUR_PAIRS, *, ends=False, only=None, parameters=tuple(Parameter)
) -> Callable[[FieldTrace], FieldTrace]:
    """Return what gives the pairs of a trace other names: the tester calls ``order[i]`` pair i."""
    name = dict(zip(order, FOUR_PAIRS, strict=True))

    def change(trace: FieldTrace) -> FieldTrace:
        if trace.parameter not in parameters or (only is not None and trace.end != only):
            return trace
        pairs = tuple(name[pair] for pair in trace.pairs)
        return replace(trace, pairs=pairs, end=OTHER[trace.end] if ends else trace.end)

    return change


def margins(result: FieldResult, curves: tuple[LimitCurve, ...]) -> FieldResult:
    """Return the result as margins, without what has no limit."""
    found = []
    for trace in result.traces:
        for curve in curves:
            if curve.parameter is trace.parameter:
                limit = np.interp(trace.frequency_hz, curve.frequency_hz, curve.value)
                keep = np.isfinite(limit)
                margin = (trace.value - limit if curve.sense == "min" else limit - trace.value)[keep]
                found.append(
                    replace(trace, quantity="margin", frequency_hz=trace.frequency_hz[keep], value=margin)
                )
    return replace(result, traces=tuple(found))


def worst_margins(result: FieldResult, curves: tuple[LimitCurve, ...]) -> FieldResult:
    """Return the worst margins of a result with one digit, as such testers show them."""
    found = []
    for trace in margins(result, curves).traces:
        at = int(np.argmin(trace.value))
        if trace.parameter not in NS and trace.value.size:
            where, margin = float(trace.frequency_hz[at]), round(float(trace.value[at]), 1)
            found.append(FieldPoint(trace.parameter, trace.end, trace.pairs, margin, frequency_hz=where))
    return FieldResult(points=tuple(found))


def points_renamed(result: FieldResult, order: tuple[str, ...]) -> FieldResult:
    name = dict(zip(order, FOUR_PAIRS, strict=True))
    points = (replace(p, pairs=tuple(name[pair] for pair in p.pairs)) for p in result.points)
    return FieldResult(points=tuple(points))


def thinned(result: FieldResult, grid: np.ndarray) -> FieldResult:
    def change(trace: FieldTrace) -> FieldTrace:
        return replace(trace, frequency_hz=grid, value=np.interp(grid, trace.frequency_hz, trace.value))

    return renamed(result, change)


def hindering(result, name, curves=None) -> list[Suspicion]:
    found = suspicions(result, bench(name), limits() if curves is None else curves)
    return [suspicion for suspicion in found if suspicion.hinders]


def kinds(found) -> set[str]:
    return {suspicion.kind for suspicion in found}


@pytest.fixture
def seeds(request) -> range:
    return range(70 if request.config.getoption("--thorough") else 1)


@pytest.mark.parametrize("name", CHANNELS)
class TestChannels:
    def test_nothing_is_suspected_of_a_good_tester(self, name, seeds):
        for seed in seeds:
            assert hindering(made_tester(bench(name), seed), name) == []

    def test_every_exchange_of_pairs_is_named(self, name, seeds):
        for seed in seeds:
            order = ORDERS[seed * 7 % len(ORDERS)]
            result = renamed(made_tester(bench(name), 100 + seed), exchanged(order))
            (found,) = hindering(result, name)
            assert found.kind == "pairs-swapped"
            moved = {told: meant for told, meant in zip(FOUR_PAIRS, order, strict=True) if told != meant}
            assert set(found.pairs) == set(moved)
            assert len(moved) == 2 or all(
                f"its {told} is {meant}" in found.words for told, meant in moved.items()
            )

    def test_exchanged_ends_are_named(self, name, seeds):
        for seed in seeds:
            result = renamed(made_tester(bench(name), 200 + seed), exchanged(ends=True))
            assert kinds(hindering(result, name)) == {"ends-swapped"}

    def test_worst_margins_alone_raise_no_suspicion_of_a_good_tester(self, name, seeds):
        for seed in seeds:
            told = worst_margins(made_tester(bench(name), 300 + seed), limits())
            assert hindering(told, name) == []

    def test_of_worst_margins_alone_an_exchange_is_noticed_or_said_to_be_invisible(self, name, seeds):
        for seed in seeds:
            order = ORDERS[seed * 5 % len(ORDERS)]
            good = worst_margins(made_tester(bench(name), 400 + seed), limits())
            found = suspicions(points_renamed(good, order), bench(name), limits())
            assert "pairs-swapped" in kinds(found)


class TestOtherShapes:
    NAME = "channel-100m"
    ORDER = ("36", "12", "45", "78")

    def told(self, seed=11) -> FieldResult:
        return made_tester(bench(self.NAME), seed)

    @pytest.mark.parametrize(
        "grid",
        [np.linspace(2e6, 450e6, 9), np.geomspace(10e6, 100e6, 60), np.geomspace(0.5e6, 900e6, 333)],
        ids=["nine points", "narrower band", "wider band"],
    )
    def test_other_grids(self, grid):
        told = thinned(self.told(), grid)
        assert hindering(told, self.NAME) == []
        assert kinds(hindering(renamed(told, exchanged(self.ORDER)), self.NAME)) == {"pairs-swapped"}

    def test_margins(self):
        told = margins(self.told(), limits())
        assert hindering(told, self.NAME) == []
        assert kinds(hindering(renamed(told, exchanged(self.ORDER)), self.NAME)) == {"pairs-swapped"}

    def test_one_end_only(self):
        (found,) = hindering(renamed(self.told(), exchanged(self.ORDER, only="B")), self.NAME)
        assert (found.kind, found.end, set(found.pairs)) == ("pairs-swapped", "B", {"12", "36"})

    def test_one_parameter_only(self):
        told = renamed(self.told(), exchanged(self.ORDER, parameters=(Parameter.NEXT,)))
        (found,) = hindering(told, self.NAME)
        assert found.kind == "pairs-swapped"
        assert "of NEXT fit" in found.words

    def test_two_columns_with_each_others_name(self):
        names = {("12", "36"): ("36", "78"), ("36", "78"): ("12", "36")}

        def change(trace):
            if (trace.parameter, trace.end) == (Parameter.NEXT, "A"):
                return replace(trace, pairs=names.get(trace.pairs, trace.pairs))
            return trace

        (found,) = hindering(renamed(self.told(), change), self.NAME)
        assert "have each other's numbers" in found.words
        assert {"NEXT A 12-36", "NEXT A 36-78"} == set(found.words.split(" have ")[0].split(" and "))

    def test_disturbed_and_disturbing_pair_exchanged(self):
        def change(trace):
            return replace(trace, pairs=trace.pairs[::-1]) if trace.parameter is Parameter.ACR_F else trace

        (found,) = hindering(renamed(self.told(), change), self.NAME)
        assert found.kind == "pairs-swapped"
        assert "disturbed and disturbing pair exchanged" in found.words

    def test_next_told_the_other_way_round_is_no_exchange(self):
        def change(trace):
            return replace(trace, pairs=trace.pairs[::-1]) if trace.parameter is Parameter.NEXT else trace

        assert hindering(renamed(self.told(), change), self.NAME) == []


class TestFaultyTesters:
    """A faulty tester disagrees; its names are right and must not be blamed."""

    NAME = "channel-100m"

    @pytest.mark.parametrize("name", CHANNELS[:1])
    @pytest.mark.parametrize(
        "error",
        [
            lambda t, x: 4.0,
            lambda t, x: -4.0,
            lambda t, x: 4.0 * x,
            lambda t, x: -5.0 * (t.parameter is Parameter.NEXT),
            lambda t, x: -6.0 * ("36" in t.pairs and t.end == "A"),
        ],
        ids=["offset", "negative offset", "tilt", "NEXT", "worn plug"],
    )
    def test_no_exchange_is_suspected(self, error, name):
        def change(trace):
            x = np.log(trace.frequency_hz / 1e6) / np.log(500.0)
            return trace if trace.parameter in NS else replace(trace, value=trace.value + error(trace, x))

        assert kinds(hindering(renamed(made_tester(bench(name), 21), change), name)) == set()

    @pytest.mark.parametrize("offset", [3.0, 5.5, 8.0])
    def test_an_offset_of_worst_margins_is_no_exchange(self, offset):
        told = worst_margins(made_tester(bench(self.NAME), 500), limits())
        points = tuple(
            point
            if point.parameter in NS
            else replace(
                point,
                margin=None if point.margin is None else point.margin + offset,
                value=None if point.value is None else point.value + offset,
            )
            for point in told.points
        )
        found = hindering(replace(told, points=points), self.NAME)
        assert not kinds(found) & {"pairs-swapped", "ends-swapped"}, [one.words for one in found]

    def test_exchanged_pairs_of_a_tester_with_an_offset(self):
        def change(trace):
            return trace if trace.parameter in NS else replace(trace, value=trace.value + 4.0)

        told = renamed(made_tester(bench(self.NAME), 22), change)
        order = ("45", "36", "12", "78")
        (found,) = hindering(renamed(told, exchanged(order)), self.NAME)
        assert (found.kind, set(found.pairs)) == ("pairs-swapped", {"12", "45"})


class TestReadings:
    NAME = "link-90m"

    def losses(self, change) -> FieldResult:
        told = made_tester(bench(self.NAME), 31)
        return renamed(told, lambda trace: trace if trace.parameter in NS else change(trace))

    def test_wrong_sign(self):
        found = hindering(self.losses(lambda trace: replace(trace, value=-trace.value)), self.NAME)
        assert kinds(found) == {"sign"}
        assert any("return loss fit the bench with the opposite sign" in one.words for one in found)

    def test_margins_with_the_wrong_sign(self):
        told = margins(made_tester(bench(self.NAME), 31), limits())
        told = renamed(told, lambda t: t if t.parameter in NS else replace(t, value=-t.value))
        assert kinds(hindering(told, self.NAME)) == {"sign"}

    def test_values_taken_for_margins(self):
        found = hindering(self.losses(lambda trace: replace(trace, quantity="margin")), self.NAME)
        assert kinds(found) == {"quantity"}
        assert any("NEXT fit the bench as values, not as margins" in one.words for one in found)

    def test_margins_taken_for_values(self):
        told = margins(made_tester(bench(self.NAME), 31), limits())
        told = renamed(told, lambda t: t if t.parameter in NS else replace(t, quantity="value"))
        assert kinds(hindering(told, self.NAME)) == {"quantity"}

    @pytest.mark.parametrize("factor", [1e3, 1e-3, 1e-6])
    def test_frequencies_in_another_unit(self, factor):
        told = made_tester(bench(self.NAME), 32)
        told = renamed(told, lambda trace: replace(trace, frequency_hz=trace.frequency_hz * factor))
        assert kinds(hindering(told, self.NAME)) == {"frequency"}

    def test_exchanged_pairs_are_seen_behind_a_wrong_unit(self):
        told = renamed(made_tester(bench(self.NAME), 32), exchanged(("12", "36", "78", "45")))
        told = renamed(told, lambda trace: replace(trace, frequency_hz=trace.frequency_hz * 1e3))
        assert kinds(hindering(told, self.NAME)) == {"frequency", "pairs-swapped"}

    @pytest.mark.parametrize("factor", [1e-3, 1e3, 1e-9 * 1e3])
    def test_delay_in_another_unit(self, factor):
        told = made_tester(bench(self.NAME), 33)
        told = renamed(told, lambda t: replace(t, value=t.value * factor) if t.parameter in NS else t)
        assert kinds(hindering(told, self.NAME)) == {"unit"}

    def test_single_numbers_that_contradict_each_other(self):
        point = FieldPoint(Parameter.NEXT, "A", ("12", "36"), margin=-4.0, value=44.0, limit=40.0)
        found = suspicions(FieldResult(points=(point,)), bench(self.NAME), limits())
        assert "sign" in kinds(found)


class TestWhichChannel:
    @pytest.mark.parametrize(
        ("told", "held_against"), [(CHANNELS[0], CHANNELS[1]), (CHANNELS[1], CHANNELS[0])]
    )
    def test_another_channel_of_nearly_the_same_length(self, told, held_against):
        found = hindering(made_tester(bench(told), 41), held_against)
        assert "channel" in kinds(found)
        assert "pairs-swapped" not in kinds(found)

    def test_another_length(self):
        found = hindering(made_tester(bench("short-channel"), 42), "channel-100m")
        assert {"channel", "length"} <= kinds(found)

    def test_a_loss_that_is_far_off_everywhere_is_no_length(self):
        """Of losses alone 12 dB more at every frequency are a fault, 40 % more of the loss another length."""
        told = made_tester(bench("channel-100m"), 44)
        losses = replace(
            told, traces=tuple(t for t in told.traces if t.parameter is Parameter.INSERTION_LOSS)
        )

        def off(result, error):
            return renamed(
                result,
                lambda t: replace(t, value=error(t.value)) if t.parameter is Parameter.INSERTION_LOSS else t,
            )

        assert kinds(hindering(off(losses, lambda value: value + 12.0), "channel-100m")) == set()
        assert kinds(hindering(off(losses, lambda value: value * 1.4), "channel-100m")) == {"length"}
        # With the ripple of this channel beside it, it is no other channel.
        assert hindering(off(told, lambda value: value * 1.4), "channel-100m") == []

    def test_a_wrong_delay_with_the_right_loss_is_a_fault_of_the_tester(self):
        told = made_tester(bench("channel-100m"), 43)
        told = renamed(told, lambda t: replace(t, value=t.value * 1.2) if t.parameter in NS else t)
        assert hindering(told, "channel-100m") == []


class TestLimits:
    NAME = "channel-100m"

    def test_another_limit_beside_values_is_said_and_hinders_nothing(self):
        def change(trace):
            ours = next((c for c in limits() if c.parameter is trace.parameter), None)
            if ours is None or trace.parameter is not Parameter.NEXT:
                return trace
            limit = np.interp(trace.frequency_hz, ours.frequency_hz, ours.value) + 3.0
            return replace(trace, limit=limit)

        found = suspicions(renamed(made_tester(bench(self.NAME), 51), change), bench(self.NAME), limits())
        (said,) = found
        assert (said.kind, said.hinders) == ("limit", False)
        assert "NEXT (up to 3.0 dB)" in said.words

    def test_worst_margins_against_another_limit_hinder(self):
        good = worst_margins(made_tester(bench(self.NAME), 52), limits())
        ours = {curve.parameter: curve for curve in limits()}
        points = []
        for point in good.points:
            curve = ours[point.parameter]
            limit = float(np.interp(point.frequency_hz, curve.frequency_hz, curve.value))
            points.append(replace(point, limit=round(limit + 2.0, 1), margin=point.margin - 2.0))
        found = hindering(FieldResult(points=tuple(points)), self.NAME)
        assert kinds(found) == {"limit"}


class TestInvisible:
    """Where the channel is alike under two names, that is said instead of guessed."""

    GRID = np.geomspace(1e6, 500e6, 60)

    def alike(self) -> tuple[Trace, ...]:
        loss = 20.0 - 5.0 * np.log10(self.GRID / 1e6) + 2.0 * np.sin(12.0 * np.log(self.GRID))
        return tuple(
            Trace(Parameter.RETURN_LOSS, end, (pair,), self.GRID, loss) for end in "AB" for pair in FOUR_PAIRS
        )

    def test_a_symmetrical_channel(self):
        traces = self.alike()
        for change in (exchanged(), exchanged(("36", "12", "45", "78")), exchanged(ends=True)):
            found = suspicions(renamed(made_tester(traces, 61), change), traces)
            assert [(one.kind, one.hinders) for one in found] == [
                ("pairs-swapped", False),
                ("ends-swapped", False),
            ]
            assert "pairs 12 and 36 exchanged" in found[0].words or "and 20 more" in found[0].words

    def test_two_pairs_alike_and_two_not(self):
        def other(trace):
            if trace.pairs[0] in ("45", "78"):
                shift = {"45": 6.0, "78": -6.0}[trace.pairs[0]]
                return replace(trace, value=trace.value + shift * np.cos(5.0 * np.log(trace.frequency_hz)))
            return trace

        traces = tuple(map(other, self.alike()))
        told = made_tester(traces, 62)
        assert [(one.kind, one.pairs) for one in suspicions(told, traces)] == [
            ("pairs-swapped", ("12", "36")),
            ("ends-swapped", ()),
        ]
        found = suspicions(renamed(told, exchanged(("12", "36", "78", "45"))), traces)
        assert (found[0].hinders, found[0].pairs) == (True, ("45", "78"))
        assert "it cannot be told from" in found[0].words

    def test_a_tester_that_tells_nearly_nothing(self):
        point = FieldPoint(Parameter.NEXT, "A", ("12", "36"), margin=5.0, frequency_hz=100e6)
        found = suspicions(FieldResult(points=(point,)), bench("channel-100m"), limits())
        assert kinds(found) == {"pairs-swapped", "ends-swapped"}
        assert not any(one.hinders for one in found)

    def test_nothing_told_is_nothing_suspected(self):
        assert kinds(suspicions(FieldResult(), bench("channel-100m"), limits())) <= {
            "pairs-swapped",
            "ends-swapped",
        }


class TestSingleNumbersMisread:
    """Worst margins of a good tester, read with another sign or as another quantity."""

    NAME = "channel-100m"

    def points(self, change):
        found = []
        for trace in bench(self.NAME):
            worst = worst_margin(trace, limits())
            if worst is None or trace.parameter in NS:
                continue
            found.append(change(trace, worst))
        return suspicions(FieldResult(points=tuple(found)), bench(self.NAME), limits())

    def test_rightly_read_they_are_not_suspected(self):
        def point(trace, worst):
            return FieldPoint(trace.parameter, trace.end, trace.pairs, margin=worst.margin + 0.4)

        assert [each for each in self.points(point) if each.hinders] == []

    def test_the_opposite_sign(self):
        def point(trace, worst):
            return FieldPoint(trace.parameter, trace.end, trace.pairs, margin=-worst.margin - 0.4)

        found = self.points(point)
        assert found[0].kind == "sign"
        assert "opposite sign" in found[0].words

    @pytest.mark.parametrize("told", ["margin", "value"])
    def test_margins_for_values_and_the_other_way_round(self, told):
        def point(trace, worst):
            number = worst.value if told == "margin" else worst.margin
            more = {told: number + 0.3, "frequency_hz": worst.frequency_hz}
            return FieldPoint(trace.parameter, trace.end, trace.pairs, **more)

        assert "quantity" in kinds(self.points(point))
