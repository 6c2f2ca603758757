"""What several parts of a report say alike is printed once; the others lead there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TypeAlias

from benchsweep.report.document import Given, Line, Link, Listing, Paragraph, Section, plain
from benchsweep.report.text import Texts

__all__ = ["shared"]

_Known: TypeAlias = "dict[Section, tuple[str, Line]]"
"""Of what was printed already: its anchor, and the title of the part that has it."""


def shared(sections: Sequence[Section], texts: Texts) -> list[Section]:
    """Return parts in which definitions, residuals and standards that are the same stand in the first alone.

    Those of a later part keep their titles, with a link to the first. What has an anchor of its own stays.
    """
    calibration = (texts("calibration.title"),)
    counts = Counter(found for section in sections for found in _candidates(section, calibration))
    known: _Known = {}

    def printed(found: Section, part: Section) -> Section:
        if counts[found] < 2:
            return found
        if found not in known:
            known[found] = (f"shared-{len(known) + 1}", part.title)
            return replace(found, anchor=known[found][0])
        anchor, title = known[found]
        told = texts.line("provenance.same_as", part=Link(anchor, Given(plain(title))))
        return Section(found.title, (Paragraph(told),))

    def changed(part: Section) -> Section:
        return _changed(part, calibration, lambda found: printed(found, part))

    return [changed(section) for section in sections]


def _is_candidate(section: Section, within: Line, calibration: Line) -> bool:
    if section.anchor or not section.folded:
        return False
    return within == calibration or any(isinstance(block, Listing) for block in section.blocks)


def _candidates(section: Section, calibration: Line) -> Iterator[Section]:
    for block in section.blocks:
        if isinstance(block, Section):
            if _is_candidate(block, section.title, calibration):
                yield block
            else:
                yield from _candidates(block, calibration)


def _changed(section: Section, calibration: Line, change: Callable[[Section], Section]) -> Section:
    blocks = tuple(
        block
        if not isinstance(block, Section)
        else change(block)
        if _is_candidate(block, section.title, calibration)
        else _changed(block, calibration, change)
        for block in section.blocks
    )
    return replace(section, blocks=blocks)
