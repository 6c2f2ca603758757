"""Gauge repeatability and reproducibility: by analysis of variance, by averages and ranges."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from pydantic import Field
from scipy import special

from benchsweep.definitions import Definition, load_model
from benchsweep.errors import UsageError
from benchsweep.records import GaugeStudy, VarianceRow
from benchsweep.statistics.process import chart_constants
from benchsweep.statistics.repeatability._values import crossed

__all__ = ["GaugeRules", "gauge_anova", "gauge_average_range", "gauge_rules"]


class GaugeRules(Definition):
    """What a study is judged by; see ``gauge.toml``."""

    schema_: Literal[1] = Field(alias="schema")
    source: str
    standing: Literal["published", "common-practice", "from-memory"]
    pooling_level: float = Field(gt=0.0, lt=1.0)
    good_below_percent: float = Field(gt=0.0)
    poor_above_percent: float = Field(gt=0.0)
    fewest_categories: int = Field(ge=1)


@cache
def gauge_rules() -> GaugeRules:
    """Return the rules that are shipped.

    Raises
    ------
    DefinitionError
        The file is wrong.
    """
    return load_model(Path(__file__).with_name("gauge.toml"), GaugeRules)


def gauge_anova(values: ArrayLike, *, pooling_level: float | None = None) -> GaugeStudy:
    """Return a Gauge R&R study by analysis of variance, all effects random (AIAG MSA, 4th edition).

    Sums of squares of parts, operators, their interaction and of repeatability; where the interaction is no
    more than chance it is pooled with the repeatability, and parts and operators are tested against that.
    Else they are tested against the interaction, which then counts as reproducibility. Components that come
    out negative are zero.

    Parameters
    ----------
    values
        ``(part, operator, trial)``, two or more of each, in dB or ns.
    pooling_level
        The interaction is pooled where its p value is above; None: as ``gauge.toml`` says.

    Returns
    -------
    GaugeStudy
        Its table has the terms part, operator, interaction, repeatability, total; and pooled (interaction and
        repeatability) before the total where they were.

    Raises
    ------
    UsageError
        Fewer than two of anything, a value that is not finite, trials that all repeat to the last digit, a
        pooling level that is none.
    """
    value = crossed(values, what="a Gauge R&R study")
    level = gauge_rules().pooling_level if pooling_level is None else pooling_level
    if not 0.0 <= level <= 1.0:
        raise UsageError(f"a pooling level of {level:g}", hint="Give 0 to 1; 0.25 and 0.05 are usual.")
    parts, operators, trials = value.shape
    mean = value.mean()
    cell = value.mean(axis=2)
    by_part, by_operator = cell.mean(axis=1), cell.mean(axis=0)
    sums = {
        "part": operators * trials * float(np.sum((by_part - mean) ** 2)),
        "operator": parts * trials * float(np.sum((by_operator - mean) ** 2)),
        "interaction": trials * float(np.sum((cell - by_part[:, None] - by_operator + mean) ** 2)),
        "repeatability": float(np.sum((value - cell[:, :, None]) ** 2)),
    }
    free = {
        "part": parts - 1,
        "operator": operators - 1,
        "interaction": (parts - 1) * (operators - 1),
        "repeatability": parts * operators * (trials - 1),
    }
    _check_resolution(sums["repeatability"], value.size, float(np.abs(value).max()))
    square = {name: sums[name] / free[name] for name in sums}
    f = square["interaction"] / square["repeatability"]
    p = _beyond(free["interaction"], free["repeatability"], f)
    pooled = p > level
    if pooled:
        sums["pooled"] = sums["interaction"] + sums["repeatability"]
        free["pooled"] = free["interaction"] + free["repeatability"]
        square["pooled"] = sums["pooled"] / free["pooled"]
    against = "pooled" if pooled else "interaction"
    table = [
        *(_tested(name, against, sums, free, square) for name in ("part", "operator")),
        VarianceRow("interaction", sums["interaction"], free["interaction"], square["interaction"], f, p),
        *(
            VarianceRow(name, sums[name], free[name], square[name])
            for name in ("repeatability", "pooled")
            if name in sums
        ),
        VarianceRow("total", float(np.sum((value - mean) ** 2)), value.size - 1),
    ]
    error = square[against]
    inner = square["pooled" if pooled else "repeatability"]
    interaction = 0.0 if pooled else max(0.0, (square["interaction"] - inner) / trials)
    between = max(0.0, (square["operator"] - error) / (parts * trials))
    part = max(0.0, (square["part"] - error) / (operators * trials))
    return _study("anova", tuple(table), level, pooled, inner, (between, interaction), part)


def gauge_average_range(values: ArrayLike) -> GaugeStudy:
    """Return a Gauge R&R study by averages and ranges (AIAG MSA, 4th edition).

    EV = K1 mean range; AV from the range of the averages of operators times K2, less what repeatability
    explains of it; PV from the range of the averages of parts times K3. K1 is 1/d2 for the trials, K2 and K3
    are 1/d2* for one range of so many values, d2* = sqrt(d2^2 + d3^2), all computed. It sees no interaction
    and rests on fewer degrees of freedom than `gauge_anova`.

    Parameters
    ----------
    values
        ``(part, operator, trial)``, two or more of each.

    Raises
    ------
    UsageError
        As `gauge_anova`.
    """
    value = crossed(values, what="a Gauge R&R study")
    parts, operators, trials = value.shape
    ranges = np.ptp(value, axis=2)
    _check_resolution(float(np.sum(ranges**2)), value.size, float(np.abs(value).max()))
    repeatability = float(ranges.mean()) / chart_constants(trials).d2
    reach = float(np.ptp(value.mean(axis=(0, 2)))) / _single_range(operators)
    between = max(0.0, reach**2 - repeatability**2 / (parts * trials))
    part = float(np.ptp(value.mean(axis=(1, 2)))) / _single_range(parts)
    return _study("average-range", (), None, False, repeatability**2, (between, 0.0), part**2)


def _single_range(count: int) -> float:
    """Return d2* of one range: its root mean square over the deviation of one value."""
    factors = chart_constants(count)
    return math.hypot(factors.d2, factors.d3)


def _check_resolution(square: float, count: int, largest: float) -> None:
    if not square > count * (1e-12 * max(1.0, largest)) ** 2:
        raise UsageError(
            "a Gauge R&R study: all trials repeat to the last digit",
            hint="Give the values with more digits: these are too coarse to tell repeatability.",
        )


def _beyond(over: int, under: int, f: float) -> float:
    """Return the chance of a larger F."""
    return float(special.fdtrc(over, under, f))


def _tested(
    name: str, against: str, sums: dict[str, float], free: dict[str, int], square: dict[str, float]
) -> VarianceRow:
    f = p = None
    if square[against] > 0.0:
        f = square[name] / square[against]
        p = _beyond(free[name], free[against], f)
    return VarianceRow(name, sums[name], free[name], square[name], f, p)


def _study(
    method: Literal["anova", "average-range"],
    table: tuple[VarianceRow, ...],
    level: float | None,
    pooled: bool,
    repeatability: float,
    reproducibility: tuple[float, float],
    part: float,
) -> GaugeStudy:
    """Make a study of variances; `reproducibility` is that of operators and of the interaction."""
    variances = {"repeatability": repeatability, "reproducibility": sum(reproducibility)}
    variances["gauge"] = sum(variances.values())
    variances["part"] = part
    total = variances["gauge"] + part
    deviations = {name: math.sqrt(each) for name, each in variances.items()}
    study = {name: 100.0 * each / math.sqrt(total) for name, each in deviations.items()}
    categories = int(1.41 * deviations["part"] / deviations["gauge"])
    return GaugeStudy(
        method=method,
        table=table,
        pooled=pooled,
        pooling_level=level,
        repeatability=deviations["repeatability"],
        reproducibility=deviations["reproducibility"],
        interaction=math.sqrt(reproducibility[1]),
        gauge=deviations["gauge"],
        part=deviations["part"],
        total=math.sqrt(total),
        contribution_percent=tuple((name, 100.0 * each / total) for name, each in variances.items()),
        study_percent=tuple(study.items()),
        categories=categories,
        words=_words(study["gauge"], categories, table, pooled, level),
    )


def _words(
    percent: float, categories: int, table: tuple[VarianceRow, ...], pooled: bool, level: float | None
) -> str:
    rules = gauge_rules()
    if percent < rules.good_below_percent:
        told = f"good: less than {rules.good_below_percent:g} %"
    elif percent <= rules.poor_above_percent:
        told = f"{rules.good_below_percent:g} to {rules.poor_above_percent:g} %: depends on what it is for"
    else:
        told = f"poor: more than {rules.poor_above_percent:g} %"
    words = [f"the gauge makes {percent:.1f} % of the total deviation of these parts ({told})"]
    few = "" if categories >= rules.fewest_categories else f", fewer than {rules.fewest_categories}"
    words.append(f"it tells {categories} categories apart{few}")
    for row in table:
        if row.term == "interaction":
            does = "pooled with the repeatability" if pooled else "kept: operators differ from part to part"
            words.append(f"interaction of part and operator p = {row.p_value:.3f} at level {level:g}, {does}")
    return "; ".join(words)
