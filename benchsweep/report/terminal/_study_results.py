"""The evaluation of one trace of a study, as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import GaugeStudy, InterlaboratoryStudy, NestedStudy
from benchsweep.report.terminal._frame import tabled
from benchsweep.report.terminal._lines import entry

__all__ = ["result_lines"]


def result_lines(
    quantity: str,
    found: GaugeStudy | NestedStudy | InterlaboratoryStudy,
    operators: Sequence[str],
    unit: str,
    width: int,
) -> list[str]:
    """Return an evaluation as lines; `quantity` as it is printed."""
    if isinstance(found, GaugeStudy):
        return _gauge(quantity, found, unit, width)
    if isinstance(found, NestedStudy):
        return _nested(quantity, found, unit, width)
    return _laboratories(quantity, found, operators, unit, width)


def _gauge(quantity: str, found: GaugeStudy, unit: str, width: int) -> list[str]:
    contribution, share = dict(found.contribution_percent), dict(found.study_percent)
    heads = ["source", f"s, {unit}", "% of variance", "% of deviation"]
    rows = []
    for name, value in (
        ("repeatability", found.repeatability),
        ("reproducibility", found.reproducibility),
        ("gauge", found.gauge),
        ("part", found.part),
        ("total", found.total),
    ):
        rows.append([name, f"{value:.4f}", _percent(contribution.get(name)), _percent(share.get(name))])
    how = "by analysis of variance" if found.method == "anova" else "by averages and ranges"
    pooling = ""
    if found.method == "anova" and found.pooling_level is not None:
        what = "put to the repeatability" if found.pooled else "kept"
        pooling = f"interaction {what} (level {found.pooling_level:g})"
    lines = entry("quantity", [f"{quantity}: Gauge R&R {how}"], width)
    lines += tabled(heads, rows, width, figures=heads[1:])
    lines += entry("categories", [str(found.categories)], width)
    return lines + entry("", [pooling, found.words], width)


def _nested(quantity: str, found: NestedStudy, unit: str, width: int) -> list[str]:
    heads = ["level", f"s seen, {unit}", f"s of its own, {unit}", "degrees of freedom"]
    rows = [
        [name, f"{seen:.4f}", f"{own:.4f}", str(freedom)]
        for name, seen, own, freedom in zip(
            found.levels, found.deviation, found.component, found.freedom, strict=True
        )
    ]
    lines = entry("quantity", [f"{quantity}: nested levels"], width)
    lines += tabled(heads, rows, width, figures=heads[1:])
    mating = ""
    if found.mating_uncertainty is not None:
        mating = f"one fresh mating: U = {found.mating_uncertainty:.3f} {unit} (k = 2)"
    return lines + entry("", [mating, found.words], width)


def _laboratories(
    quantity: str, found: InterlaboratoryStudy, operators: Sequence[str], unit: str, width: int
) -> list[str]:
    lines = entry("quantity", [f"{quantity}: ISO 5725-2"], width)
    lines += entry(
        "",
        [
            f"mean {found.mean:.4f} {unit}, s_r {found.repeatability:.4f}, s_R {found.reproducibility:.4f}; "
            f"r {found.repeatability_limit:.4f}, R {found.reproducibility_limit:.4f} {unit}"
        ],
        width,
    )
    heads = ["operator", "h", "k"]
    rows = [[name, f"{h:+.3f}", f"{k:.3f}"] for name, h, k in zip(operators, found.h, found.k, strict=False)]
    lines += tabled(heads, rows, width, figures=("h", "k"))
    told = f"inconsistent beyond |h| {found.h_critical:.3f} or k {found.k_critical:.3f} (0.5 %)"
    return lines + entry("", [told, *found.outliers], width)


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"
