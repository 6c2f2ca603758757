"""Tables for a terminal."""

from __future__ import annotations

import tomllib

from benchsweep.report.terminal._lines import (
    entry,
    labelled_table,
)
from benchsweep.report.terminal._measurement import (
    budget_name,
    fixture_name,
    incident_table,
    measurement_table,
)
from benchsweep.report.terminal._verdict import (
    requirement_table,
    verdict_table,
)

__all__ = [
    "budget_name",
    "definition_lines",
    "entry",
    "fixture_name",
    "incident_table",
    "labelled_table",
    "measurement_table",
    "requirement_table",
    "verdict_table",
]


def definition_lines(toml: str) -> list[str]:
    """Return the lines of a fixture definition; of a measured file that is kept with it how many it has.

    Such files stand at the end, in the table ``[embedded]``, and have thousands of lines.
    """
    try:
        files = tomllib.loads(toml).get("embedded", {})
    except tomllib.TOMLDecodeError:
        files = {}
    lines = toml.splitlines()
    if not isinstance(files, dict) or not files or "[embedded]" not in lines:
        return lines
    kept = [f"# {name}: {len(str(text).splitlines())} lines, in the record" for name, text in files.items()]
    return [*lines[: lines.index("[embedded]") + 1], *kept]
