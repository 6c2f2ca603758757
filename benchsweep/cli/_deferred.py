"""Groups of commands that are read when one of them is asked for: the rest starts sooner without them."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_group

__all__ = ["deferred"]


def deferred(file: str, words: str) -> typer.Typer:
    """Return the group whose commands are those of ``app`` in the file `file` of this folder.

    Parameters
    ----------
    file
        Its name without the ending.
    words
        What the help says of the group; the file is not read for it.
    """

    @cache
    def read() -> TyperGroup:
        return get_group(import_module(f"benchsweep.cli.{file}").app)

    class Deferred(TyperGroup):
        def list_commands(self, *context: Any) -> list[str]:
            self.commands = read().commands
            return super().list_commands(*context)

        def get_command(self, *context: Any) -> Any:
            self.commands = read().commands
            return super().get_command(*context)

    return typer.Typer(cls=Deferred, help=words, no_args_is_help=True)
