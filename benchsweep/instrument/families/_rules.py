"""What a family file must hold: which fields a template may use, and what each behaviour needs."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from types import MappingProxyType
from typing import Any

__all__ = ["check_complete", "check_template"]

_TRACE = frozenset({"name", "parameter", "index", "receiver", "source"})
_RATIO = _TRACE - {"parameter"}
_SEGMENT = frozenset({"index"})

# What a template of each operation or query may use beside {channel}.
_FIELDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "grid": frozenset({"start_hz", "stop_hz", "points"}),
        "receiver": frozenset({"if_bandwidth_hz"}),
        "averaging": frozenset({"averages", "averaging"}),
        "power": frozenset({"power_dbm"}),
        "clear_segments": frozenset({"count"}),
        "define_segment": _SEGMENT | {"count", "start_hz", "stop_hz", "points", "if_bandwidth_hz"},
        "enable_segment": _SEGMENT,
        "segment_table": frozenset({"count", "table"}),
        "clear_measurements": frozenset({"count"}),
        "define_measurement": _TRACE,
        "define_ratio": _RATIO,
        "show_measurement": _TRACE,
        "define_matrix": frozenset({"ports", "count"}),
        "single_sweep": frozenset({"averages"}),
        "averaged_sweep": frozenset({"averages"}),
        "axis": _TRACE,
        "measurement": _TRACE,
        "trace": _TRACE,
        "parameter": _TRACE,
        "matrix": frozenset({"ports", "count"}),
        "segment_start_hz": _SEGMENT,
        "segment_stop_hz": _SEGMENT,
        "segment_points": _SEGMENT,
        "segment_if_bandwidth_hz": _SEGMENT,
        "uncorrected": frozenset({"port"}),
    }
)

_EACH_SEGMENT = (
    "queries.segment_start_hz", "queries.segment_stop_hz", "queries.segment_points",
    "queries.segment_if_bandwidth_hz",
)  # fmt: skip

# What each choice of a behaviour needs in the file.
_NEEDS: Mapping[tuple[str, str], tuple[str, ...]] = MappingProxyType(
    {
        ("sweep", "single-or-group"): ("commands.averaged_sweep",),
        ("sweep", "bus-trigger"): ("commands.arm",),
        ("matrix", "snp-rows"): ("queries.matrix", "queries.trace"),
        ("matrix", "parameter-rows"): ("queries.matrix", "queries.trace", "commands.define_matrix"),
        ("matrix", "by-parameter"): ("queries.parameter",),
        ("matrix", "by-trace"): ("queries.trace",),
        ("matrix", "by-sweep"): ("queries.trace",),
        ("listing", "name-parameter-pairs"): ("queries.measurements",),
        ("listing", "one-by-one"): ("queries.measurement",),
        ("byte_order", "found"): ("commands.ascii_format",),
        ("segments", "one-by-one"): ("commands.segment_sweep", "commands.define_segment", *_EACH_SEGMENT),
        ("segments", "one-list"): (
            "commands.segment_sweep", "commands.segment_table", "queries.segment_table",
            "commands.ascii_format",
        ),
    }
)  # fmt: skip


def check_template(template: str, where: str, what: str, *, query: bool) -> None:
    """Refuse a template that is no line, is a question where none belongs, or uses an unknown field.

    Raises
    ------
    ValueError
    """
    allowed = _FIELDS.get(what, frozenset()) | {"channel"}
    try:
        used = [name for _, name, spec, conversion in Formatter().parse(template) if name is not None]
    except ValueError as error:
        raise ValueError(f"{where}: {template!r}: {error}") from error
    for name in used:
        if name not in allowed:
            known = ", ".join(sorted(allowed))
            raise ValueError(f"{where}: {template!r}: unknown field {{{name}}} (known here: {known})")
    if not template.strip() or "\n" in template:
        raise ValueError(f"{where}: must be one line of text")
    if query != ("?" in template):
        raise ValueError(f"{where}: {template!r} is {'no ' if query else 'a '}question")


def check_complete(commands: Any, queries: Any, behaviours: Any) -> None:
    """Refuse a file that names a behaviour without what it needs.

    Raises
    ------
    ValueError
    """
    sections = {"commands": commands, "queries": queries}
    for behaviour in type(behaviours).model_fields:
        chosen = getattr(behaviours, behaviour)
        for choice in chosen if isinstance(chosen, tuple) else (chosen,):
            for need in _NEEDS.get((behaviour, choice), ()):
                section, key = need.split(".")
                if getattr(sections[section], key) is None:
                    raise ValueError(f'{need}: missing, but behaviours.{behaviour} "{choice}" needs it')
    if commands.segment_sweep is not None and behaviours.segments is None:
        raise ValueError("behaviours.segments: missing, but commands.segment_sweep is there")
    bent = commands.logarithmic_sweep is not None or commands.segment_sweep is not None
    if bent and queries.axis is None and behaviours.matrix[0] != "snp-rows":
        raise ValueError(
            "queries.axis: missing, but logarithmic or segment sweeps need it: their axis is always read"
        )
    if "by-sweep" in behaviours.matrix and len(behaviours.matrix) > 1:
        raise ValueError('behaviours.matrix: "by-sweep" cannot stand beside other ways')
    if commands.define_ratio is not None:
        _check_ratios(queries, behaviours)


def _check_ratios(queries: Any, behaviours: Any) -> None:
    if queries.trace is None or "{parameter}" in queries.trace:
        raise ValueError(
            "queries.trace: must read a measurement by its name or number, for commands.define_ratio"
        )
    if "by-sweep" in behaviours.matrix:
        raise ValueError('commands.define_ratio: not together with behaviours.matrix "by-sweep"')
