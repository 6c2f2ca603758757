"""What every printed document has: number, running head, end, the words of the page."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.report.document import Block, Document, Given, Line, Paragraph, Section, Strong, line
from benchsweep.report.text import Texts

__all__ = ["printed", "safety_section"]

_CONTROLS = "controls."


def printed(
    title: Line,
    blocks: Sequence[Block],
    texts: Texts,
    *,
    number: str,
    laboratory: str = "",
    simulated: str = "",
    end: str = "",
) -> Document:
    """Return a document.

    Parameters
    ----------
    title, blocks
        Its heading, and what is in it.
    number
        What identifies it.
    laboratory
        Stands at the head of each page; may be empty.
    simulated
        That it is practice, in words; stands there too.
    end
        The words that mark its end; empty: those of a report.
    """
    named: Line = (Given(laboratory),) if laboratory else ()
    running = line(named, ", " if named and simulated else "", Strong(simulated) if simulated else "")
    return Document(
        title=title,
        number=number,
        language=texts.language,
        blocks=tuple(blocks),
        running=running,
        end=end or texts("document.end", number=number),
        page_words=texts("document.page", page="{page}", pages="{pages}"),
        controls={
            key.removeprefix(_CONTROLS): texts(f"controls.{key.removeprefix(_CONTROLS)}")
            for key in texts.entries
            if key.startswith(_CONTROLS)
        },
    )


def safety_section(texts: Texts) -> Section:
    """Return what must be heeded before anything is touched."""
    return Section((texts("document.safety"),), (Paragraph((texts("document.safety_words"),)),))
