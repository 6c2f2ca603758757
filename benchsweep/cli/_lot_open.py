from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._lot_options import (
    Aql,
    Characteristics,
    ConsumerRisk,
    Level,
    LimitingQuality,
    LotAgainst,
    Method,
    MethodName,
    PlanAsked,
    Product,
    Severity,
    Supplier,
    one_requirement,
)
from benchsweep.cli._options import AsJson, By, Construction, Decision, LotArchive, plain_text
from benchsweep.cli._output import print_json, print_text, say, table_width
from benchsweep.errors import UsageError

__all__ = ["open_"]


def open_(
    lot: Annotated[str, typer.Argument(metavar="LOT", help="What the lot is called; a new name.")],
    supplier: Supplier,
    product: Product,
    reels: Annotated[
        list[str],
        typer.Option(
            "--reels",
            metavar="REELS",
            help="All reels of the lot: a file with a name on each line (# begins a comment line), a range "
            "such as R001..R090, or a name; repeatable.",
        ),
    ],
    against: LotAgainst,
    by: By,
    aql: Aql = None,
    level: Level = None,
    severity: Severity = None,
    method: Method = MethodName.ATTRIBUTES,
    limiting_quality: LimitingQuality = None,
    consumer_risk: ConsumerRisk = None,
    characteristic: Characteristics = None,
    size: Annotated[
        int | None,
        typer.Option("--size", metavar="N", help="How many reels these must be, as a check of --reels."),
    ] = None,
    decision: Decision = "simple",
    construction: Construction = None,
    seed: Annotated[
        str | None,
        typer.Option(
            "--seed",
            metavar="TEXT",
            callback=plain_text,
            help="What the random order is made from; chance by default.",
        ),
    ] = None,
    reason: Annotated[
        str,
        typer.Option(
            "--reason",
            metavar="TEXT",
            callback=plain_text,
            help="Why the severity departs from the switching rules, or the lot is submitted again.",
        ),
    ] = "",
    resubmission_of: Annotated[
        str,
        typer.Option(
            "--resubmission-of",
            metavar="LOT",
            help="The lot that was not accepted and is now sorted or repaired: this one counts for no "
            "switching rule.",
        ),
    ] = "",
    archive: LotArchive = Path("archive"),
    as_json: AsJson = False,
) -> None:
    """Open a lot and draw its sample in random order. The severity follows from the lots before it.

    Normal, tightened or reduced inspection comes from the switching rules over the closed lots of the same
    supplier, product, requirement, AQL and level, unless --severity says otherwise, with a --reason.

    Example: `benchsweep lot open 26-118 --supplier "Tollmoor Wire" --product C6-23 --reels R001..R090
    --against tia-6-cable --aql 0.65 --by "R. Lind"`
    """
    from benchsweep.cli._lot_reels import reels_of
    from benchsweep.qualification import check_decision_rule, lot_document, open_lot, opening_notes

    asked = PlanAsked(method, level, aql, severity, limiting_quality, consumer_risk, characteristic)
    keywords = asked.keywords()
    rule = check_decision_rule(decision)
    requirement = one_requirement(against)
    names = reels_of(reels)
    if size is not None and size != len(names):
        raise UsageError(
            f"--size is {size}, but --reels name {len(names)}",
            hint="Check the list: the sample is drawn from all reels of the lot.",
        )
    notes = opening_notes(
        archive, supplier=supplier, product=product, reels=names, resubmission=bool(resubmission_of)
    )
    view = open_lot(
        archive,
        lot,
        supplier=supplier,
        product=product,
        reels=names,
        requirement=requirement,
        decision_rule=rule,
        construction=construction or "",
        by=by,
        seed=seed,
        reason=reason,
        resubmission_of=resubmission_of,
        **keywords,
    )
    if as_json:
        print_json(lot_document(view))
        for words in notes:
            say(f"note: {words}")
        return
    from benchsweep.report import pick_list

    print_text(pick_list(view.state, width=table_width()).rstrip("\n"))
    for words in (*notes, *view.doubts):
        say(f"note: {words}")
    say(f"opened: {view.path}")
