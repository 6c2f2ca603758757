"""What is to be done with every record, as one text that any worker understands."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, Self

from benchsweep import archive, limits
from benchsweep.definitions import validate_data
from benchsweep.errors import UsageError
from benchsweep.qualification._keep import told_of
from benchsweep.qualification._reduction import software_versions
from benchsweep.qualification._uncertainty import budget_text
from benchsweep.records import Parameter

__all__ = ["RegradeJob"]

_SCHEMA = "benchsweep.regrade-job/2"
# What the figures of a verdict come from: with another version they may differ in the last bit.
_COUNTS = ("benchsweep", "numpy", "scipy")


@dataclass(frozen=True, slots=True)
class RegradeJob:
    """How records are to be graded.

    Parameters
    ----------
    requirements
        Resolved: what a file takes over from its base is in it.
    decision_rule
        As `limits.Decision.parse` reads it.
    budget_toml
        Text of the uncertainty budget in place of those of the records; empty: their own.
    length_m
        In place of the lengths noted in the records; None: their own.
    conditions
        Temperature and construction; a temperature that is not told is that noted in the record.
    every_byte
        Check all of each record, also what grading does not read: raw sweeps and error terms.
    folder
        Where relative paths of records begin.
    """

    requirements: tuple[limits.Requirement, ...]
    decision_rule: str = "simple"
    budget_toml: str = ""
    length_m: float | None = None
    conditions: limits.Conditions = field(default_factory=limits.Conditions)
    every_byte: bool = False
    folder: str = field(default_factory=os.getcwd)

    @property
    def told(self) -> dict[str, str]:
        """What was told in place of what the records say, as a grading keeps it."""
        told = told_of(length_m=self.length_m, conditions=self.conditions)
        return {**told, "budget_toml": self.budget_toml} if self.budget_toml else told

    @property
    def parameters(self) -> frozenset[Parameter]:
        """Which traces grading looks at."""
        return frozenset().union(*(limits.needed_parameters(one) for one in self.requirements))

    def place_of(self, source: str) -> archive.Source:
        """Return where a record is: an address, or a path from the root of the file system."""
        return source if "://" in source else Path(self.folder) / source

    @classmethod
    def asked(cls, requirements: tuple[limits.Requirement, ...], *, budget: str | None, **how: Any) -> Self:
        """Return the job with the budget of that name, or of the TOML file that `budget` is.

        Raises
        ------
        UnknownName, DefinitionError
            There is no such budget, or it is wrong.
        UsageError
            No such decision rule, or a length that makes no sense.
        """
        job = cls(requirements, budget_toml="" if budget is None else budget_text(budget), **how)
        limits.Decision.parse(job.decision_rule)
        limits.checked_length(job.length_m)
        return job

    def to_text(self) -> str:
        """Return everything as JSON: a worker needs no file of the laboratory, and no folder of its own."""
        return json.dumps(
            {
                "schema": _SCHEMA,
                "software": _own_software(),
                "requirements": [
                    {
                        "content": _content(requirement),
                        "origin_notes": requirement.origin_notes,
                        "texts": requirement.texts,
                    }
                    for requirement in self.requirements
                ],
                "decision_rule": self.decision_rule,
                "budget_toml": self.budget_toml,
                "length_m": self.length_m,
                "conditions": asdict(self.conditions),
                "every_byte": self.every_byte,
                "folder": self.folder,
            },
            sort_keys=True,
        )

    @staticmethod
    def from_text(text: str) -> RegradeJob:
        """Return the job that `to_text` wrote.

        Raises
        ------
        UsageError
            Another version of the program or of its numerical libraries wrote it: the verdicts might differ.
        """
        return _read_job(text)


def _own_software() -> dict[str, str]:
    known = software_versions()
    return {name: known.get(name, "") for name in _COUNTS}


def _content(requirement: limits.Requirement) -> dict[str, Any]:
    content: dict[str, Any] = requirement.model_dump(mode="json", by_alias=True, exclude_none=True)
    return content


@lru_cache(maxsize=4)
def _read_job(text: str) -> RegradeJob:
    told: Mapping[str, Any] = json.loads(text)
    theirs, own = told["software"], _own_software()
    if theirs != own:
        pairs = ", ".join(
            f"{name} {own[name]} (asked for {theirs.get(name)})"
            for name in own
            if own[name] != theirs.get(name)
        )
        raise UsageError(
            f"a worker has other versions than this program: {pairs}",
            hint="Install the same versions on every worker: only then are all verdicts the same.",
        )
    return RegradeJob(
        requirements=tuple(
            validate_data(one["content"], limits.Requirement, where="requirement of the job").read_from(
                tuple(one["origin_notes"]), tuple(one["texts"])
            )
            for one in told["requirements"]
        ),
        decision_rule=told["decision_rule"],
        budget_toml=told["budget_toml"],
        length_m=told["length_m"],
        conditions=limits.Conditions(**told["conditions"]),
        every_byte=told["every_byte"],
        folder=told["folder"],
    )
