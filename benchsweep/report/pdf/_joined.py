"""What stays on one page with what stands below it."""

from __future__ import annotations

from benchsweep.report.document import Block, Drawn, Facts, Items, Line, Paragraph, Table, plain

__all__ = ["joined_to_next", "length"]

_MOST_LEAD = 1800
"""Characters of words that lead to a chart; more would take its room on the page."""


def length(lines: tuple[Line, ...]) -> int:
    """Return how many characters lines have."""
    return sum(len(plain(one)) for one in lines)


def joined_to_next(blocks: tuple[Block, ...]) -> list[bool]:
    """Return for each block of a section whether no page may end between it and the next one.

    A chart or a table stays with the legends below it. What stands between the title and the first chart or
    table leads to that, and so do words before any other, unless they are legends of what stands above them.
    """
    joined = [False] * len(blocks)
    start = 0
    while start < len(blocks):
        stop = start
        while stop < len(blocks) and isinstance(blocks[stop], Paragraph | Facts | Items):
            stop += 1
        shown = stop < len(blocks) and isinstance(blocks[stop], Drawn | Table)
        lead = start
        if start and isinstance(blocks[start - 1], Drawn | Table):
            while lead < stop and _is_legend(blocks[lead]):
                joined[lead - 1] = True
                lead += 1
        if shown:
            # From below, as far as there is room.
            room = _MOST_LEAD
            for place in range(stop - 1, lead - 1, -1):
                room -= _words(blocks[place])
                if room < 0:
                    break
                joined[place] = True
        start = stop + 1
    return joined


def _is_legend(block: Block) -> bool:
    return isinstance(block, Paragraph) and block.legend


def _words(block: Block) -> int:
    if isinstance(block, Paragraph):
        return length((block.line,))
    if isinstance(block, Items):
        return length(block.lines)
    if isinstance(block, Facts):
        # Each stands on a line of its own, however short.
        return sum(max(length((name, *lines)), 90 * len(lines)) for name, lines in block.entries)
    return 0
