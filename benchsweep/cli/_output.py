"""What goes to stdout (the result) and to stderr (everything else).

Text holds names from people, files and instruments, which are never trusted. All of it is cleaned here, where
it is printed: a control or direction character shows as a question mark, so that no name can act on the
terminal or look like another. JSON is exact: it spells such characters out.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Any

from benchsweep.errors import UsageError

__all__ = [
    "ask_person",
    "counted",
    "harmless",
    "person_is_there",
    "print_json",
    "print_lines",
    "print_text",
    "progress_to_stderr",
    "read_line",
    "say",
    "say_wrapped",
    "silence",
    "table_width",
]

_COLOURS = {
    "pass": "green",
    "conditional-pass": "green",
    "conditional-fail": "red",
    "fail": "red",
    "undecided": "yellow",
}
_BREAKS = re.compile(r"[\r\n\t]+")
_PIPED_WIDTH = 80
_WIDEST = 100


def table_width() -> int:
    """Return how wide a table may be: the terminal, within reason; 80 columns where there is none."""
    if not _is_terminal(sys.stdout):
        return _PIPED_WIDTH
    return min(shutil.get_terminal_size((_PIPED_WIDTH, 24)).columns, _WIDEST)


def print_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> None:
    """Print a result document on stdout. Infinities were taken out before: they are not JSON."""
    _write(json.dumps(document, indent=2, allow_nan=False) + "\n")


def print_text(text: str) -> None:
    """Print a table on stdout, outcome words coloured where the terminal has colours (NO_COLOR obeyed).

    What does not belong on a terminal is taken out; the line breaks of the table stay.
    """
    print_lines(text.split("\n"))


def print_lines(lines: Iterable[str]) -> None:
    """Print lines on stdout as `print_text` does; a line break within one cannot begin another."""
    text = "\n".join(map(harmless, lines)) + "\n"
    _write(_coloured(text) if _is_terminal(sys.stdout) else text)


def harmless(line: str) -> str:
    """Return a line in which nothing acts on a terminal."""
    if line.isascii() and line.isprintable():
        return line  # nearly always; the report's own rule need not be read
    from benchsweep.report.document import clean

    return clean(line)


def _coloured(text: str) -> str:
    from rich.console import Console
    from rich.text import Text

    coloured = Text(text)
    for word, colour in _COLOURS.items():
        coloured.highlight_regex(rf"(?<![\w-]){word}(?![\w-])", f"bold {colour}")
    console = Console(highlight=False, soft_wrap=True)
    with console.capture() as captured:
        console.print(coloured, end="")
    return captured.get()


def _write(text: str) -> None:
    """Write to stdout; a reader that went away (`| head`) changes neither the outcome nor the exit code.

    Raises
    ------
    UsageError
        stdout cannot take the result, for example because a disc is full.
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        silence(1)
    except OSError as error:
        # Nothing more may be tried at exit, or Python would add an error of its own.
        silence(1)
        raise UsageError(
            f"the result cannot be written to standard output: {error.strerror or error}",
            hint="Send it somewhere else; what was archived is kept.",
        ) from error


def counted(count: int, what: str, many: str = "") -> str:
    """Return ``1 record``, ``2 records``; `many` where the plural takes more than an s."""
    return f"{count} {what if count == 1 else many or f'{what}s'}"


def progress_to_stderr(quiet: bool) -> Callable[[str], None]:
    """Return a callable that writes one line per step on stderr, or nothing."""
    return _nothing if quiet else say


def _nothing(_: str) -> None:
    return None


def say(line: str) -> None:
    """Write a line on stderr; where nobody reads it any more (`2>&1 | head`) the work goes on in silence.

    What does not belong on a terminal is taken out. A message of a library may have several lines: they are
    put on one.
    """
    try:
        sys.stderr.write(harmless(_BREAKS.sub(" ", line)) + "\n")
        sys.stderr.flush()
    except (OSError, ValueError):
        silence(2)


def silence(descriptor: int) -> None:
    """Let a stream whose reader has gone lead nowhere: nothing fails on it again, not even at exit."""
    with suppress(OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, descriptor)
        os.close(nowhere)


def ask_person() -> Callable[[str], str] | None:
    """Return a callable that shows words and returns what is typed; None without a terminal."""
    if not person_is_there():
        return None

    def ask(words: str) -> str:
        say_wrapped(["", *words.rstrip("\n").split("\n")])
        answer = read_line("  Done? Press Enter (or type again, back 3, stop; ? explains): ")
        if answer is None:
            raise KeyboardInterrupt
        return answer

    return ask


def person_is_there() -> bool:
    """Return whether somebody can be asked: keyboard and screen are a terminal."""
    return _is_terminal(sys.stdin) and _is_terminal(sys.stderr)


def say_wrapped(lines: Sequence[str]) -> None:
    """Write lines on stderr, broken where the terminal ends."""
    width = max(shutil.get_terminal_size((_PIPED_WIDTH, 24)).columns - 1, 30)
    for line in lines:
        for part in textwrap.wrap(line, width, subsequent_indent="     ", break_on_hyphens=False) or [""]:
            say(part)


def read_line(question: str) -> str | None:
    """Ask on stderr and return the line typed, without its end; None when there is no more input."""
    sys.stderr.write(harmless(question))
    sys.stderr.flush()
    answer = sys.stdin.readline()
    return answer.rstrip("\r\n") if answer else None


def _is_terminal(stream: Any) -> bool:
    return stream is not None and stream.isatty()
