"""Which reels of a lot are to be fetched, in the order of the draw."""

from __future__ import annotations

from benchsweep.records import LotState
from benchsweep.report.document import clean
from benchsweep.report.terminal._lines import NARROWEST, columns, entry, padded, wrapped
from benchsweep.report.terminal._lot_plan import plan_words

__all__ = ["pick_list"]

_SPARES = 5


def pick_list(state: LotState, *, width: int = 80, spares: int = _SPARES) -> str:
    """Return the reels of the sample, a box to tick before each, and what comes next if one cannot be tested.

    Plain text of at most `width` columns, at least 40. Reels that were tested are marked.
    """
    width = max(width, NARROWEST)
    opened = state.opened
    lines: list[str] = []
    for label, text in (
        ("lot", opened.lot),
        ("supplier", opened.supplier),
        ("product", opened.product),
        ("plan", plan_words(state.plan)),
        ("draw", draw_words(state)),
    ):
        lines += entry(label, [text], width)
    lines += ["", *_boxes(state, width)]
    gone = {each.reel for each in state.excluded}
    rest = [reel for reel in state.order if reel not in {*state.sample, *gone}]
    lines.append("")
    if rest:
        numbers = {reel: number for number, reel in enumerate(state.order, start=1)}
        told = ", ".join(f"{clean(reel)} (no. {numbers[reel]})" for reel in rest[:spares])
        more = f", … ({len(rest)} in all)" if len(rest) > spares else ""
        lines += entry("spare", [f"next in the order, for a reel that is excluded: {told}{more}"], width)
    else:
        lines += entry("spare", ["none: every reel of the lot is drawn"], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def draw_words(state: LotState) -> str:
    """Return how the order of the reels came about."""
    by = "given by a person" if state.opened.seed_given else "by chance"
    return f"random order from the seed {state.opened.seed!r} ({by}), by SHA-256 of seed and name"


def _boxes(state: LotState, width: int) -> list[str]:
    """Return boxes to tick in columns that read downwards; each with the place in the draw and the name."""
    digits = len(str(state.drawn[-1][0])) if state.drawn else 1
    gone = {each.reel for each in state.excluded}
    texts = []
    for number, reel in state.drawn:
        added = state.counting.get(reel)
        box = "---" if reel in gone else "[ ]" if added is None else "[x]"
        told = " excluded" if reel in gone else "" if added is None else f" {added.result.outcome.value}"
        texts.append(f"{box} {number:>{digits}} {clean(reel)}{told}")
    widest = max((columns(text) for text in texts), default=0)
    if widest > width:
        return [line for text in texts for line in wrapped(text, width)]
    across = max(1, (width + 3) // (widest + 3))
    down = -(-len(texts) // across)
    return ["   ".join(padded(text, widest) for text in texts[row::down]).rstrip() for row in range(down)]
