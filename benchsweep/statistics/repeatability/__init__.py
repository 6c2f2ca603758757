"""Repeatability and reproducibility: studies drawn up in advance, and evaluated. Pure numbers, no files.

`crossed_design`, `nested_design` and `interlaboratory_design` say who measures what in which order, a random
one that anybody can make again from its seed (`run_key`). `gauge_anova` and `gauge_average_range` evaluate
crossed studies, `nested` what trials, matings and operators add, `interlaboratory` several testers or
laboratories after ISO 5725-2, with Mandel's, Cochran's and Grubbs' statistics. Rules of thumb for a gauge
stand in ``gauge.toml``.

Values are in dB, or ns for delay and skew; every deviation comes in the unit of the values. Nothing is ever
taken out as an outlier: it is named.
"""

from benchsweep.statistics.repeatability._designs import (
    crossed_design,
    interlaboratory_design,
    nested_design,
    run_key,
)
from benchsweep.statistics.repeatability._gauge import (
    GaugeRules,
    gauge_anova,
    gauge_average_range,
    gauge_rules,
)
from benchsweep.statistics.repeatability._interlaboratory import (
    cochran_critical,
    grubbs_critical,
    h_critical,
    interlaboratory,
    k_critical,
)
from benchsweep.statistics.repeatability._nested import nested, pooled_deviation

__all__ = [
    "GaugeRules",
    "cochran_critical",
    "crossed_design",
    "gauge_anova",
    "gauge_average_range",
    "gauge_rules",
    "grubbs_critical",
    "h_critical",
    "interlaboratory",
    "interlaboratory_design",
    "k_critical",
    "nested",
    "nested_design",
    "pooled_deviation",
    "run_key",
]
