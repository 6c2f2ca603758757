from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._lot_options import (
    Aql,
    Characteristics,
    ConsumerRisk,
    Level,
    LimitingQuality,
    Method,
    MethodName,
    PlanAsked,
    Severity,
)
from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text, table_width

__all__ = ["plan"]


def plan(
    size: Annotated[int, typer.Option("--size", metavar="N", help="How many reels the lot has.")],
    aql: Aql = None,
    level: Level = None,
    severity: Severity = None,
    method: Method = MethodName.ATTRIBUTES,
    limiting_quality: LimitingQuality = None,
    consumer_risk: ConsumerRisk = None,
    characteristic: Characteristics = None,
    as_json: AsJson = False,
) -> None:
    """Tell what a sampling plan asks for and what it accepts, before it is used.

    By attributes: single sampling of MIL-STD-105E, level II and normal inspection by default. By variables:
    MIL-STD-414. Zero acceptance: the smallest sample of which none may be nonconforming (exact,
    hypergeometric).

    Example: `benchsweep lot plan --size 90 --aql 0.65`

    Example: `benchsweep lot plan --size 90 --method zero-acceptance --limiting-quality 10`
    """
    from benchsweep.qualification import plan_sampling

    asked = PlanAsked(method, level, aql, severity, limiting_quality, consumer_risk, characteristic)
    chosen, curve = plan_sampling(size, **asked.keywords())
    if as_json:
        from benchsweep.qualification import sampling_document

        print_json(sampling_document(chosen, curve))
        return
    from benchsweep.cli._worst_trace import plain_terminal
    from benchsweep.report import sampling_table

    told = sampling_table(chosen, curve, width=table_width(), ascii_only=plain_terminal())
    print_text(told.rstrip("\n"))
