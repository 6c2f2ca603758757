"""Do sampling plans accept what they are said to? A year of many suppliers, decided by the code that decides.

``python -m tests.journeys.lot_year --lots 2500 --seed 2026`` prints the table. Reels are margins in dB,
drawn from a model of production: normal, skewed, getting worse, bad from the first lot on. Plans, decisions,
histories, switching rules and charts are those of every other run; nothing is measured, no file is written.

Every row compares a simulated rate with one from outside the plan: binomial, hypergeometric or noncentral t
distribution of scipy, or a closed form that the row names. Rates are held by the exact binomial interval
(Clopper and Pearson) at 99.99 %, means by the normal one: a hundred true rows fail together once in a hundred
seeds.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from scipy import special, stats

from benchsweep.lots import random_order
from benchsweep.records import Severity
from benchsweep.statistics.process import normality
from benchsweep.statistics.sampling import (
    attributes_plan,
    judge_variables,
    variables_plan,
    zero_acceptance_plan,
)
from tests.journeys.lot_year_charts import drift_rows, false_alarm_rows, shift_rows
from tests.journeys.lot_year_model import (
    NEXT,
    complete,
    curve_at,
    curve_over_lot,
    finite_margins,
    names,
    normal_margins,
    quick,
    skewed_margins,
)
from tests.journeys.lot_year_rows import Row, rate_row, table
from tests.journeys.lot_year_series import LOT, bad_supplier_rows, good_supplier_rows, plan_of, scheme_rows

__all__ = ["PARTS", "rows"]


def attributes_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """Lots of one process, each severity by itself; some of them with their whole history."""
    differing = histories = 0
    for severity in Severity:
        plan = plan_of(severity)
        for share in (0.015, 0.04, 0.09):
            source = f"binomial, n = {plan.sample_size}"
            found = [quick(plan, each) for each in normal_margins(draw, (lots, plan.sample_size), share)]
            what = f"{severity}: {100 * share:g} % of the process do not conform"
            expected = float(stats.binom.cdf(plan.reject - 1, plan.sample_size, share))
            hits = sum(bool(each.accepted) for each in found)
            yield rate_row("attributes", what, hits, lots, expected, source, curve=curve_at(plan, share))
            if plan.reject > plan.accept + 1:
                between = expected - float(stats.binom.cdf(plan.accept, plan.sample_size, share))
                ends = sum(each.ends_reduced for each in found)
                yield rate_row("attributes", f"{what}, between Ac and Re", ends, lots, between, source)
            for number in range(max(2, lots // 60)):
                margins = normal_margins(draw, (LOT,), share)
                seed = f"{severity} {share} {number}"
                bad = sum(
                    margins[int(reel[1:]) - 1] < 0.0
                    for reel in random_order(names(LOT), seed)[: plan.sample_size]
                )
                closed = complete(plan, margins, seed).closed
                said = closed and (closed.accepted, closed.ends_reduced, len(closed.nonconforming))
                differing += said != (bad < plan.reject, plan.accept < bad < plan.reject, bad)
                histories += 1
    yield rate_row(
        "attributes", "whole histories that say otherwise than Ac and Re", differing, histories, 0.0, "none"
    )


def finite_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """Lots with so many bad reels, drawn by the random order of their names."""
    zero = zero_acceptance_plan(90, limiting_percent=10.0)
    small = attributes_plan(90, aql_percent=4.0)
    for plan, kind in ((zero, "zero acceptance"), (small, "attributes, finite")):
        for bad in (3, 6, 9):
            margins = finite_margins(draw, plan.lot_size, bad)
            hits = 0
            for number in range(lots):
                order = random_order(names(90), f"{kind} {bad} {number} {draw.integers(2**31)}")
                drawn = np.array([int(reel[1:]) - 1 for reel in order[: plan.sample_size]])
                hits += bool(quick(plan, margins[drawn]).accepted)
            expected = float(stats.hypergeom.cdf(plan.accept, plan.lot_size, bad, plan.sample_size))
            what = (
                f"{bad} of {plan.lot_size} reels do not conform, {plan.sample_size} tested, Ac {plan.accept}"
            )
            curve = curve_over_lot(plan, bad)
            yield rate_row(kind, what, hits, lots, expected, "hypergeometric", curve=curve)
    few, bad = zero_acceptance_plan(30, limiting_percent=20.0), 3
    tried = max(20, lots // 4)
    hits = 0
    for number in range(tried):
        margins = finite_margins(draw, few.lot_size, bad)
        closed = complete(few, margins, f"excluded {number} {draw.integers(2**31)}", excluded=2).closed
        hits += bool(closed and closed.accepted)
    expected = float(stats.hypergeom.pmf(0, few.lot_size, bad, few.sample_size))
    what = f"{bad} of {few.lot_size} reels, {few.sample_size} tested, two of each sample replaced unseen"
    curve = curve_over_lot(few, bad)
    yield rate_row("zero acceptance", what, hits, tried, expected, "hypergeometric", curve=curve)


def variables_rows(draw: np.random.Generator, lots: int) -> Iterator[Row]:
    """The plan by variables, without and with the test of normality before it.

    Shapiro and Wilk's statistic does not depend on mean and deviation, so it is independent of both (Basu's
    theorem), and lots that it lets through are accepted as often as all: the gate costs lots, not risk.
    """
    plan = variables_plan(100, aql_percent=1.0, characteristics=[str(NEXT)])
    size, k = plan.sample_size, plan.constant_k or math.nan
    group, doubted, normal = "variables", 0, 0
    for share in (0.01, 0.05, 0.12):
        expected = float(stats.nct.sf(math.sqrt(size) * k, size - 1, -math.sqrt(size) * special.ndtri(share)))
        margins = normal_margins(draw, (lots, size), share)
        open_gate = sum(bool(judge_variables(plan, str(NEXT), each).accepted) for each in margins)
        gated = [judge_variables(plan, str(NEXT), each, normality(each)).accepted for each in margins]
        decided = [each for each in gated if each is not None]
        doubted, normal = doubted + len(gated) - len(decided), normal + len(gated)
        what = f"{100 * share:g} % of the process do not conform, n = {size}, k = {k:g}"
        curve = curve_at(plan, share)
        yield rate_row(group, what, open_gate, lots, expected, "noncentral t", curve=curve)
        yield rate_row(
            group, f"{what}, of the decided", sum(decided), len(decided), expected, "the same (Basu)"
        )
    yield rate_row(
        group, "normal margins: not decided, not normal at 5 %", doubted, normal, 0.05, "size of the test"
    )
    share = 0.05
    margins = skewed_margins(draw, (lots, size), share)
    wrong = sum(bool(judge_variables(plan, str(NEXT), each).accepted) for each in margins)
    gated = [judge_variables(plan, str(NEXT), each, normality(each)).accepted for each in margins]
    yield rate_row(group, "minima, 5 % do not conform: accepted without the test", wrong, lots, None, "")
    yield rate_row(group, "minima: not decided", gated.count(None), lots, None, "")
    yield rate_row(group, "minima: accepted with the test", gated.count(True), lots, None, "")
    instead = attributes_plan(100, aql_percent=1.0)
    tried = max(20, lots // 8)
    ends = [
        complete(plan, each, f"minima {number}", instead=instead)
        for number, each in enumerate(skewed_margins(draw, (tried, plan.lot_size), share))
    ]
    left = sum(state.closed is None for state in ends)
    yield rate_row(group, "minima: lots left open after replanning by attributes", left, tried, 0.0, "none")


PARTS: dict[str, Callable[[np.random.Generator, int], Iterator[Row]]] = {
    "attributes": attributes_rows,
    "finite": finite_rows,
    "variables": variables_rows,
    "scheme": scheme_rows,
    "bad supplier": bad_supplier_rows,
    "good supplier": good_supplier_rows,
    "no drift": false_alarm_rows,
    "step": shift_rows,
    "drift": drift_rows,
}


def rows(lots: int, seed: int, parts: Iterable[str] = tuple(PARTS)) -> list[Row]:
    """Return the rows; each part has its own draws, so that it can be made by itself."""
    places = list(PARTS)
    made = []
    for part in parts:
        draw = np.random.default_rng([seed, places.index(part)])
        made += list(PARTS[part](draw, lots))
    return made


def main(arguments: Iterable[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=2500, help="lots of each row by attributes")
    parser.add_argument("--seed", type=int, default=2026)
    options = parser.parse_args(None if arguments is None else list(arguments))
    print(table(rows(options.lots, options.seed)))  # noqa: T201 - that is what it is for


if __name__ == "__main__":
    main()
