from __future__ import annotations

from collections.abc import Mapping

__all__ = ["FAMILIES"]

FAMILIES: Mapping[str, str] = {
    "parameter.": "Parameter",
    "outcome.": "Outcome",
    "conditional.": "the two conditional outcomes",
    "standing.": "standing of a limit: published, common-practice, from-memory",
    "count.": "Outcome, how many of them",
    "agreement.": "Agreement",
    "due.": "kind of what is due: channel, tester (and words of the table)",
    "study.": "kind of a study and parts of its variance (and words of the report)",
    "controls.": "what a person does on the page: `CONTROLS` of html",
}
"""Beginnings of keys whose rest is a word of the data (``texts(f"parameter.{parameter.value}")``), and
which word. Each word of the list needs its key. All other keys stand in the code as they are.
"""
