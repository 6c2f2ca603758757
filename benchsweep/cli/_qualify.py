from __future__ import annotations

from pathlib import Path

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    Against,
    Ambient,
    Archive,
    AsJson,
    CautionsReadBy,
    Disturbing,
    LengthM,
    Lot,
    Operator,
    Quiet,
    SpecimenId,
    StationDecision,
    StationName,
    SwitchAddress,
)
from benchsweep.cli._output import progress_to_stderr
from benchsweep.cli._station import bench_of
from benchsweep.cli._verdicts import print_verdicts

__all__ = ["qualify"]


def qualify(
    station: StationName,
    specimen: SpecimenId,
    against: Against,
    length_m: LengthM = None,
    lot: Lot = "",
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

    Example: `benchsweep qualify --station simulated --specimen cord-2m --against tia-6a-cord --length-m 2`
    """
    from benchsweep.qualification import (
        check_archive,
        check_bundle,
        check_decision_rule,
        check_grid,
        check_length,
        check_specimen,
        choose_requirements,
        parse_ambient,
        told_conditions,
        usable_calibration,
    )
    from benchsweep.qualification import qualify as run

    part = check_specimen(specimen, length_m, lot=lot)
    chosen = choose_requirements(against)
    requirements = chosen.requirements
    check_length(requirements, length_m, by_pattern=chosen.by_pattern)
    check_bundle(requirements, disturbing, by_pattern=chosen.by_pattern)
    readings = parse_ambient(ambient or [])
    # Refused now, not when all has been measured.
    told_conditions(readings.get("temperature_degc"), None, extrapolate_cold=False)
    asked = None if decision is None else check_decision_rule(decision)
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
            by_pattern=chosen.by_pattern,
            disturbing=disturbing,
            ambient=readings,
            afresh=afresh,
            progress=progress,
        )
    raise typer.Exit(print_verdicts([result], as_json=as_json))
