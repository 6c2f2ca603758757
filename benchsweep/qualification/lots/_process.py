"""One product over its lots: margins of reels in time order, control charts, capability."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal, get_args

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.qualification._afterwards import Afterwards
from benchsweep.qualification.lots._histories import Root, Unread, no_collections
from benchsweep.qualification.lots._known import known_products
from benchsweep.qualification.lots._skim import SkimmedReel, skimmed_reels
from benchsweep.qualification.lots._usable import usable
from benchsweep.records import (
    Capability,
    ControlChart,
    End,
    Normality,
    Parameter,
    ProcessView,
    ToleranceLimits,
)
from benchsweep.statistics.process import (
    capability,
    normality,
    process_charts,
    tolerance_limits,
)

__all__ = ["Ends", "process_views"]

Ends = Literal["worst", "A", "B", "both"]

_CONTENT, _CONFIDENCE = 0.99, 0.95
_SHOWN = 5
_ENDS: tuple[End, ...] = ("A", "B")


def process_views(
    folder: Root,
    *,
    product: str,
    supplier: str = "",
    requirement: str = "",
    parameters: Sequence[Parameter] = (),
    ends: Ends = "worst",
    baseline: int | None = None,
) -> tuple[ProcessView, ...]:
    """Return the margins of a product over its lots, with charts and capability.

    They come from the histories of lots alone: the results that count of first submissions, open lots too, in
    the order in which they were measured. Resubmitted lots are left out: what was sorted says nothing of the
    process. A reel whose record was withdrawn is left out, and a record that counts in two lots is taken
    once, of the lot that was opened first; notes name them.

    Parameters
    ----------
    supplier, requirement
        Only of lots of this supplier, against this requirement; empty: suppliers are taken together, each
        requirement by itself, since margins to different limits are not of one kind.
    parameters
        Which; empty: all that were graded.
    ends
        ``worst``: the worst margin of both ends of a reel; one of them; or ``both``, each by itself.
    baseline
        So many of the first reels set centre and limits of the charts; None: all. Charts of lots take the
        lots that lie wholly within them.

    Raises
    ------
    UsageError
        No lot of this kind has a result; ends that are none; a baseline of fewer than two reels, or of more
        than a parameter has margins of.
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        A history cannot be read.
    """
    if ends not in get_args(Ends):
        raise UsageError(f"no ends named {ends!r}", hint=f"There are: {', '.join(get_args(Ends))}.")
    if baseline is not None and baseline < 2:
        raise UsageError(f"a baseline of {baseline} reels", hint="Centre and limits need two reels or more.")
    found, noted = _reels(folder, product, supplier, requirement)
    views: list[ProcessView] = []
    for against, reels in sorted(found.items()):
        for parameter, end in _wanted(reels, tuple(parameters), ends):
            views.append(_view(product, supplier, against, parameter, end, reels, baseline, noted[against]))
    if not views:
        of = product + (f" of {supplier}" if supplier else "")
        of += f" against {requirement}" if requirement else ""
        which = f" with a margin of {' or '.join(parameters)}" if parameters and found else ""
        raise UsageError(
            f"{folder}: no lot of {of} has a result{which}{_and(noted)}",
            hint=f"Products there: {products}."
            if (products := _other_products(folder, product))
            else "`benchsweep lot list` tells which lots there are.",
        )
    return tuple(views)


def _unread_words(unread: Unread) -> Iterator[str]:
    """Yield which lots are left out, for nobody can read them."""
    if unread:
        names = "; ".join(error.message for _, error in unread[:_SHOWN])
        more = f" and {len(unread) - _SHOWN} more" if len(unread) > _SHOWN else ""
        yield f"left out, for their histories cannot be read: {names}{more}"


def _other_products(folder: Root, product: str) -> str:
    """Return the products that there are, where the one that is asked for is none of them."""
    products = known_products(folder, product)
    return "" if product in products.split(", ") else products


def _and(noted: Mapping[str, Sequence[str]]) -> str:
    told = "; ".join(words for each in noted.values() for words in each)
    return f" that can be taken: {told}" if told else ""


def _reels(
    folder: Root, product: str, supplier: str, requirement: str
) -> tuple[dict[str, list[SkimmedReel]], dict[str, tuple[str, ...]]]:
    """Return requirement -> reels with a result, in the order in which they were measured, and notes on them.

    Requirements of which no reel is left have notes alone.
    """
    found: dict[str, list[SkimmedReel]] = {}
    unread: Unread = []
    chosen = skimmed_reels(
        folder,
        lambda opened: (
            opened.product == product
            and supplier in ("", opened.supplier)
            and requirement in ("", opened.requirement)
            and not opened.resubmission_of
        ),
        unread,
    )
    with no_collections():
        for each in chosen:
            found.setdefault(each.requirement, []).append(each)
    if unread and not found:
        raise unread[0][1]
    notes: dict[str, tuple[str, ...]] = {}
    afterwards = Afterwards(folder)
    for against in list(found):
        reels, told = usable(found[against], afterwards)
        notes[against] = (*_unread_words(unread), *told)
        if reels:
            found[against] = sorted(
                reels, key=lambda each: (each.measured_at, each.opened_at, each.lot, each.reel)
            )
        else:
            del found[against]
    return found, notes


def _wanted(
    reels: Sequence[SkimmedReel], parameters: tuple[Parameter, ...], ends: Ends
) -> Iterator[tuple[Parameter, End | None]]:
    """Yield parameters and ends that there are margins of, parameters in their usual order."""
    known: dict[str, set[str | None]] = {}
    for parameter, end in {key for each in reels for key in each.worst}:
        known.setdefault(parameter, set()).add(end)
    for parameter in Parameter:
        there = known.get(parameter.value)
        if there is None or (parameters and parameter not in parameters):
            continue
        if ends == "worst" or there == {None}:
            yield parameter, None
        elif ends == "both":
            yield from ((parameter, end) for end in _ENDS if end in there)
        elif ends in there:
            yield parameter, ends


def _view(
    product: str,
    supplier: str,
    requirement: str,
    parameter: Parameter,
    end: End | None,
    reels: Sequence[SkimmedReel],
    baseline: int | None,
    noted: Sequence[str],
) -> ProcessView:
    notes = list(noted)
    suppliers = sorted({each.supplier for each in reels})
    if len(suppliers) > 1:
        notes.append(f"reels of {len(suppliers)} suppliers taken together: {', '.join(suppliers)}")
    elif suppliers:
        supplier = suppliers[0]
    used: list[SkimmedReel] = []
    margins: list[float] = []
    without: list[str] = []
    for each in reels:
        margin = each.worst.get((parameter.value, end))
        if margin is None or not math.isfinite(margin):
            without.append(each.reel)
        else:
            used.append(each)
            margins.append(margin)
    if without:
        shown = ", ".join(without[:_SHOWN]) + (" …" if len(without) > _SHOWN else "")
        notes.append(f"left out, for they have no finite margin: {len(without)} reels ({shown})")
    if baseline is not None and baseline > len(used):
        at = "" if end is None else f" at end {end}"
        raise UsageError(
            f"a baseline of {baseline} reels, but there are {len(used)} with a margin of {parameter}{at} "
            f"against {requirement}",
            hint=f"Give {len(used)} or fewer, or leave it out: then all reels set centre and limits.",
        )
    charts = _charts(used, margins, baseline, notes)
    return ProcessView(
        product=product,
        supplier=supplier,
        requirement=requirement,
        parameter=parameter,
        end=end,
        unit=parameter.unit,
        lots=tuple(each.lot for each in used),
        reels=tuple(each.reel for each in used),
        measured_at=tuple(each.measured_at for each in used),
        margin=np.array(margins, dtype=np.float64),
        charts=charts,
        capability=_capability(margins, notes),
        tolerance=_tolerance(margins),
        normality=_normality(margins, notes),
        notes=tuple(notes),
        records=tuple(each.path for each in used),
    )


def _charts(
    reels: Sequence[SkimmedReel], margins: list[float], baseline: int | None, notes: list[str]
) -> tuple[ControlChart, ...]:
    """Return the charts of reels, then those of lots; what cannot be charted is told in the notes."""
    if not reels:
        return ()
    places: dict[str, list[int]] = {}
    for place, each in enumerate(reels):
        places.setdefault(each.lot, []).append(place)
    labels = _labels(reels)
    charts, told = process_charts(
        [[margins[place] for place in inside] for inside in places.values()],
        tuple(places),
        [[labels[place] for place in inside] for inside in places.values()],
        baseline=baseline,
        order=np.argsort([place for inside in places.values() for place in inside]).tolist(),
    )
    notes.extend(told)
    return charts


def _labels(reels: Sequence[SkimmedReel]) -> list[str]:
    """Return the names of the reels, with the lot before those that another lot has, too."""
    names = [each.reel for each in reels]
    if len(set(names)) == len(names):
        return names
    return [f"{each.lot}/{each.reel}" for each in reels]


def _capability(margins: list[float], notes: list[str]) -> Capability | None:
    try:
        return capability(margins, confidence=_CONFIDENCE)
    except UsageError as error:
        notes.append(f"no capability: {error.message}")
        return None


def _tolerance(margins: list[float]) -> tuple[ToleranceLimits, ...]:
    found: list[ToleranceLimits] = []
    for method in ("normal", "distribution-free"):
        try:
            found.append(
                tolerance_limits(
                    margins, content=_CONTENT, confidence=_CONFIDENCE, sides="lower", method=method
                )
            )
        except UsageError:  # too few; the capability tells of that
            continue
    return tuple(found)


def _normality(margins: list[float], notes: list[str]) -> Normality | None:
    if len(margins) < 2:
        return None
    found = normality(margins)
    if found.doubtful:
        notes.append(f"capability and tolerance limits hold for normal margins alone: {found.words}")
    return found
