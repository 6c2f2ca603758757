from __future__ import annotations

from pathlib import Path

from benchsweep.cli._lot_options import (
    Aql,
    Characteristics,
    ConsumerRisk,
    Level,
    LimitingQuality,
    Method,
    MethodName,
    PlanAsked,
    Reason,
    Severity,
)
from benchsweep.cli._options import AsJson, By, LotArchive, LotName
from benchsweep.cli._output import print_json, print_text, table_width

__all__ = ["replan"]


def replan(
    lot: LotName,
    reason: Reason,
    by: By,
    aql: Aql = None,
    level: Level = None,
    severity: Severity = None,
    method: Method = MethodName.ATTRIBUTES,
    limiting_quality: LimitingQuality = None,
    consumer_risk: ConsumerRisk = None,
    characteristic: Characteristics = None,
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Take another sampling plan for an open lot, with a reason. The random order stays.

    Results that were added stay, too. Of the plan before only the severity is taken
    over where it is not given.

    Example: `benchsweep lot replan 26-118 --aql 0.65 --severity tightened --reason "agreed with the customer"
    --by "R. Lind"`
    """
    from benchsweep.qualification import lot_document, replan_lot

    asked = PlanAsked(method, level, aql, severity, limiting_quality, consumer_risk, characteristic)
    view = replan_lot(archive, lot, by=by, reason=reason, **asked.keywords())
    if as_json:
        print_json(lot_document(view))
        return
    from benchsweep.report import pick_list

    print_text(pick_list(view.state, width=table_width()).rstrip("\n"))
