from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

import typer

from benchsweep.cli._options import (
    Address,
    Afresh,
    AsJson,
    CautionsReadBy,
    Operator,
    Quiet,
    StationName,
    SwitchAddress,
)
from benchsweep.cli._output import print_json, print_lines, progress_to_stderr
from benchsweep.cli._station import bench_of
from benchsweep.errors import UsageError

__all__ = ["verify"]

_REFUSED = 5


def _artefacts(incomplete: str) -> list[str]:
    from benchsweep.definitions import list_definitions

    return [name for name in list_definitions("checks") if name.startswith(incomplete)]


def verify(
    station: StationName,
    artefact: Annotated[
        list[str] | None,
        typer.Option(
            "--artefact",
            metavar="NAME",
            autocompletion=_artefacts,
            help="Check standard to measure; may be given several times. The station's own by default.",
        ),
    ] = None,
    renewed: Annotated[
        list[str] | None,
        typer.Option(
            "--renewed",
            metavar="PORT",
            help="The contacts of this fixture port (a number, or all) were renewed: count matings anew. "
            "Nothing is measured.",
        ),
    ] = None,
    history: Annotated[
        bool,
        typer.Option("--history", help="Show earlier verifications and matings; nothing is measured."),
    ] = False,
    address: Address = None,
    switch_address: SwitchAddress = None,
    operator: Operator = "",
    cautions_read_by: CautionsReadBy = None,
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Verify the calibration with check standards, look for drift, decide whether it may be used.

    Exit code 0: use it (warnings are told); 5: refused, with the reason. The rules are those of the station
    file, under [verification] and [wear].

    Example: `benchsweep verify --station simulated --artefact pad --artefact mismatch-75`
    """
    if renewed or history:
        if artefact or (renewed and history):
            raise UsageError(
                "--renewed, --history and --artefact exclude each other", hint="Give one of them at a time."
            )
        _without_measuring(station, renewed or [], as_json=as_json)
        return
    from benchsweep.calibration.verification import load_artefact
    from benchsweep.qualification import usable_calibration, verification_document
    from benchsweep.qualification import verify as run

    for name in artefact or ():
        load_artefact(name)  # a typo must not show after the standards
    progress = progress_to_stderr(quiet)
    with bench_of(
        station,
        address,
        progress=progress,
        operator=operator,
        cautions_read_by=cautions_read_by,
        switch_address=switch_address,
    ) as bench:
        solved = usable_calibration(bench, folder=None, progress=progress, verified=False)
        found = run(bench, solved=solved, artefacts=artefact or (), afresh=afresh, progress=progress)
    document = verification_document(found)
    if as_json:
        print_json(document)
    else:
        print_lines(_lines(document))
    if found.decision == "refuse":
        raise typer.Exit(_REFUSED)


def _without_measuring(station: str, renewed: Sequence[str], *, as_json: bool) -> None:
    from benchsweep.qualification import history_document, load_station, matings_document, renew

    loaded = load_station(station)
    if renewed:
        renew(loaded, renewed)
        document = matings_document(loaded)
        if as_json:
            print_json(document)
        else:
            print_lines(_mating_lines(document))
        return
    document, matings = history_document(loaded), matings_document(loaded)
    if as_json:
        print_json({**document, "matings": matings})
    else:
        print_lines([*_history_lines(document), *_mating_lines(matings)])


def _lines(document: Mapping[str, Any]) -> list[str]:
    calibration = document["calibration"]
    lines = [
        f"decision     {document['decision']}",
        *_listed("because", [one["words"] for one in document["findings"]]),
        *_listed("warning", document["warnings"]),
        f"calibration  {calibration['created_at']}, kit {calibration['kit']}, "
        f"{calibration['age_hours']:.1f} h old",
        *_drift_lines(document),
        *_comparison_lines(document),
    ]
    if document["residuals"]:
        worst = max(document["residuals"], key=lambda one: one["directivity_db"])
        match = max(one["source_match_db"] for one in document["residuals"])
        lines.append(
            f"lines        residual directivity {worst['directivity_db']:.1f} dB at worst (port "
            f"{worst['port']}), source match {match:.1f} dB; they cannot show less than "
            f"{worst['line_floor_db']:.1f} dB"
        )
    judged = [one for one in document["followed"] if one["basis"] == "history"]
    if judged:
        outside = sum(not one["within"] for one in judged)
        lines.append(
            f"history      {outside} of {len(judged)} values outside the limits of earlier verifications"
        )
    return lines


def _listed(head: str, words: Sequence[str]) -> list[str]:
    return [f"{head if number == 0 else '':<13}{text}" for number, text in enumerate(words)]


def _drift_lines(document: Mapping[str, Any]) -> list[str]:
    lines = []
    if document["loads"]:
        worst = max(document["loads"], key=lambda one: one["difference_db"])
        lines.append(
            f"load         comes back within {worst['difference_db']:.1f} dB (worst at port {worst['port']})"
        )
    drift = document["drift"]
    if drift is not None:
        lines.append(
            f"thrus        all together {drift['gain_db']:+.4f} dB (± {drift['gain_uncertainty_db']:.4f}), "
            f"{drift['delay_ps']:+.2f} ps (± {drift['delay_uncertainty_ps']:.2f}) since the calibration"
        )
    return lines


def _comparison_lines(document: Mapping[str, Any]) -> list[str]:
    worst: dict[tuple[str, tuple[int, ...]], Mapping[str, Any]] = {}
    for one in document["comparisons"]:
        key = one["artefact"], tuple(one["places"])
        if key not in worst or one["ratio"] > worst[key]["ratio"]:
            worst[key] = one
    if not worst:
        return []
    lines = [
        "E = difference / uncertainty of both; among so many values compared the largest may reach "
        f"{document['largest_ratio_allowed']:.2f} by chance. Uncertainty of the bench from the "
        f"{document['uncertainty_from']}",
        f"{'artefact':<14}{'places':<8}{'worst S-parameter':<30}{'MHz':>9}{'off dB':>9}{'U dB':>8}{'E':>7}",
    ]
    for (name, places), one in worst.items():
        both = 10.0 ** (one["artefact_uncertainty_db"] / 10.0) + 10.0 ** (one["bench_uncertainty_db"] / 10.0)
        lines.append(
            f"{name:<14}{','.join(map(str, places)):<8}"
            f"{one['kind'] + ' ' + one['out'] + ' from ' + one['into']:<30}{one['frequency_hz'] / 1e6:>9.4g}"
            f"{one['difference_db']:>9.1f}{_level(both):>8.1f}{one['ratio']:>7.2f}"
        )
    return lines


def _level(power: float) -> float:
    import math

    return 10.0 * math.log10(max(power, 1e-40))


def _history_lines(document: Mapping[str, Any]) -> list[str]:
    entries = document["verifications"]
    if not entries:
        return [f"no verification of station {document['station']} yet"]
    lines = [f"{len(entries)} verification{'s' if len(entries) > 1 else ''} in {document['file']}"]
    lines += [f"{one['at']}  {one['words']}" for one in entries]
    series = document["series"]
    if series:
        lines += [
            "By how much a check standard reads too large (negative: too small), in 1/10000 of a wave,",
            "averaged over the low, middle and high third of the sweep:",
            f"{'value':<48}{'last':>9}{'low':>9}{'high':>9}  limits from",
        ]
    for one in series:
        signal = "  moving average has left its limits" if one["ewma_signals"] else ""
        last, low, high = (1e4 * value for value in (one["values"][-1], one["low"], one["high"]))
        lines.append(f"{one['name']:<48}{last:>9.2f}{low:>9.2f}{high:>9.2f}  {one['basis']}{signal}")
    return lines


def _mating_lines(document: Mapping[str, Any]) -> list[str]:
    lines = [
        f"matings of fixture {document['fixture']} (warning at {document['warn_at']}, stop at "
        f"{document['stop_at']})"
    ]
    used = [one for one in document["ports"] if one["matings"] or one["renewed_at"]]
    for one in used:
        since = f", renewed {one['renewed_at']}" if one["renewed_at"] else ""
        lines.append(f"  port {one['port']:<4}{one['matings']:>6}{since}")
    return lines if used else [*lines, "  none counted yet"]
