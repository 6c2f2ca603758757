from __future__ import annotations

from dataclasses import dataclass, replace

from benchsweep.errors import UsageError
from benchsweep.records import SamplingPlan, Severity
from benchsweep.statistics.sampling._tables import switching_rules

__all__ = ["START", "Inspection", "after_lot", "directed", "reduced_agreed", "resumed"]

_ORDER = (Severity.REDUCED, Severity.NORMAL, Severity.TIGHTENED)


@dataclass(frozen=True, slots=True)
class Inspection:
    """Where inspection stands between two lots of a series on original inspection.

    Parameters
    ----------
    severity
        Of the next lot.
    discontinued
        Too many lots were not accepted under tightened inspection: no lot is inspected until the supplier has
        acted and a person resumes.
    score
        Switching score under normal inspection; 0 under any other.
    recent
        Under normal inspection whether each of the last lots was accepted, oldest first, at most one fewer
        than the rule looks at.
    in_a_row
        Lots accepted one after another since the last one that was not, under tightened inspection.
    not_accepted
        Lots not accepted since tightened inspection began or was resumed.
    because
        Why it stands so, in a sentence without its full stop.
    """

    severity: Severity = Severity.NORMAL
    discontinued: bool = False
    score: int = 0
    recent: tuple[bool, ...] = ()
    in_a_row: int = 0
    not_accepted: int = 0
    because: str = "inspection begins with normal"

    @property
    def reduced_possible(self) -> bool:
        """Whether the score allows reduced inspection; a person agrees to it, and production is steady."""
        return self.severity is Severity.NORMAL and self.score >= switching_rules().switching_score.enough

    @property
    def words(self) -> str:
        """Severity and why, in a sentence without its full stop."""
        if self.discontinued:
            return f"inspection is discontinued: {self.because}"
        more = ""
        if self.severity is Severity.NORMAL:
            enough = switching_rules().switching_score.enough
            more = f"; switching score {self.score}, "
            more += (
                "reduced inspection is possible"
                if self.reduced_possible
                else f"reduced inspection needs {enough}"
            )
        elif self.severity is Severity.TIGHTENED:
            rules = switching_rules()
            back, stop = rules.tightened_to_normal, rules.discontinue
            more = (
                f"; {self.in_a_row} of the {back.accepted_in_a_row} lots accepted in a row that lead back to "
                f"normal, {self.not_accepted} of the {stop.not_accepted_on_tightened} not accepted that stop "
                "inspection"
            )
        return f"{self.severity.value} inspection: {self.because}{more}"


START = Inspection()
"""Before the first lot of a series: normal inspection."""


def after_lot(
    state: Inspection,
    *,
    plan: SamplingPlan,
    nonconforming: int,
    accepted: bool,
    ends_reduced: bool = False,
    tighter_accepted: bool | None = None,
) -> Inspection:
    """Return where inspection stands after one more lot on original inspection.

    Lots that are submitted again do not count and must not be given.

    Parameters
    ----------
    state
        Before the lot.
    plan
        What the lot was inspected with. Another severity than that of `state` (a lot that was opened before
        the last switch) says something only where a less severe plan did not accept: that counts as not
        accepted. Any other such lot changes nothing; nor does one that is finished while inspection is
        discontinued.
    nonconforming, accepted
        What was found, and the decision.
    ends_reduced
        Accepted with a count between Ac and Re.
    tighter_accepted
        Whether a plan of the next tighter AQL would have accepted the lot; None: not known, so it earns
        nothing. Needed only where Ac is 2 or more.

    Raises
    ------
    UsageError
        The plan has no severity (zero acceptance): no switching rules hold for it.

    Notes
    -----
    ISO 2859-1 with its switching score, MIL-STD-105E for the count between Ac and Re. Numbers and how far
    each was checked: ``tables/switching.toml``.
    """
    if plan.severity is None:
        raise UsageError(
            f"no switching rules hold for a plan of {plan.method}",
            hint="They are for plans with an AQL, by attributes or by variables.",
        )
    if state.discontinued:
        return state
    if plan.severity is not state.severity:
        less_severe = _ORDER.index(plan.severity) < _ORDER.index(state.severity)
        if accepted or not less_severe:
            return state
    if state.severity is Severity.NORMAL:
        gain = _gain(plan, nonconforming, accepted, tighter_accepted)
        return _after_normal(state, accepted, gain)
    if state.severity is Severity.TIGHTENED:
        return _after_tightened(state, accepted)
    return _after_reduced(state, accepted, ends_reduced)


def resumed(state: Inspection) -> Inspection:
    """Return the state after a person resumes inspection, the supplier having acted: tightened, counted anew.

    Raises
    ------
    UsageError
        Inspection is not discontinued.
    """
    if not state.discontinued:
        raise UsageError("inspection is not discontinued", hint="Nothing has to be resumed.")
    return Inspection(Severity.TIGHTENED, because="resumed after the supplier acted")


def reduced_agreed(state: Inspection) -> Inspection:
    """Return the state after a person agreed to reduced inspection, production being steady.

    Raises
    ------
    UsageError
        It is not possible: not normal inspection, or too small a switching score.
    """
    if not state.reduced_possible:
        enough = switching_rules().switching_score.enough
        raise UsageError(
            f"reduced inspection is not possible: {state.words}",
            hint=f"It needs normal inspection with a switching score of {enough} or more.",
        )
    return Inspection(Severity.REDUCED, because="agreed to by a person")


def directed(state: Inspection, severity: Severity) -> Inspection:
    """Return the state after a person directs a more severe inspection, which needs no rule, counted anew.

    For production that became irregular under reduced inspection, or a complaint.

    Raises
    ------
    UsageError
        It is less severe than now, or inspection is discontinued.
    """
    if state.discontinued:
        raise UsageError("inspection is discontinued", hint="Resume it first.")
    if _ORDER.index(severity) < _ORDER.index(state.severity):
        raise UsageError(
            f"from {state.severity.value} to {severity.value} inspection only the switching rules lead",
            hint="Wait for the lots that they ask for.",
        )
    return state if severity is state.severity else Inspection(severity, because="directed by a person")


def _gain(
    plan: SamplingPlan, nonconforming: int, accepted: bool, tighter_accepted: bool | None
) -> int | None:
    """Return what a lot adds to the switching score; None: it begins again from 0."""
    rule = switching_rules().switching_score
    # No score for plans by variables, which have no reduced plans here.
    if not accepted or plan.method != "attributes" or nonconforming > plan.accept:
        return None
    if plan.accept >= rule.tighter_from_accept:
        return rule.gain_tighter if tighter_accepted else None
    return rule.gain


def _after_normal(state: Inspection, accepted: bool, gain: int | None) -> Inspection:
    rule = switching_rules().normal_to_tightened
    window = (*state.recent, accepted)
    refused = window.count(False)
    if refused >= rule.not_accepted:
        last = f"of the last {len(window)} lots" if len(window) > refused else "lots one after the other"
        return Inspection(Severity.TIGHTENED, because=f"{refused} {last} were not accepted")
    return replace(
        state,
        score=0 if gain is None else state.score + gain,
        recent=window[-(rule.of_lots - 1) :],
        because=state.because,
    )


def _after_tightened(state: Inspection, accepted: bool) -> Inspection:
    rules = switching_rules()
    if accepted:
        in_a_row = state.in_a_row + 1
        if in_a_row >= rules.tightened_to_normal.accepted_in_a_row:
            return Inspection(because=f"{in_a_row} lots in a row were accepted under tightened inspection")
        return replace(state, in_a_row=in_a_row)
    not_accepted = state.not_accepted + 1
    if not_accepted >= rules.discontinue.not_accepted_on_tightened:
        because = f"{not_accepted} lots were not accepted under tightened inspection"
        return replace(state, discontinued=True, in_a_row=0, not_accepted=not_accepted, because=because)
    return replace(state, in_a_row=0, not_accepted=not_accepted)


def _after_reduced(state: Inspection, accepted: bool, ends_reduced: bool) -> Inspection:
    if not accepted:
        return Inspection(because="a lot was not accepted under reduced inspection")
    if ends_reduced:
        return Inspection(because="a lot had more nonconforming units than Ac under reduced inspection")
    return state
