"""The text of a requirement as it was on a day: what names it, how it is kept, how it is read again."""

from __future__ import annotations

import hashlib
import json
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

from benchsweep import limits
from benchsweep.errors import RecordDamaged

__all__ = ["requirement_bytes", "requirement_digest", "requirement_from_bytes", "requirement_from_texts"]

_BASE = re.compile(r"^(\s*base\s*=\s*)(\"[^\"\n]*\"|'[^'\n]*')", re.MULTILINE)


def requirement_bytes(texts: Sequence[str]) -> bytes:
    """Return the texts of a requirement and of those it is a variant of, as a file keeps them (JSON)."""
    return json.dumps(list(texts), ensure_ascii=True).encode("ascii")


def requirement_digest(texts: Sequence[str]) -> str:
    """Return what names the texts: SHA-256 of `requirement_bytes`, hexadecimal."""
    return hashlib.sha256(requirement_bytes(texts)).hexdigest()


def requirement_from_bytes(name: str, content: bytes) -> limits.Requirement:
    """Return the requirement that `requirement_bytes` keeps.

    Raises
    ------
    RecordDamaged
        These bytes are none.
    DefinitionError
        Its text is refused by this version.
    """
    try:
        texts = json.loads(content)
    except ValueError:
        texts = None
    if not isinstance(texts, list) or not texts or not all(isinstance(text, str) for text in texts):
        raise RecordDamaged(
            f"the kept text of the requirement {name} is none", hint="Restore the archive from a copy."
        )
    return requirement_from_texts(name, texts)


def requirement_from_texts(name: str, texts: Sequence[str]) -> limits.Requirement:
    """Return the requirement that some texts say, each a variant of the one behind it.

    Raises
    ------
    DefinitionError
        A text is refused by this version.
    """
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / str(place) / f"{name}.toml" for place in range(len(texts))]
        for place, (path, text) in enumerate(zip(paths, texts, strict=True)):
            path.parent.mkdir()
            if place + 1 < len(paths):  # the one behind it by its place, not by its name of today
                text = _BASE.sub(rf'\g<1>"../{place + 1}/{name}.toml"', text, count=1)
            path.write_text(text, encoding="utf-8")
        found = limits.load_requirement(str(paths[0]))
    return found.read_from((), tuple(texts))
