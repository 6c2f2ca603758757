"""What follows from a study that is whole: repeatability and reproducibility of each quantity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.qualification.comparisons._study_summary import StudyResult
from benchsweep.records import NestedStudy, StudyDesign, StudyMeasured
from benchsweep.statistics import repeatability

__all__ = ["Evaluated", "evaluate"]

Values = NDArray[np.float64]

_CELL = "part and operator"
_ALIKE = 1e-9
"""So much apart, of the largest value, and no further are values alike: sums of decimals are not exact."""


@dataclass(slots=True)
class Evaluated:
    """What was found.

    Parameters
    ----------
    results
        Quantity -> its evaluations.
    alike
        Quantities that repeat to the last digit in every trial: there is no Gauge R&R study of them.
    doubts
        In words: quantities that some runs lack, or that cannot be evaluated.
    """

    results: dict[str, tuple[StudyResult, ...]] = field(default_factory=dict)
    alike: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)


def evaluate(design: StudyDesign, measured: Mapping[int, StudyMeasured]) -> Evaluated:
    """Return what follows from a study in which every run was measured."""
    found = Evaluated()
    every = dict.fromkeys(name for event in measured.values() for name in event.values)
    whole = [name for name in every if all(name in event.values for event in measured.values())]
    lacking = [name for name in every if name not in whole]
    if lacking:
        named = ", ".join(lacking[:6]) + (f" and {len(lacking) - 6} more" if len(lacking) > 6 else "")
        found.doubts.append(f"not evaluated, because some runs have no value of it: {named}")
    for quantity in whole:
        _add(found, quantity, design, measured)
    return found


def _add(found: Evaluated, quantity: str, design: StudyDesign, measured: Mapping[int, StudyMeasured]) -> None:
    shape = (len(design.parts), len(design.operators), design.matings, design.trials)
    values = np.full(shape, np.nan)
    for run in design.runs:
        cell = design.parts.index(run.part), design.operators.index(run.operator)
        values[(*cell, run.mating - 1, run.trial - 1)] = measured[run.number].values[quantity]
    told: dict[str, list[StudyResult]] = {}
    try:
        if design.kind == "crossed":
            repeats = values.mean(axis=3) if design.matings > 1 else values[:, :, 0, :]
            if _all_alike(repeats):
                found.alike.append(quantity)
            else:
                told.setdefault(quantity, []).append(repeatability.gauge_anova(repeats))
        elif design.kind == "interlaboratory":
            for place, part in enumerate(design.parts):
                samples = values[place].reshape(len(design.operators), -1)
                name = quantity if len(design.parts) == 1 else f"{quantity}, {part}"
                told.setdefault(name, []).append(
                    repeatability.interlaboratory(samples, names=design.operators)
                )
        if design.matings > 1:
            told.setdefault(quantity, []).append(_of_matings(values, design))
    except UsageError as error:
        found.doubts.append(f"{quantity}: {error.message}")
    found.results |= {name: tuple(each) for name, each in told.items()}


def _all_alike(repeats: Values) -> bool:
    """Tell whether all repeats of each part and operator are the same."""
    return repeats.shape[2] > 1 and bool(np.ptp(repeats, axis=2).max() <= _ALIKE * np.abs(repeats).max())


def _of_matings(values: Values, design: StudyDesign) -> NestedStudy:
    """Return what trials and matings add, within each part and operator; of a nested study also those."""
    names: tuple[str, ...] = ("part", "operator", "mating", "trial")
    if design.kind != "nested":
        # By what parts and operators differ is told by the other evaluation.
        values, names = values.reshape(-1, design.matings, design.trials), (_CELL, "mating", "trial")
    levels = [name for name, size in zip(names, values.shape, strict=True) if size > 1]
    lean = values.squeeze()
    if lean.ndim > 1:
        return repeatability.nested(lean, levels=levels[::-1])
    scatter = float(lean.std(ddof=1))
    return NestedStudy(
        ("mating",), (scatter,), (scatter,), (lean.size - 1,), 2.0 * scatter, "one operator, one part"
    )
