"""Command families: how a group of analyzers spells the same operations. Data, read from TOML."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchsweep.definitions import Definition, find_definition, list_definitions, load_model
from benchsweep.errors import DefinitionError
from benchsweep.instrument.families._rules import check_complete, check_template

__all__ = [
    "Behaviours", "Commands", "Confirmation", "Correction", "Family", "KnownFamilies", "Operation",
    "ProbeRule", "Queries", "Query", "Way", "known_families", "list_families", "load_family",
]  # fmt: skip

Template = str
Templates = tuple[Template, ...]

Operation = Literal[
    "preset", "hold", "abort", "trigger", "data_format", "ascii_format", "linear_sweep",
    "logarithmic_sweep", "segment_sweep", "grid", "receiver", "averaging", "power", "clear_segments",
    "define_segment", "enable_segment", "segment_table", "clear_measurements", "define_measurement",
    "define_ratio", "show_measurement", "define_matrix", "restart_averaging", "arm", "single_sweep",
    "averaged_sweep",
]  # fmt: skip
Query = Literal[
    "start_hz", "stop_hz", "points", "if_bandwidth_hz", "averages", "averaging", "power_dbm", "sweep_time_s",
    "axis", "overload", "measurements", "measurement", "trace", "parameter", "matrix", "segment_start_hz",
    "segment_stop_hz", "segment_points", "segment_if_bandwidth_hz", "segment_table",
]  # fmt: skip
Way = Literal["snp-rows", "parameter-rows", "by-parameter", "by-trace", "by-sweep"]

_MARK = re.compile(r"\{(\w+)\}")


class ProbeRule(Definition):
    """One question that recognises a family, and what a good answer looks like.

    ``missing`` wants no answer but an undefined header or a suffix out of range.
    """

    query: Template
    answer: Literal["integer", "integers", "quoted", "parameter", "number", "text", "missing"]
    tells: Literal["ports", "nothing"] = "nothing"


class Confirmation(Definition):
    """What must be read back after an operation, in which words, and what that means."""

    when: Operation
    query: Template
    answers: tuple[str, ...] = Field(min_length=1)
    means: str


class Correction(Definition):
    """Something that changes raw data and must be off: how to switch it off and what must be read back.

    An instrument that lacks an `optional` function need not know the commands. Where {port} is used, the
    entry holds for every port.
    """

    off: Templates = Field(min_length=1)
    query: Template
    answers: tuple[str, ...] = Field(min_length=1)
    means: str
    optional: bool = False


class Commands(Definition):
    """The operations, each a group of commands; an empty group needs nothing to be said.

    What is left out is not available.
    """

    preset: Templates
    hold: Templates
    abort: Templates
    trigger: Templates = ()
    data_format: Templates
    ascii_format: Templates | None = None
    linear_sweep: Templates
    logarithmic_sweep: Templates | None = None
    segment_sweep: Templates | None = None
    grid: Templates
    receiver: Templates
    averaging: Templates
    power: Templates
    clear_segments: Templates = ()
    define_segment: Templates | None = None
    enable_segment: Templates = ()
    segment_table: Templates | None = None
    clear_measurements: Templates = ()
    define_measurement: Templates
    define_ratio: Templates | None = None
    show_measurement: Templates = ()
    define_matrix: Templates | None = None
    restart_averaging: Templates = ()
    arm: Templates | None = None
    single_sweep: Templates
    averaged_sweep: Templates | None = None


class Queries(Definition):
    """The questions; what is left out is not available."""

    start_hz: Template
    stop_hz: Template
    points: Template
    if_bandwidth_hz: Template
    averages: Template
    averaging: Template
    power_dbm: Template
    sweep_time_s: Template | None = None
    axis: Template | None = None
    overload: Template | None = None
    measurements: Template | None = None
    measurement: Template | None = None
    trace: Template | None = None
    parameter: Template | None = None
    matrix: Template | None = None
    segment_start_hz: Template | None = None
    segment_stop_hz: Template | None = None
    segment_points: Template | None = None
    segment_if_bandwidth_hz: Template | None = None
    segment_table: Template | None = None


class Behaviours(Definition):
    """Which of the known ways of doing it; `benchsweep.instrument` has one small function for each.

    Where there are several, they are tried in that order until the instrument knows one.
    """

    sweep: Literal["single-or-group", "init-with-count", "bus-trigger", "repeated-init"]
    matrix: tuple[Way, ...] = Field(min_length=1)
    listing: Literal["name-parameter-pairs", "one-by-one"]
    parameter_names: tuple[Literal["equal-digits-above-nine", "underscore-above-nine"], ...] = Field(
        min_length=1
    )
    matrix_order: Literal["row-major", "column-major", "detect"] = "row-major"
    byte_order: Literal["little-endian", "big-endian", "found"]
    segments: Literal["one-by-one", "one-list"] | None = None


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
    lacks
        What the family cannot do, in words.
    fixed_ports, assumed_ports
        Number of ports where no question tells it: always that many, or unless somebody says otherwise.
    overload_bits
        Bits of the answer to ``queries.overload`` that mean an overloaded receiver.
    limits
        Questions for the range of the instrument, by what they tell.
    watch
        Further questions whose answers must not change between two sweeps.
    """

    schema_version: Literal[1] = Field(alias="schema")
    name: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: str
    standing: Literal["published", "common-practice", "from-memory"]
    source: str
    channel: int = Field(ge=1)
    detection_order: int
    lacks: tuple[str, ...] = ()
    fixed_ports: int | None = Field(default=None, ge=1)
    assumed_ports: int | None = Field(default=None, ge=1)
    overload_bits: int = Field(default=0, ge=0)
    probes: tuple[ProbeRule, ...] = Field(min_length=1)
    commands: Commands
    queries: Queries
    limits: dict[Annotated[str, Field(pattern=r"^[a-z][a-z_]*$")], Template] = Field(default_factory=dict)
    watch: Templates = ()
    confirm: tuple[Confirmation, ...] = ()
    uncorrected: tuple[Correction, ...] = ()
    behaviours: Behaviours

    @model_validator(mode="after")
    def _check(self) -> Self:
        for operation in Commands.model_fields:
            for template in getattr(self.commands, operation) or ():
                check_template(template, f"commands.{operation}", operation, query=False)
        for query in Queries.model_fields:
            template = getattr(self.queries, query)
            if template is not None:
                check_template(template, f"queries.{query}", query, query=True)
        for where, questions in (
            ("probes", [rule.query for rule in self.probes]),
            ("confirm", [item.query for item in self.confirm]),
            ("limits", list(self.limits.values())),
            ("watch", list(self.watch)),
        ):
            for question in questions:
                check_template(question, where, where, query=True)
        for item in self.uncorrected:
            check_template(item.query, "uncorrected.query", "uncorrected", query=True)
            for command in item.off:
                check_template(command, "uncorrected.off", "uncorrected", query=False)
        told = any(rule.tells == "ports" for rule in self.probes)
        if (told, self.fixed_ports is not None, self.assumed_ports is not None).count(True) != 1:
            raise ValueError(
                "probes: one of them must tell the number of ports, or else fixed_ports or assumed_ports"
            )
        check_complete(self.commands, self.queries, self.behaviours)
        return self

    @property
    def digest(self) -> str:
        """Twelve hexadecimal digits that change with anything that the readings of a specimen depend on.

        Not with words for people, nor with those for ratios of receivers: calibrations that were made before
        there were any stay valid.
        """
        people = dict.fromkeys(("title", "standing", "source", "detection_order", "lacks"), True)
        said = self.model_dump_json(exclude={**people, "commands": {"define_ratio"}})
        return hashlib.sha256(said.encode()).hexdigest()[:12]

    def has(self, name: Operation | Query) -> bool:
        """Tell whether the family has the operation or the question."""
        found = getattr(self.commands, name, None)
        return (found if found is not None else getattr(self.queries, name, None)) is not None

    def fill(self, operation: Operation, **values: str | float) -> tuple[str, ...]:
        """Return the commands of `operation` with `values` filled in; none where the family has none."""
        templates: Templates | None = getattr(self.commands, operation)
        return tuple(self.spell(template, **values) for template in templates or ())

    def ask(self, query: Query, **values: str | float) -> str:
        """Return the question `query` with `values` filled in.

        Raises
        ------
        KeyError
            The family has no such question; `has` tells.
        """
        template: Template | None = getattr(self.queries, query)
        if template is None:
            raise KeyError(query)
        return self.spell(template, **values)

    def confirmations(self, operation: Operation) -> tuple[Confirmation, ...]:
        """Return what must be read back after `operation`, questions filled in."""
        return tuple(
            item.model_copy(update={"query": self.spell(item.query)})
            for item in self.confirm
            if item.when == operation
        )

    def corrections(self, ports: int) -> tuple[Correction, ...]:
        """Return what must be off, commands and questions filled in; entries with {port} for every port."""
        filled = []
        for item in self.uncorrected:
            each = any("{port}" in text for text in (*item.off, item.query))
            for port in range(1, ports + 1) if each else (1,):
                off = tuple(self.spell(command, port=port) for command in item.off)
                query = self.spell(item.query, port=port)
                filled.append(item.model_copy(update={"off": off, "query": query}))
        return tuple(filled)

    def probe_queries(self) -> tuple[tuple[str, ProbeRule], ...]:
        """Return the questions that recognise the family, filled in, with their rules."""
        return tuple((self.spell(rule.query), rule) for rule in self.probes)

    def spell(self, template: Template, **values: str | float) -> str:
        """Fill `values` and the channel into `template`."""
        known: dict[str, str | float] = {"channel": self.channel, **values}
        return _MARK.sub(lambda mark: number_text(known[mark[1]]), template)


def number_text(value: str | float) -> str:
    """Write a number so that nothing is lost and no exponent is needed for whole numbers."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return value if isinstance(value, str) else repr(value)


@dataclass(frozen=True, slots=True)
class KnownFamilies:
    """All family files in force.

    Parameters
    ----------
    usable
        In the order in which they are tried.
    wrong
        File -> what is wrong with it: it takes no part in detection, and must not keep the others from it.
    """

    usable: tuple[Family, ...]
    wrong: dict[Path, DefinitionError]


def known_families() -> KnownFamilies:
    """Return the family files in force, those that cannot be used apart."""
    found: list[Family] = []
    wrong: dict[Path, DefinitionError] = {}
    for path in list_definitions("families").values():
        try:
            found.append(_load(path))
        except DefinitionError as error:
            wrong[path] = error
    return KnownFamilies(
        tuple(sorted(found, key=lambda family: (family.detection_order, family.name))), wrong
    )


def list_families() -> tuple[Family, ...]:
    """Return the usable families in the order in which they are tried."""
    return known_families().usable


def load_family(name: str) -> Family:
    """Return the family of that name, or in the file at that path.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return _load(find_definition("families", name))


def _load(path: Path) -> Family:
    family = load_model(path, Family)
    if family.name != path.stem:
        raise DefinitionError(
            f"{path}: name: {family.name!r} is not the name of the file without .toml, {path.stem!r}",
            hint="Records and calibrations name the family: rename the file, or correct the key.",
        )
    return family
