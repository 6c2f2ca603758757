"""A language made up for tests: every text of ours between marks, so that what stands outside them shows.

Use: ``texts = load_texts(pseudo_language(tmp_path))``, make a page with them, and hold that
``outside_marks(words of the page)`` has nothing in it but what the record and the numbers give.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path

from benchsweep.report.text import english

OPEN, CLOSE = "«", "»"
TAG = "qps-ploc"


def marked(text: str) -> str:
    return f"{OPEN}{text}{CLOSE}"


def translation(
    folder: Path,
    change: Callable[[str], str] = marked,
    *,
    entries: Mapping[str, object] | None = None,
    language: str = TAG,
) -> Path:
    """Write a translation, each text of English as `change` gives it; `entries` instead of English's."""
    told = english().entries if entries is None else entries
    lines = ["schema = 1", f"language = {json.dumps(language)}"]
    tables: dict[str, list[str]] = {}
    for key, entry in told.items():
        table, _, name = key.rpartition(".")
        value = entry
        if isinstance(value, str):
            written = _quoted(change(value))
        elif isinstance(value, Mapping):
            written = (
                "{ " + ", ".join(f"{form} = {_quoted(change(text))}" for form, text in value.items()) + " }"
            )
        else:
            written = json.dumps(value)
        tables.setdefault(table, []).append(f"{name} = {written}")
    lines += tables.pop("", [])
    for table, entered in tables.items():
        lines += ["", f"[{table}]", *entered]
    path = folder / f"{language}.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def pseudo_language(folder: Path) -> Path:
    """Write the language of the marks into `folder`; return its file."""
    return translation(folder)


def outside_marks(text: str) -> str:
    """Return what of a text stands outside all marks; those of filled-in fields stand inside others.

    >>> outside_marks("«the outcome: «pass»» 3.14 cord 7")
    ' 3.14 cord 7'
    """
    depth, kept = 0, []
    for char in text:
        if char == OPEN:
            depth += 1
        elif char == CLOSE:
            depth -= 1
            assert depth >= 0, f"a mark is closed that was not opened: {text[:200]}"
        elif depth == 0:
            kept.append(char)
    assert depth == 0, f"a mark is not closed: {text[:200]}"
    return "".join(kept)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
