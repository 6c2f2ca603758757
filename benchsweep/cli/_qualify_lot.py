"""What `benchsweep qualify` does differently for a reel of a lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchsweep.cli._output import say
from benchsweep.errors import BenchsweepError, UsageError

if TYPE_CHECKING:
    from benchsweep.limits import Requirement
    from benchsweep.qualification import LotRun
    from benchsweep.records import Specimen

__all__ = ["requirements_asked", "run_for_lot", "tell_lot"]


def run_for_lot(
    archive: Path,
    part: Specimen,
    readings: Mapping[str, float],
    *,
    by: str,
    retest: str,
    station: str,
    afresh: bool,
) -> LotRun | None:
    """Return how a specimen is measured for its lot; None where it has none that was opened.

    Raises
    ------
    LotRefused, UsageError, ArchiveError
        Whatever would refuse the record in the end.
    """
    if not part.lot and not retest:
        return None
    from benchsweep.qualification import load_station, lot_run

    reel = lot_run(
        archive,
        part.lot,
        part.identifier,
        product=part.product,
        length_m=part.length_m,
        temperature_degc=readings.get("temperature_degc"),
        by=by,
        retest_reason=retest,
        station="" if afresh else load_station(station).name,
    )
    if reel is None:
        _tell_slip(archive, part.lot, part.identifier)
    return reel


def _tell_slip(archive: Path, lot: str, reel: str) -> None:
    """Say that no lot of this name is open, where there are lots; it may well be nothing but a word."""
    from benchsweep.qualification import lot_slip

    try:
        told = lot_slip(archive, lot, reel)
    except BenchsweepError as error:
        told = f"no lot {lot} was opened; whether another one drew {reel} is not known: {error.message}"
    if told:
        say(f"note: {told}")


def requirements_asked(
    against: Sequence[str], reel: LotRun | None, asked: str | None
) -> tuple[tuple[Requirement, ...], frozenset[str]]:
    """Return what to grade against, that of the lot first, and the names that only a pattern chose.

    Raises
    ------
    UsageError
        Nothing is named, or another decision rule than that of the lot.
    """
    from benchsweep.qualification import choose_requirements

    chosen = choose_requirements(against)
    if reel is None:
        if not against:
            raise UsageError(
                "nothing is named to grade against",
                hint="Give --against a requirement, or --lot a lot that was opened in the archive.",
            )
        return chosen.requirements, chosen.by_pattern
    if asked not in (None, reel.decision_rule):
        raise UsageError(
            f"the lot {reel.lot} is graded by {reel.decision_rule}, not by {asked}",
            hint="Leave --decision out.",
        )
    own = reel.requirement
    others = tuple(each for each in chosen.requirements if each.name != own.name)
    return (own, *others), chosen.by_pattern - {own.name}


def tell_lot(archive: Path, lot: str) -> None:
    """Say how far the sample of a lot is tested."""
    from benchsweep.qualification import read_lot

    state = read_lot(archive, lot).state
    say(f"lot {lot}: {len(state.sample) - len(state.missing)} of {len(state.sample)} reels tested")
