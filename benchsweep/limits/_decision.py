"""Decision rules: from a margin and a guard band to an outcome (ILAC-G8:09/2019; JCGM 106:2012).

Limits of cabling are one-sided, so everything is told by the margin m, which is positive on the good side of
the limit, and by the guard band w >= 0: the acceptance limit lies where m = w, above the limit for a minimum
and below it for a maximum.

================  =========  =============  ================  ========
rule              m >= w     0 <= m < w     -w <= m < 0       m < -w
================  =========  =============  ================  ========
simple (w = 0)    pass       -              -                 fail
guard-band        pass       fail           fail              fail
four-way          pass       conditional-   conditional-fail  fail
                             pass
================  =========  =============  ================  ========

The probabilities stated are those of values that scatter normally in their own unit. A residual error of a
loss does so while it is small against the signal; the larger it is, the more its interval leans, and w = r U
with r other than 1 is then a convention of the trade and no exact quantile: with U = 6 dB towards a minimum
0.83 U leaves 6 % instead of 4.9 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Self, cast, get_args

from benchsweep.errors import UsageError
from benchsweep.records import Outcome

__all__ = ["DECISION_RULES", "SIMPLE", "Decision", "Rule"]

Rule = Literal["simple", "guard-band", "four-way"]

DECISION_RULES: tuple[Rule, ...] = get_args(Rule)
"""What a result may be decided by."""

_ISO_14253_1 = 0.83
_LARGEST_FACTOR = 10.0
# Expanded uncertainties are those of coverage factor 2 (`records.Interval`).
_COVERAGE_FACTOR = 2.0
_HINT = (
    f"There are: {', '.join(DECISION_RULES)}; the last two may be followed by the guard band in expanded "
    'uncertainties, for example "guard-band 0.83".'
)


@dataclass(frozen=True, slots=True)
class Decision:
    """How a result is decided.

    Parameters
    ----------
    rule
        ``simple``: acceptance at the limit (ILAC-G8:09/2019, 4.2.1). ``guard-band``: what lies within the
        guard band fails (4.2.2). ``four-way``: what lies within a guard band on either side of the limit
        passes or fails conditionally (the non-binary statement).
    factor
        r of the guard band w = r U, above 0: 1; 0.83 (ISO 14253-1:2017, from memory); 1.5; 3 … It is 1 for
        ``simple``, which has no guard band. A negative one would accept what lies beyond the limit and is
        refused: ``four-way`` names such results without accepting them.

    Raises
    ------
    UsageError
        No such rule, or a factor that makes no sense.
    """

    rule: Rule = "simple"
    factor: float = 1.0

    def __post_init__(self) -> None:
        if self.rule not in DECISION_RULES:
            raise UsageError(f"no decision rule named {self.rule!r}", hint=_HINT)
        if self.rule == "simple" and self.factor != 1.0:
            raise UsageError(
                f"simple acceptance has no guard band, so {self.factor:g} means nothing",
                hint=f'Write simple alone, or "guard-band {self.factor:g}".',
            )
        if self.factor < 0.0:
            raise UsageError(
                f"a guard band of {self.factor:g} U would accept results beyond the limit",
                hint="Give a factor above 0; four-way names results that are beyond the limit by less than "
                "their uncertainty, and accepts none.",
            )
        if not 0.0 < self.factor <= _LARGEST_FACTOR:  # also what is no number
            raise UsageError(
                f"a guard band of {self.factor:g} U makes no sense",
                hint=f"Give a factor above 0, at most {_LARGEST_FACTOR:g}; simple has no guard band.",
            )

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the decision of that name: ``simple``, ``guard-band``, ``guard-band 0.83``, ``four-way``.

        Raises
        ------
        UsageError

        Examples
        --------
        >>> Decision.parse("guard-band 0.83")
        Decision(rule='guard-band', factor=0.83)
        """
        rule, *factors = text.split() or [""]
        if len(factors) > 1:
            raise UsageError(f"{text!r} is no decision rule", hint=_HINT)
        try:
            factor = float(factors[0]) if factors else 1.0
        except ValueError:
            raise UsageError(f"decision rule {text!r}: {factors[0]!r} is no number", hint=_HINT) from None
        return cls(cast("Rule", rule), factor)

    def __str__(self) -> str:
        """Return what `parse` reads."""
        return self.rule if self.factor == 1.0 else f"{self.rule} {repr(self.factor).removesuffix('.0')}"

    @property
    def has_guard_band(self) -> bool:
        """True when the rule keeps a distance to the limit."""
        return self.rule != "simple"

    @property
    def false_acceptance(self) -> float:
        """Largest probability that an accepted value lies beyond the limit, at the acceptance limit itself.

        One-sided and normal, with U = 2 standard uncertainties and nothing known beforehand about the
        specimens (JCGM 106:2012, specific risk). For ``four-way`` that of a pass without condition.
        """
        w_in_u = self.factor * _COVERAGE_FACTOR if self.has_guard_band else 0.0
        return 0.5 * math.erfc(w_in_u / math.sqrt(2.0))

    @property
    def statement(self) -> str:
        """The rule, its source and its risk in one sentence, for reports."""
        risk = _percent(self.false_acceptance)
        if self.rule == "simple":
            return (
                "decision rule: simple acceptance, no guard band (ILAC-G8:09/2019, 4.2.1); a value that "
                f"passes right at its limit is beyond it with a probability of up to {risk}"
            )
        times = "" if self.factor == 1.0 else f"{self.factor:g} "
        by = " (ISO 14253-1:2017)" if self.factor == _ISO_14253_1 else ""
        band = f"w = {times}U{by}, U the expanded uncertainty (k = 2) on the side of the limit"
        if self.rule == "guard-band":
            return (
                f"decision rule: guard band {band}; what is less than w inside the limit fails "
                f"(ILAC-G8:09/2019, 4.2.2); false acceptance at most {risk} (normal, one-sided)"
            )
        return (
            f"decision rule: four outcomes, guard band {band}; conditional within w of the limit on either "
            f"side (ILAC-G8:09/2019, 4.2); false acceptance at most {risk} for a pass, 50 % for a "
            f"conditional pass; false rejection at most {risk} for a fail, 50 % for a conditional fail "
            "(normal, one-sided)"
        )

    def outcome(self, margin: float, guard_band: float | None) -> Outcome:
        """Return the outcome of one point.

        Parameters
        ----------
        margin
            Distance to the limit, positive is good.
        guard_band
            w, not negative, in the unit of `margin`. None or not finite where no uncertainty is known: then
            nothing can be accepted. ``guard-band`` fails what is beyond the limit, as with any guard band,
            and decides nothing else; ``four-way`` decides nothing at all, because conditional outcomes claim
            an uncertainty.
        """
        if self.rule == "simple":
            return Outcome.PASS if margin >= 0.0 else Outcome.FAIL
        known = guard_band is not None and math.isfinite(guard_band)
        if self.rule == "guard-band":
            if margin < 0.0 or (known and margin < (guard_band or 0.0)):
                return Outcome.FAIL
            return Outcome.PASS if known else Outcome.UNDECIDED
        if guard_band is None or not known:
            return Outcome.UNDECIDED
        if margin >= guard_band:
            return Outcome.PASS
        if margin >= 0.0:
            return Outcome.CONDITIONAL_PASS
        return Outcome.CONDITIONAL_FAIL if margin >= -guard_band else Outcome.FAIL


SIMPLE = Decision("simple")
"""Acceptance at the limit: what is used when nothing else is asked for."""


def _percent(probability: float) -> str:
    """Return a largest probability for people: two significant digits, rounded up because it is a bound."""
    percent = max(100.0 * probability, 1e-3)
    step = 10.0 ** (math.floor(math.log10(percent)) - 1)
    return f"{math.ceil(percent / step - 1e-9) * step:.2g} %"
