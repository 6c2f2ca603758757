from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    Ambient,
    Archive,
    AsJson,
    CautionsReadBy,
    Disturbing,
    LengthM,
    Lot,
    Operator,
    ProductName,
    Quiet,
    SpecimenId,
    StationDecision,
    StationName,
    SwitchAddress,
    plain_text,
    requirement_names,
)
from benchsweep.cli._output import progress_to_stderr
from benchsweep.cli._qualify_lot import requirements_asked, run_for_lot, tell_lot
from benchsweep.cli._station import bench_of
from benchsweep.cli._verdicts import print_verdicts

__all__ = ["qualify"]


def qualify(
    station: StationName,
    specimen: SpecimenId,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            autocompletion=requirement_names,
            help="Requirement to grade against, or a quoted pattern of names such as 'tia-*-cord'; may be "
            "given several times (see `benchsweep limits list`). A reel of a lot is graded against that of "
            "the lot, too.",
        ),
    ] = None,
    length_m: LengthM = None,
    lot: Lot = "",
    product: ProductName = "",
    retest: Annotated[
        str,
        typer.Option(
            "--retest",
            metavar="REASON",
            callback=plain_text,
            help="Of a reel of a lot: why its earlier result does not count any more.",
        ),
    ] = "",
    disturbing: Disturbing = None,
    ambient: Ambient = None,
    address: Address = None,
    switch_address: SwitchAddress = None,
    archive: Archive = Path("archive"),
    operator: Operator = "",
    cautions_read_by: CautionsReadBy = None,
    decision: StationDecision = None,
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Measure a specimen, archive the raw sweeps, grade it. The same command continues an interrupted run.

    The verdicts are kept in the archive, too, with the text of the requirements: `show` tells them.

    Of a bundle of cables the one in the middle is the specimen; with --disturbing the others are attached
    one after the other, and limits of alien crosstalk can be graded.

    --ambient readings are kept in the record, over an interruption too; `temperature_degc` is that of the
    specimen where a requirement goes by it.

    With the --lot of a lot of the archive (`benchsweep lot open`) the specimen must be a reel of its sample:
    it is graded as the lot asks for and becomes the result of that reel. Any other --lot is kept as a word.

    Example: `benchsweep qualify --station simulated --specimen cord-2m --against tia-6a-cord --length-m 2`
    """
    from benchsweep.qualification import (
        check_archive,
        check_bundle,
        check_decision_rule,
        check_grid,
        check_length,
        check_specimen,
        parse_ambient,
        told_conditions,
        usable_calibration,
    )
    from benchsweep.qualification import qualify as run

    part = check_specimen(specimen, length_m, lot=lot, product=product)
    readings = parse_ambient(ambient or [])
    asked = None if decision is None else check_decision_rule(decision)
    reel = run_for_lot(archive, part, readings, by=operator, retest=retest, station=station, afresh=afresh)
    requirements, by_pattern = requirements_asked(against or [], reel, asked)
    if reel is not None:
        part, asked = replace(part, product=reel.product), reel.decision_rule
    check_length(requirements, length_m, by_pattern=by_pattern)
    check_bundle(requirements, disturbing, by_pattern=by_pattern)
    # Refused now, not when all has been measured.
    told_conditions(readings.get("temperature_degc"), None, extrapolate_cold=False)
    check_archive(archive)
    progress = progress_to_stderr(quiet)
    with bench_of(
        station,
        address,
        specimen=specimen,
        progress=progress,
        operator=operator,
        cautions_read_by=cautions_read_by,
        switch_address=switch_address,
        bundle=disturbing is not None,
    ) as bench:
        for words in check_grid(bench, requirements, length_m):
            progress(f"note: {words}")
        solved = usable_calibration(bench, folder=None, progress=progress)
        result = run(
            bench,
            part,
            requirements,
            solved=solved,
            folder=archive,
            operator=operator,
            decision_rule=asked or check_decision_rule(bench.station.decision.words),
            conditions=None if reel is None else reel.conditions,
            by_pattern=by_pattern,
            disturbing=disturbing,
            ambient=readings,
            afresh=afresh,
            then=(lambda _: None) if reel is None else reel.add,
            progress=progress,
        )
    if reel is not None and not quiet:
        tell_lot(archive, lot)
    raise typer.Exit(print_verdicts([result], as_json=as_json))
