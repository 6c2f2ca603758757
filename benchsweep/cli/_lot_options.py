"""The options that several commands of `benchsweep lot` share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import plain_text, requirement_names
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.limits import Requirement

__all__ = [
    "Aql",
    "Characteristics",
    "ConsumerRisk",
    "Level",
    "LimitingQuality",
    "LotAgainst",
    "Method",
    "MethodName",
    "PlanAsked",
    "Product",
    "Reason",
    "ReelName",
    "Severity",
    "SeverityName",
    "Supplier",
    "one_requirement",
]


class MethodName(StrEnum):
    """How a lot is judged."""

    ATTRIBUTES = "attributes"
    VARIABLES = "variables"
    ZERO_ACCEPTANCE = "zero-acceptance"


class SeverityName(StrEnum):
    """How severely a lot is inspected."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"


def _parameters(incomplete: str) -> list[str]:
    from benchsweep.records import Parameter

    return [str(parameter) for parameter in Parameter if parameter.startswith(incomplete)]


def _levels(incomplete: str) -> list[str]:
    return [level for level in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III") if level.startswith(incomplete)]


Method = Annotated[
    MethodName,
    typer.Option(
        "--method",
        help="Count nonconforming reels; judge mean and deviation of margins; accept on none nonconforming.",
    ),
]
Level = Annotated[
    str | None,
    typer.Option(
        "--level",
        metavar="LEVEL",
        autocompletion=_levels,
        help="Inspection level: S-1 to S-4, I, II, III (by variables I to V); the usual one by default.",
    ),
]
Aql = Annotated[
    float | None,
    typer.Option("--aql", metavar="P", help="Acceptance quality limit in percent nonconforming, e.g. 0.65."),
]
Severity = Annotated[
    SeverityName | None,
    typer.Option("--severity", help="Severity of inspection."),
]
LimitingQuality = Annotated[
    float | None,
    typer.Option(
        "--limiting-quality",
        metavar="P",
        help="Zero acceptance: percent nonconforming that is to be refused nearly always.",
    ),
]
ConsumerRisk = Annotated[
    float | None,
    typer.Option(
        "--consumer-risk",
        metavar="R",
        help="Zero acceptance: how often it may be accepted all the same; 0.1 by default.",
    ),
]
Characteristics = Annotated[
    list[str] | None,
    typer.Option(
        "--characteristic",
        metavar="PARAMETER",
        autocompletion=_parameters,
        help="By variables: a parameter whose worst margins are judged, each by itself; repeatable.",
    ),
]
Supplier = Annotated[
    str, typer.Option("--supplier", metavar="NAME", callback=plain_text, help="Who made the lot.")
]
Product = Annotated[
    str,
    typer.Option("--product", metavar="NAME", callback=plain_text, help="What the reels are of."),
]
LotAgainst = Annotated[
    str,
    typer.Option(
        "--against",
        metavar="REQUIREMENT",
        autocompletion=requirement_names,
        help="Requirement that every reel is graded against: a name, or a .toml file.",
    ),
]
ReelName = Annotated[str, typer.Argument(metavar="REEL", help="Name of the reel.")]
Reason = Annotated[
    str, typer.Option("--reason", metavar="TEXT", callback=plain_text, help="Why; kept with the lot.")
]


@dataclass(frozen=True, slots=True)
class PlanAsked:
    """What was asked of a sampling plan on a command line.

    Raises
    ------
    UsageError
        Of `keywords`: what contradicts the method, or is missing for it.
    """

    method: MethodName
    level: str | None
    aql: float | None
    severity: SeverityName | None
    limiting_quality: float | None
    consumer_risk: float | None
    characteristics: Sequence[str] | None

    def keywords(self) -> dict[str, Any]:
        """Return the arguments of the plan for `benchsweep.qualification`."""
        zero = self.method is MethodName.ZERO_ACCEPTANCE
        for option, given, fits in (
            ("--aql", self.aql is not None, not zero),
            ("--level", self.level is not None, not zero),
            ("--severity", self.severity is not None, not zero),
            ("--limiting-quality", self.limiting_quality is not None, zero),
            ("--consumer-risk", self.consumer_risk is not None, zero),
            ("--characteristic", bool(self.characteristics), self.method is MethodName.VARIABLES),
        ):
            if given and not fits:
                raise UsageError(
                    f"{option} says nothing for --method {self.method.value}",
                    hint="Leave it out, or name another method.",
                )
        if zero and self.limiting_quality is None:
            raise UsageError(
                "a plan with zero acceptance needs --limiting-quality",
                hint="For example --limiting-quality 10: 10 % nonconforming is nearly always refused.",
            )
        if not zero and self.aql is None:
            raise UsageError(
                "the plan needs an AQL", hint="For example --aql 0.65, in percent nonconforming."
            )
        from benchsweep.records import Severity as Kept

        words: dict[str, Any] = {"method": self.method.value}
        if zero:
            words["limiting_percent"] = self.limiting_quality
            if self.consumer_risk is not None:
                words["consumer_risk"] = self.consumer_risk
            return words
        words |= {"level": self.level, "aql_percent": self.aql}
        words["severity"] = None if self.severity is None else Kept(self.severity.value)
        if self.method is MethodName.VARIABLES:
            words["characteristics"] = tuple(self.characteristics or ())
        return words


def one_requirement(name: str) -> Requirement:
    """Return the requirement of a lot.

    Raises
    ------
    UsageError
        A pattern that stands for several; reels of a lot are graded against one.
    """
    from benchsweep.qualification import choose_requirements

    found = choose_requirements([name]).requirements
    if len(found) != 1:
        raise UsageError(
            f"{name} stands for {len(found)} requirements; a lot is accepted against one",
            hint="Name one, see `benchsweep limits list`.",
        )
    return found[0]
