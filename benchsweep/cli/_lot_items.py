"""A lot as its report needs it: the history, the traces of its records, the product up to now."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchsweep.errors import LotRefused, UsageError

if TYPE_CHECKING:
    from benchsweep.qualification import LotTraces, LotView
    from benchsweep.records import ProcessView
    from benchsweep.report import LotItem

__all__ = ["lot_item"]


def lot_item(view: LotView, *, progress: Callable[[str], None]) -> LotItem:
    """Return what is reported of a lot.

    Where the requirement has another text by now and nothing keeps the old one, traces and limits are left
    out, and that is said.

    Parameters
    ----------
    progress
        Told what is being done.

    Raises
    ------
    ArchiveError, ArchiveLocked, ArchiveUnreachable, RecordDamaged, RecordNewer
        A grading or the history of a lot of the same product cannot be read.
    """
    from benchsweep.qualification import LotTraces, corrections_told, curve_of, lot_traces
    from benchsweep.report import LotItem

    progress("reading the records")
    try:
        traces = lot_traces(view)
    except LotRefused as error:
        traces = LotTraces({}, {}, (f"no traces are drawn: {error.message}",))
    return LotItem(
        state=view.state,
        curve=curve_of(view.state.plan),
        digest=view.digest,
        traces=traces.reels,
        limits=traces.limits,
        views=_views(view),
        inspection=view.inspection,
        doubts=tuple(dict.fromkeys((*view.doubts, *traces.notes))),
        variables=view.variables,
        corrections=corrections_told(view.state),
        simulated=traces.simulated,
        software=_software(traces),
    )


def _views(view: LotView) -> tuple[ProcessView, ...]:
    """Return the product over its lots; nothing where no reel of a first submission is known."""
    from benchsweep.qualification import process_views

    opened = view.state.opened
    if not view.state.counting:
        return ()
    try:
        return process_views(
            view.folder, product=opened.product, supplier=opened.supplier, requirement=opened.requirement
        )
    except UsageError:  # a lot that was sorted, the first of its product here
        return ()


def _software(traces: LotTraces) -> dict[str, str]:
    """Return package -> the versions that took part in any record."""
    found: dict[str, list[str]] = {}
    for software in traces.software:
        for name, version in software.items():
            found.setdefault(name, []).append(version)
    return {name: ", ".join(dict.fromkeys(versions)) for name, versions in found.items()}
