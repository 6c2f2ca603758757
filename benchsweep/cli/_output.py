"""What goes to stdout (the result) and to stderr (everything else)."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import typer

__all__ = ["ask_person", "print_json", "print_text", "progress_to_stderr"]

_COLOURS = {
    "pass": "green",
    "conditional-pass": "green",
    "conditional-fail": "red",
    "fail": "red",
    "undecided": "yellow",
}


def print_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> None:
    """Print a result document on stdout. Infinities were taken out before: they are not JSON."""
    typer.echo(json.dumps(document, indent=2, allow_nan=False))


def print_text(text: str) -> None:
    """Print a table on stdout, outcome words coloured where the terminal has colours (NO_COLOR obeyed)."""
    if not sys.stdout.isatty():
        typer.echo(text)
        return
    from rich.console import Console
    from rich.text import Text

    coloured = Text(text)
    for word, colour in _COLOURS.items():
        coloured.highlight_regex(rf"(?<![\w-]){word}(?![\w-])", f"bold {colour}")
    Console(highlight=False, soft_wrap=True).print(coloured)


def progress_to_stderr(quiet: bool) -> Callable[[str], None]:
    """Return a callable that writes one line per step on stderr, or nothing."""

    def say(line: str) -> None:
        if not quiet:
            sys.stderr.write(line + "\n")
            sys.stderr.flush()

    return say


def ask_person() -> Callable[[str], None] | None:
    """Return a callable that shows words and waits for the Enter key; None without a terminal."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None

    def ask(words: str) -> None:
        sys.stderr.write(f"\n{words}\n  Done? Press Enter (Ctrl-C stops; the same command continues later): ")
        sys.stderr.flush()
        if not sys.stdin.readline():
            raise KeyboardInterrupt

    return ask
