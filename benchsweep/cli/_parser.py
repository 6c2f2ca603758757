"""The outermost group of commands: what the parser of options says of a command line is cleaned, too."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from typer.core import TyperGroup

from benchsweep.cli._output import harmless

__all__ = ["Root"]


class Root(TyperGroup):
    """A group whose usage errors quote arguments, such as the file names that ``*`` gives, harmlessly."""

    def make_context(self, *arguments: Any, **named: Any) -> Any:
        with _cleaned():
            return super().make_context(*arguments, **named)

    def invoke(self, *arguments: Any, **named: Any) -> Any:
        with _cleaned():  # the commands below read their arguments here
            return super().invoke(*arguments, **named)


@contextmanager
def _cleaned() -> Iterator[None]:
    """Let an error of the parser, told by its `format_message`, be without what acts on a terminal."""
    try:
        yield
    except Exception as error:
        told: Any = error
        if hasattr(told, "format_message"):
            # A list of choices has lines of its own; the frame around them shows that they belong here.
            lines = told.format_message().replace("\t", "  ").split("\n")
            text = "\n".join(map(harmless, lines))
            told.format_message = lambda: text
        raise
