"""Nested levels: trials within matings within operators."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.records import NestedStudy
from benchsweep.statistics.repeatability._values import Floats, finite

__all__ = ["nested", "pooled_deviation"]

LEVELS = ("trial", "mating", "operator", "part")
"""Names of the levels, innermost first, as far as the values have them."""

Groups = Sequence[Any] | Floats
"""Values, or groups of groups of values, all equally deep; groups need not be equally large."""


def pooled_deviation(deviations: Sequence[float] | Floats, freedom: Sequence[int] | None = None) -> float:
    """Return the pooled standard deviation, sqrt(sum(v s^2) / sum(v)) (NIST/SEMATECH e-Handbook 2.4.4).

    Parameters
    ----------
    deviations, freedom
        Standard deviations and their degrees of freedom; None: all have as many.

    Raises
    ------
    UsageError
        None at all, one that is negative or not finite, freedom that does not fit or is none.
    """
    s = finite(deviations, what="pooled standard deviations")
    free = np.ones(s.size) if freedom is None else np.asarray(freedom, dtype=np.float64)
    if s.ndim != 1 or not s.size or free.shape != s.shape:
        raise UsageError(f"{s.size} standard deviations with {free.size} degrees of freedom")
    if (s < 0.0).any() or (free < 0.0).any() or not free.sum() > 0.0:
        raise UsageError("pooled standard deviations that are negative or have no degrees of freedom")
    return math.sqrt(float(free @ s**2) / float(free.sum()))


def nested(values: Groups, *, levels: Sequence[str] | None = None) -> NestedStudy:
    """Return what each nested level adds to the scatter.

    The deviation that is seen at a level is that of averages within the group above, pooled over the groups
    (NIST/SEMATECH e-Handbook 2.4.4: s1 of repetitions, s2 of days, s3 of runs); it holds what is inside the
    averages. The component is what the level adds by itself, from the mean squares of a nested analysis of
    variance with random effects, their expectations taken for groups of any size; not below zero.

    Parameters
    ----------
    values
        Outermost first, ``values[operator][mating][trial]``: an array, or groups of any size. Groups of one
        tell nothing of their level but count above.
    levels
        Names, innermost first, one for each depth; None: trial, mating, operator, part. Where the plug is
        measured once for each mating, ``("mating", "operator")``.

    Raises
    ------
    UsageError
        Fewer than two levels, more than four without names, groups of different depth or empty ones, a value
        that is not finite, a level where no group has two.
    """
    leaves = list(_leaves(values, ()))
    depth = len(leaves[0][0]) if leaves else 0
    if not leaves or any(len(place) != depth for place, _ in leaves):
        raise UsageError(
            "a nested study: groups of different depth", hint="Each value needs all of its levels."
        )
    names = LEVELS[:depth] if levels is None else tuple(levels)
    if depth < 2 or len(names) != depth:
        raise UsageError(
            f"a nested study with {depth} level{'s' * (depth != 1)} and {len(names)} names",
            hint="Give values as operator, mating, trial, or at least mating, trial.",
        )
    value = finite([each for _, each in leaves], what="a nested study")
    keys = [place for place, _ in leaves]
    deviation, freedom = _seen(keys, value, names)
    component = _components(keys, value, freedom)
    mating = None
    if "mating" in names:
        mating = 2.0 * math.sqrt(sum(component[: names.index("mating") + 1]))
    return NestedStudy(
        levels=names,
        deviation=deviation,
        component=tuple(math.sqrt(each) for each in component),
        freedom=freedom,
        mating_uncertainty=mating,
        words=_words(names, component, freedom, mating),
    )


def _leaves(values: Any, place: tuple[int, ...]) -> Any:
    """Yield each value with its place, outermost index first."""
    group = values.ndim > 0 if isinstance(values, np.ndarray) else isinstance(values, Sequence)
    if not group or isinstance(values, str):
        try:
            yield place, float(values)
        except (TypeError, ValueError):
            raise UsageError(f"a nested study: {values!r} is no number") from None
        return
    if not len(values):
        raise UsageError("a nested study with an empty group", hint="Leave the group out.")
    for index, inner in enumerate(values):
        yield from _leaves(inner, (*place, index))


def _seen(
    keys: Sequence[tuple[int, ...]], value: Floats, names: Sequence[str]
) -> tuple[tuple[float, ...], tuple[int, ...]]:
    """Return pooled deviation and degrees of freedom of each level, innermost first."""
    averages = dict(zip(keys, value, strict=True))
    deviations: list[float] = []
    freedoms: list[int] = []
    for name in names:
        groups: dict[tuple[int, ...], list[float]] = {}
        for place, each in averages.items():
            groups.setdefault(place[:-1], []).append(float(each))
        free = [len(group) - 1 for group in groups.values()]
        if not sum(free):
            raise UsageError(
                f"a nested study: no group has two or more of level {name}", hint="Leave that level out."
            )
        spread = [float(np.std(group, ddof=1)) if len(group) > 1 else 0.0 for group in groups.values()]
        deviations.append(pooled_deviation(spread, free))
        freedoms.append(sum(free))
        averages = {place: float(np.mean(group)) for place, group in groups.items()}
    return tuple(deviations), tuple(freedoms)


def _components(keys: Sequence[tuple[int, ...]], value: Floats, freedom: Sequence[int]) -> tuple[float, ...]:
    """Return the variance that each level adds, innermost first.

    The sum of squares of a level is that of its averages around those of the level above, each counted as
    often as it has values. A component of level j enters its expectation with A(level, j) - A(above, j),
    where A(level, j) is the sum over groups of the level of sum(n^2) over their parts of level j, over n.
    """
    depth = len(keys[0])
    total = value.size
    sizes: list[dict[tuple[int, ...], int]] = []
    means: list[dict[tuple[int, ...], float]] = []
    for level in range(depth + 1):  # 0: the whole, depth: single values
        count: dict[tuple[int, ...], int] = {}
        mean: dict[tuple[int, ...], float] = {}
        for place, each in zip(keys, value, strict=True):
            count[place[:level]] = count.get(place[:level], 0) + 1
            mean[place[:level]] = mean.get(place[:level], 0.0) + float(each)
        sizes.append(count)
        means.append({place: mean[place] / count[place] for place in count})

    def share(level: int, of: int) -> float:
        if level >= of:
            return float(total)
        return sum(n**2 / sizes[level][place[:level]] for place, n in sizes[of].items())

    found: dict[int, float] = {}
    for level in range(depth, 0, -1):
        square = sum(
            n * (means[level][place] - means[level - 1][place[:-1]]) ** 2 for place, n in sizes[level].items()
        )
        inside = sum(found[of] * (share(level, of) - share(level - 1, of)) for of in found)
        found[level] = (square - inside) / (share(level, level) - share(level - 1, level))
    # Only now: a level whose inside is held at zero would itself come out too small.
    return tuple(max(0.0, found[level]) for level in range(depth, 0, -1))


def _words(
    names: Sequence[str], component: Sequence[float], freedom: Sequence[int], mating: float | None
) -> str:
    total = sum(component)
    if not total > 0.0:
        return "all values are alike"
    shares = ", ".join(
        f"{name} {100.0 * each / total:.0f} % ({free} degrees of freedom)"
        for name, each, free in zip(names, component, freedom, strict=True)
    )
    words = f"share of the variance: {shares}"
    if mating is not None:
        words += f"; a freshly mated measurement scatters by +-{mating:.3g} (k = 2)"
    return words
