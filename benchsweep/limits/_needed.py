"""Which parameters have to be derived from a measurement to grade it."""

from __future__ import annotations

from benchsweep.limits._requirement import Requirement
from benchsweep.records import Parameter

__all__ = ["needed_parameters"]


def needed_parameters(requirement: Requirement) -> frozenset[Parameter]:
    """Return the parameters that grading against `requirement` looks at.

    Those that it limits; those that exempt points of them; insertion loss and NEXT where NEXT is brought to
    another length; FEXT and insertion loss where a ratio goes by the loss of the disturbing pair.
    """
    needed: set[Parameter] = set()
    for line in requirement.lines:
        needed.add(line.parameter)
        if line.exempt_where is not None:
            needed.add(line.exempt_where.parameter)
        if line.insertion_loss_of == "disturbing-pair":
            needed |= {Parameter.FEXT, Parameter.INSERTION_LOSS}
    if requirement.normalise is not None and any(
        rule.form == "saturating" for rule in requirement.normalise.rules
    ):
        needed |= {Parameter.INSERTION_LOSS, Parameter.NEXT}
    return frozenset(needed)
