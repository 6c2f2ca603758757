"""What a study measured, as it is named: ``acr_f A 12-36``, or words of the laboratory's own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from benchsweep.records import GaugeStudy, InterlaboratoryStudy, NestedStudy, Parameter

__all__ = ["quantity_parts", "worst_first"]

Result = GaugeStudy | NestedStudy | InterlaboratoryStudy


def quantity_parts(quantity: str) -> tuple[Parameter | None, str]:
    """Return the parameter of a quantity and the rest: ``A 12-36``; None and all of it of any other words."""
    word, _, rest = quantity.partition(" ")
    return (Parameter(word), rest) if word in set(Parameter) else (None, quantity)


def worst_first(results: Mapping[str, Sequence[Result]]) -> list[str]:
    """Return the quantities of a study by the share of the gauge, then by what they scatter."""
    return sorted(results, key=lambda quantity: max(map(_badness, results[quantity])), reverse=True)


def _badness(found: Result) -> tuple[float, float]:
    if isinstance(found, GaugeStudy):
        return dict(found.study_percent).get("gauge", 0.0), found.gauge
    if isinstance(found, InterlaboratoryStudy):
        return -1.0, found.reproducibility
    own = [each for name, each in zip(found.levels, found.component, strict=True) if name != "part"]
    return -1.0, math.hypot(*own)
