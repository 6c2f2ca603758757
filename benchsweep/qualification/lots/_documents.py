"""What ``--json`` prints of lots: plain dictionaries with a schema name; infinity and NaN become null."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from benchsweep.qualification._json import json_number
from benchsweep.records import (
    LotClosed,
    LotEvent,
    LotOpened,
    LotReplanned,
    LotState,
    OperatingCurve,
    ReelAdded,
    ReelExcluded,
    ReelResult,
    SamplingPlan,
    VariablesDecision,
)

if TYPE_CHECKING:
    from benchsweep import archive
    from benchsweep.errors import ArchiveError

    # What these need to be computed is not needed to print a plan.
    from benchsweep.qualification.lots._prove import LotProof
    from benchsweep.qualification.lots._recheck import ReelAgain
    from benchsweep.qualification.lots._view import LotView

__all__ = ["lot_document", "lots_document", "proof_document", "sampling_document"]


def sampling_document(plan: SamplingPlan, curve: OperatingCurve | None = None) -> dict[str, Any]:
    """Return ``benchsweep.sampling/1``; ``percent`` of the curve is that of the process."""
    document = {"schema": "benchsweep.sampling/1", **_plan(plan)}
    return document if curve is None else document | {"operating": _operating(curve)}


def lots_document(
    views: Sequence[LotView], unread: Sequence[tuple[archive.Source, ArchiveError]] = ()
) -> dict[str, Any]:
    """Return ``benchsweep.lots/1``; ``damaged`` are files of lots that cannot be read."""
    return {
        "schema": "benchsweep.lots/1",
        "lots": [_in_short(view) for view in views],
        "damaged": [{"path": str(source), "reason": error.message} for source, error in unread],
    }


def lot_document(view: LotView) -> dict[str, Any]:
    """Return ``benchsweep.lot/1``.

    ``status`` is ``open``, ``accepted`` or ``not accepted``. ``sample`` names the reels of the sample in
    the order of the draw, ``drawn`` these and those that were excluded with their numbers in the draw, and
    ``results`` what counts of those that were tested.
    """
    state, opened = view.state, view.state.opened
    return {
        "schema": "benchsweep.lot/1",
        **_in_short(view),
        "path": str(view.path),
        "digest": view.digest,
        "opened_by": opened.by,
        "edition": opened.edition,
        "requirement_digest": opened.requirement_digest,
        "decision_rule": opened.decision_rule,
        "construction": opened.construction or None,
        "severity_because": opened.severity_because,
        "resubmission_of": opened.resubmission_of or None,
        "reason": opened.reason or None,
        "plan": _plan(state.plan),
        "seed": opened.seed,
        "seed_given": opened.seed_given,
        "reels": list(opened.reels),
        "order": list(state.order),
        "sample": list(state.sample),
        "drawn": [
            {"number": number, "reel": reel, "excluded": reel not in state.sample}
            for number, reel in state.drawn
        ],
        "results": [_sampled(state, reel) for reel in state.sample if reel in state.counting],
        "missing": list(state.missing),
        "nonconforming": list(state.nonconforming),
        "undecided": list(state.undecided),
        "excluded": [
            {"reel": each.reel, "at": each.at, "by": each.by, "reason": each.reason}
            for each in state.excluded
        ],
        "variables": _variables(view.variables),
        "decision": _decision(state.closed),
        "inspection": list(view.inspection),
        "doubts": list(view.doubts),
        "history": [_event(event) for event in view.events],
    }


def proof_document(proof: LotProof) -> dict[str, Any]:
    """Return ``benchsweep.lot-proof/1``.

    ``same`` tells whether everything is as it was; null against another requirement. ``reels`` are those of
    the sample that have a result: what it was, and what it is when it is computed again.
    """
    closed = proof.view.state.closed
    return {
        "schema": "benchsweep.lot-proof/1",
        "lot": proof.view.name,
        "digest": proof.view.digest,
        "requirement": proof.requirement,
        "edition": proof.edition,
        "against": proof.against,
        "same": None if proof.against else not proof.differs,
        "was": _decision(closed),
        "decision": {
            "accepted": proof.decision.accepted,
            "ends_reduced": proof.decision.ends_reduced,
            "words": proof.decision.words,
            "nonconforming": list(proof.state.nonconforming),
            "undecided": list(proof.state.undecided),
            "missing": list(proof.state.missing),
        },
        "variables": _variables(proof.variables),
        "other_outcome": list(proof.other_outcome),
        "reels": [_again(reel, again) for reel, again in proof.reels.items()],
        "differs": list(proof.differs),
        "doubts": list(proof.doubts),
        "history_differs": list(proof.history),
        "digest_kept": proof.kept or None,
    }


def _again(reel: str, again: ReelAgain) -> dict[str, Any]:
    return {
        "reel": reel,
        "record": again.entry.path,
        "was": str(again.entry.result.outcome),
        "outcome": None if again.result is None else str(again.result.outcome),
        "trouble": list(again.trouble),
        "differs": list(again.differs),
        "matrix_difference": json_number(again.matrix_difference),
        "result": None if again.result is None else _result(again.result),
    }


def _in_short(view: LotView) -> dict[str, Any]:
    state, opened, closed = view.state, view.state.opened, view.state.closed
    return {
        "lot": opened.lot,
        "status": "open" if closed is None else "accepted" if closed.accepted else "not accepted",
        "supplier": opened.supplier,
        "product": opened.product,
        "requirement": opened.requirement,
        "opened_at": opened.at,
        "closed_at": None if closed is None else closed.at,
        "lot_size": state.plan.lot_size,
        "sample_size": state.plan.sample_size,
        "tested": len(state.sample) - len(state.missing),
        "count_nonconforming": len(state.nonconforming),
        "count_undecided": len(state.undecided),
        "accept": state.plan.accept,
        "reject": state.plan.reject,
        "severity": state.plan.severity,
        "resubmission": bool(opened.resubmission_of),
    }


def _plan(plan: SamplingPlan) -> dict[str, Any]:
    return {
        "lot_size": plan.lot_size,
        "level": plan.level or None,
        "aql": plan.aql_percent,
        "severity": plan.severity,
        "code_letter": plan.code_letter or None,
        "sample_size": plan.sample_size,
        "accept": plan.accept,
        "reject": plan.reject,
        "method": plan.method,
        "plan_letter": plan.plan_letter or None,
        "table_sample_size": plan.table_sample_size,
        "whole_lot": plan.whole_lot,
        "characteristics": list(plan.characteristics),
        "constant_k": json_number(plan.constant_k),
        "largest_percent": json_number(plan.largest_percent),
        "limiting_percent": plan.limiting_percent,
        "consumer_risk": plan.consumer_risk,
        "rounded_up": plan.rounded_up or None,
        "source": plan.source,
        "standing": plan.standing,
    }


def _operating(curve: OperatingCurve) -> dict[str, Any]:
    def column(values: Any) -> list[float | None]:
        return [json_number(float(value)) for value in values]

    return {
        "percent": column(curve.percent),
        "accepted": column(curve.accepted),
        "lot_percent": column(curve.lot_percent),
        "lot_accepted": column(curve.lot_accepted),
        "outgoing_percent": column(curve.outgoing_percent),
        "inspected": column(curve.inspected),
        "scheme_accepted": None if curve.scheme_accepted is None else column(curve.scheme_accepted),
        "producer_risk": json_number(curve.producer_risk),
        "producer_percent": json_number(curve.producer_percent),
        "indifferent_percent": json_number(curve.indifferent_percent),
        "consumer_percent": json_number(curve.consumer_percent),
        "outgoing_limit_percent": json_number(curve.outgoing_limit_percent),
        "outgoing_limit_at": json_number(curve.outgoing_limit_at),
    }


def _sampled(state: LotState, reel: str) -> dict[str, Any]:
    entry = state.counting[reel]
    retested = [each for each in state.added if each.reel == reel and each is not entry]
    return {
        "reel": reel,
        "record": entry.path,
        "record_digest": entry.record,
        "added_at": entry.at,
        "added_by": entry.by,
        "station": entry.station,
        "retest_reason": entry.retest_reason or None,
        "earlier_results": len(retested),
        "result": _result(entry.result),
    }


def _result(result: ReelResult) -> dict[str, Any]:
    return {
        "outcome": str(result.outcome),
        "conforms": result.conforms,
        "length_m": json_number(result.length_m),
        "temperature_degc": json_number(result.temperature_degc),
        "margins": [
            {
                "parameter": str(each.parameter),
                "end": each.end,
                "pairs": list(each.pairs),
                "unit": each.parameter.unit,
                "worst_margin": json_number(each.margin),
                "frequency_hz": json_number(each.frequency_hz),
                "value": json_number(each.value),
                "limit": json_number(each.limit),
                "expanded_uncertainty": json_number(each.expanded_uncertainty),
                "outcome": str(each.outcome),
            }
            for each in result.margins
        ],
        "failing": list(result.failing),
        "doubts": list(result.doubts),
        "notes": list(result.notes),
        "constants": [
            {
                "end": each.end,
                "pair": each.pair,
                "velocity_fraction": json_number(each.velocity_fraction),
                "mean_impedance_ohm": json_number(each.mean_impedance_ohm),
                "fitted_impedance_ohm": json_number(each.fitted_impedance_ohm),
                "structural_return_loss_db": json_number(each.structural_return_loss_db),
                "structural_at_hz": json_number(each.structural_at_hz),
                "capacitance_nf_per_100m": json_number(each.capacitance_nf_per_100m),
            }
            for each in result.constants
        ],
        "skew_ns_per_100m": json_number(result.skew_ns_per_100m),
        "measured_at": result.measured_at,
    }


def _variables(found: Sequence[VariablesDecision]) -> list[dict[str, Any]]:
    return [
        {
            "characteristic": each.characteristic,
            "count": each.count,
            "mean": json_number(each.mean),
            "deviation": json_number(each.deviation),
            "quality": json_number(each.quality),
            "estimated_percent": json_number(each.estimated_percent),
            "accepted": each.accepted,
            "normality_p": json_number(each.normality_p),
            "words": each.words,
        }
        for each in found
    ]


def _decision(closed: LotClosed | None) -> dict[str, Any] | None:
    if closed is None:
        return None
    return {
        "accepted": closed.accepted,
        "ends_reduced": closed.ends_reduced,
        "nonconforming": list(closed.nonconforming),
        "words": closed.words,
        "at": closed.at,
        "by": closed.by,
    }


def _event(event: LotEvent) -> dict[str, Any]:
    """Return an entry of the history in short; results and plans stand elsewhere in the document."""
    told: dict[str, Any] = {"at": event.at, "by": event.by}
    if isinstance(event, LotOpened):
        return told | {"what": "opened", "plan": _plan(event.plan), "reason": event.reason or None}
    if isinstance(event, ReelAdded):
        return told | {
            "what": "added",
            "reel": event.reel,
            "record": event.path,
            "record_digest": event.record,
            "outcome": str(event.result.outcome),
            "reason": event.retest_reason or None,
            "also_in": list(event.also_in),
            "reuse_reason": event.reuse_reason or None,
        }
    if isinstance(event, ReelExcluded):
        return told | {"what": "excluded", "reel": event.reel, "reason": event.reason}
    if isinstance(event, LotReplanned):
        return told | {"what": "replanned", "plan": _plan(event.plan), "reason": event.reason}
    return told | {"what": "closed", "words": event.words}
