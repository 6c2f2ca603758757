"""Command families: how a group of analyzers spells the same operations. Data, read from TOML."""

from __future__ import annotations

import re
from string import Formatter
from typing import Literal, Self, get_args

from pydantic import Field, model_validator

from benchsweep.definitions import Definition, list_definitions, load_definition

__all__ = ["Commands", "Family", "Operation", "Query", "list_families", "load_family"]

Template = str
Templates = tuple[Template, ...]

Operation = Literal[
    "preset", "hold", "abort", "uncorrected", "data_format", "sweep_type", "grid", "receiver", "averaging",
    "power", "clear_measurements", "define_measurement", "trigger", "single_sweep", "averaged_sweep",
]  # fmt: skip
Query = Literal[
    "start_hz", "stop_hz", "points", "if_bandwidth_hz", "averages", "averaging", "power_dbm", "sweep_time_s",
    "measurements", "trace", "matrix",
]  # fmt: skip

# What a template of each operation or query may use beside {channel}.
_FIELDS: dict[str, frozenset[str]] = {
    "grid": frozenset({"start_hz", "stop_hz", "points"}),
    "receiver": frozenset({"if_bandwidth_hz"}),
    "averaging": frozenset({"averages", "averaging"}),
    "power": frozenset({"power_dbm"}),
    "define_measurement": frozenset({"name", "parameter", "index"}),
    "averaged_sweep": frozenset({"averages"}),
    "trace": frozenset({"name"}),
    "matrix": frozenset({"ports", "count"}),
}
_MARK = re.compile(r"\{(\w+)\}")


class ProbeRule(Definition):
    """One question that recognises a family, and what a good answer looks like."""

    query: Template
    answer: Literal["integer", "quoted", "text"]
    tells: Literal["ports", "nothing"] = "nothing"


class Confirmation(Definition):
    """What must be read back after an operation, in which words, and what that means.

    An instrument that lacks an `optional` function need not know the question.
    """

    when: Operation
    query: Template
    answers: tuple[str, ...] = Field(min_length=1)
    means: str
    optional: bool = False


class Commands(Definition):
    """The operations: each a group of commands."""

    preset: Templates
    hold: Templates
    abort: Templates
    uncorrected: Templates
    data_format: Templates
    sweep_type: Templates
    grid: Templates
    receiver: Templates
    averaging: Templates
    power: Templates
    clear_measurements: Templates
    define_measurement: Templates
    trigger: Templates
    single_sweep: Templates
    averaged_sweep: Templates


class Queries(Definition):
    """The questions."""

    start_hz: Template
    stop_hz: Template
    points: Template
    if_bandwidth_hz: Template
    averages: Template
    averaging: Template
    power_dbm: Template
    sweep_time_s: Template
    measurements: Template
    trace: Template
    matrix: Template


class Behaviours(Definition):
    """Which of the known ways of doing it; `benchsweep.instrument` has one small function for each."""

    sweep: Literal["single-or-group"]
    measurements: Literal["one-per-source"]
    matrix: Literal["snp-rows"]
    parameter_names: Literal["underscore-above-nine", "equal-digits-above-nine"]
    matrix_order: Literal["row-major", "column-major", "detect"]


class Family(Definition):
    """One command family.

    Parameters
    ----------
    schema_version
        Key ``schema`` of the file; 1.
    name
        By structural trait, never by maker.
    standing, source
        How well the spellings are known, and from where.
    channel
        Measurement channel that is used.
    detection_order
        Families are tried in this order, lowest first.
    """

    schema_version: Literal[1] = Field(alias="schema")
    name: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: str
    standing: Literal["published", "common-practice", "from-memory"]
    source: str
    channel: int = Field(ge=1)
    detection_order: int
    probes: tuple[ProbeRule, ...] = Field(min_length=1)
    commands: Commands
    queries: Queries
    confirm: tuple[Confirmation, ...] = ()
    behaviours: Behaviours

    @model_validator(mode="after")
    def _check_templates(self) -> Self:
        for operation in get_args(Operation):
            for template in getattr(self.commands, operation):
                _check(template, f"commands.{operation}", _FIELDS.get(operation, frozenset()), query=False)
        for query in get_args(Query):
            template = getattr(self.queries, query)
            _check(template, f"queries.{query}", _FIELDS.get(query, frozenset()), query=True)
        for question in (*(rule.query for rule in self.probes), *(item.query for item in self.confirm)):
            _check(question, "probes or confirm", frozenset(), query=True)
        if not any(rule.tells == "ports" for rule in self.probes):
            raise ValueError("probes: one of them must tell the number of ports")
        return self

    def fill(self, operation: Operation, **values: str | float) -> tuple[str, ...]:
        """Return the commands of `operation` with `values` filled in."""
        templates: Templates = getattr(self.commands, operation)
        return tuple(self._fill(template, values) for template in templates)

    def ask(self, query: Query, **values: str | float) -> str:
        """Return the question `query` with `values` filled in."""
        template: Template = getattr(self.queries, query)
        return self._fill(template, values)

    def confirmations(self, operation: Operation) -> tuple[Confirmation, ...]:
        """Return what must be read back after `operation`, questions filled in."""
        return tuple(
            item.model_copy(update={"query": self._fill(item.query, {})})
            for item in self.confirm
            if item.when == operation
        )

    def probe_queries(self) -> tuple[tuple[str, ProbeRule], ...]:
        """Return the questions that recognise the family, filled in, with their rules."""
        return tuple((self._fill(rule.query, {}), rule) for rule in self.probes)

    def _fill(self, template: Template, values: dict[str, str | float]) -> str:
        known: dict[str, str | float] = {"channel": self.channel, **values}
        return _MARK.sub(lambda mark: _text(known[mark[1]]), template)


def _text(value: str | float) -> str:
    """Write a number so that nothing is lost and no exponent is needed for whole numbers."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return value if isinstance(value, str) else repr(value)


def _check(template: Template, where: str, allowed: frozenset[str], *, query: bool) -> None:
    try:
        used = [name for _, name, spec, conversion in Formatter().parse(template) if name is not None]
    except ValueError as error:
        raise ValueError(f"{where}: {template!r}: {error}") from error
    for name in used:
        if name not in allowed | {"channel"}:
            known = ", ".join(sorted(allowed | {"channel"}))
            raise ValueError(f"{where}: {template!r}: unknown field {{{name}}} (known here: {known})")
    if not template.strip() or "\n" in template:
        raise ValueError(f"{where}: must be one line of text")
    if query != ("?" in template):
        raise ValueError(f"{where}: {template!r} is {'no ' if query else 'a '}question")


def list_families() -> tuple[Family, ...]:
    """Return the known families in the order in which they are tried.

    Raises
    ------
    DefinitionError
        A family file is wrong.
    """
    found = [load_family(name) for name in list_definitions("families")]
    return tuple(sorted(found, key=lambda family: (family.detection_order, family.name)))


def load_family(name: str) -> Family:
    """Return the family of that name, or in the file at that path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return load_definition("families", name, Family)
