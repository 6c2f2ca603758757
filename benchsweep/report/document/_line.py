"""A line of text: pieces of our own words, and of what others gave."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["Given", "Line", "Link", "Piece", "Strong", "line", "plain"]


@dataclass(frozen=True, slots=True)
class Given:
    """What people, instruments or files gave: a name, a note, a path. Never trusted."""

    text: str


@dataclass(frozen=True, slots=True)
class Strong:
    """Words that a reader must not miss."""

    text: str


@dataclass(frozen=True, slots=True)
class Link:
    """A piece that leads to the section with this anchor."""

    anchor: str
    piece: str | Given


Piece: TypeAlias = "str | Given | Strong | Link"
Line: TypeAlias = tuple[Piece, ...]


def line(*pieces: Piece | Line) -> Line:
    """Return the pieces as one line; lines among them are joined in, empty words left out."""
    return tuple(_flat(pieces))


def _flat(pieces: tuple[Piece | Line, ...]) -> Iterator[Piece]:
    for piece in pieces:
        if isinstance(piece, tuple):
            yield from _flat(piece)
        elif piece != "":
            yield piece


def plain(told: Line) -> str:
    """Return the words of a line alone."""
    return "".join(map(_words, told))


def _words(piece: Piece) -> str:
    if isinstance(piece, Link):
        return _words(piece.piece)
    return piece if isinstance(piece, str) else piece.text
