"""Which lots an archive knows: suppliers and products by name, and who drew a reel. For slips of the pen."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence

from benchsweep import archive
from benchsweep.archive.lots import lot_sources, read_history, read_opening
from benchsweep.errors import LotRefused, RecordDamaged
from benchsweep.lots import state_of
from benchsweep.qualification.lots._histories import Root, Unread, telling
from benchsweep.records import LotOpened, LotState

__all__ = ["known_products", "lot_slip", "opening_notes"]

_MOST_NAMED = 8
_LIKE = 0.75
"""A likeness (2 M / T of difflib) from which a name is taken for a slip of another."""


def opening_notes(
    folder: Root, *, supplier: str, product: str, reels: Iterable[str] = (), resubmission: bool = False
) -> tuple[str, ...]:
    """Return what somebody may want to look at once more before a lot is opened, in words.

    That its supplier, or its product from this supplier, had no lot before though one of much the same name
    had: under another spelling the switching rules begin anew. And which of its reels are in the sample of
    another lot of the same supplier and product, unless it is a resubmission, whose reels are those of the
    lot before: it may be the same reel, or one of another delivery with the same number. Neither is kept.

    Raises
    ------
    ArchiveUnreachable, ArchiveError
        The folder of lots cannot be listed, or does not answer. A lot that cannot be read is passed over.
    """
    lots = [opened for _, opened in _openings(folder)]
    notes = () if resubmission else _drawn_elsewhere(folder, supplier, product, frozenset(reels))
    return (*_spellings(lots, supplier, product), *notes)


def _spellings(lots: Sequence[LotOpened], supplier: str, product: str) -> tuple[str, ...]:
    suppliers = dict.fromkeys(opened.supplier for opened in lots)
    if supplier not in suppliers:
        if near := _near(supplier, suppliers):
            return (
                f"no lot of the supplier {supplier} before; known: {_some(near)}. Under another spelling of "
                "its name the switching rules begin anew",
            )
        return ()
    products = dict.fromkeys(opened.product for opened in lots if opened.supplier == supplier)
    if product not in products and (near := _near(product, products)):
        return (
            f"no lot of the product {product} from {supplier} before; known: {_some(near)}. Under another "
            "spelling of its name the switching rules begin anew",
        )
    return ()


def known_products(folder: Root, product: str) -> str:
    """Return the products that lots of an archive are of, in words, those most like `product` first.

    Raises as `opening_notes`.
    """
    known = dict.fromkeys(opened.product for _, opened in _openings(folder))
    near = _near(product, known)
    return _some([*near, *(name for name in sorted(known) if name not in near)])


def lot_slip(folder: Root, lot: str, reel: str) -> str:
    """Return that no lot of a name is in the archive, and which open ones have drawn a reel, in words.

    Empty where the archive has no lots at all: then the name of a lot is nothing but a word.

    Raises as `opening_notes`.
    """
    if archive.local_path(folder) is None:
        return ""
    lots = list(_openings(folder))
    if not lots:
        return ""
    told = f"no lot {lot} was opened in {folder}: the name is kept with the record and nothing else"
    holding = [(source, opened) for source, opened in lots if reel in opened.reels]
    drawn = [state.opened.lot for state in _states(holding) if state.closed is None and reel in state.sample]
    if not drawn:
        return told
    which = "which is open, has" if len(drawn) == 1 else "which are open, have"
    return f"{told}. The lot{'s' if len(drawn) > 1 else ''} {_some(drawn)}, {which} drawn {reel}"


def _drawn_elsewhere(folder: Root, supplier: str, product: str, wanted: frozenset[str]) -> tuple[str, ...]:
    holding = [
        (source, opened)
        for source, opened in _openings(folder)
        if (opened.supplier, opened.product) == (supplier, product) and not wanted.isdisjoint(opened.reels)
    ]
    told = []
    for state in _states(holding):
        drawn = [reel for reel in state.sample if reel in wanted]
        if drawn:
            closed = state.closed
            stands = "open" if closed is None else "accepted" if closed.accepted else "not accepted"
            are = "is a reel" if len(drawn) == 1 else "are reels"
            told.append(f"{_some(drawn)} {are} of the sample of the lot {state.opened.lot}, too ({stands})")
    return tuple(told)


def _openings(folder: Root) -> Iterator[tuple[Root, LotOpened]]:
    unread: Unread = []
    for source in lot_sources(folder):
        with telling(source, unread):
            opened = read_opening(source)
            if opened is not None:
                yield source, opened


def _states(lots: Iterable[tuple[Root, LotOpened]]) -> Iterator[LotState]:
    unread: Unread = []
    for source, _ in lots:
        with telling(source, unread):
            try:
                yield state_of(read_history(source).events)
            except LotRefused as error:
                raise RecordDamaged(f"{source}: {error.message}", hint=error.hint) from error


def _near(name: str, known: Iterable[str]) -> list[str]:
    """Return the names most like another one, whatever is capital in them."""
    folded = {each.casefold(): each for each in known}
    return [folded[each] for each in difflib.get_close_matches(name.casefold(), folded, 3, _LIKE)]


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more
