"""Where a lot stands, as it is printed after anything that was done to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchsweep.cli._output import print_json, print_text, table_width

if TYPE_CHECKING:
    from benchsweep.qualification import LotView

__all__ = ["print_lot", "status_text"]


def print_lot(view: LotView, *, as_json: bool) -> None:
    """Print where a lot stands."""
    from benchsweep.qualification import lot_document

    if as_json:
        print_json(lot_document(view))
    else:
        print_text(status_text(view))


def status_text(view: LotView) -> str:
    """Return where a lot stands as text."""
    from benchsweep.report import lot_table

    told = lot_table(
        view.state,
        digest=view.digest,
        variables=view.variables,
        inspection=view.inspection,
        doubts=view.doubts,
        width=table_width(),
    )
    return told.rstrip("\n")
