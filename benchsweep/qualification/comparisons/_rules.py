"""The rules by which comparisons are decided, read from ``rules.toml``."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from benchsweep.definitions import Definition, load_model

__all__ = ["ComparisonRules", "comparison_rules"]

Standing = Literal["published", "common-practice", "from-memory"]
Positive = Annotated[float, Field(gt=0)]


class Compare(Definition):
    """Where tester and bench are compared, and what disagrees; see ``rules.toml``."""

    near_limit_db: Positive
    floor_db: Positive
    null_steps: int = Field(ge=0)
    share_beyond: float = Field(gt=0, lt=1)
    share_fewest: int = Field(ge=1)
    due_share: float = Field(ge=0, le=1)
    band_begin: float = Field(ge=1)
    band_end: float = Field(gt=0, le=1)
    explained_e_n: float = Field(ge=1)
    explained_ns: Positive
    source: str
    standing: Standing


class Stability(Definition):
    """From when on a channel or tester is judged by its history."""

    fewest: int = Field(ge=3)
    chart_baseline: int = Field(ge=3)
    confidence: float = Field(gt=0.5, lt=1)
    precision_level: float = Field(gt=0, lt=0.5)
    ewma_weight: float = Field(gt=0, le=1)
    least_deviation_db: Positive
    least_deviation_ns: Positive
    few_least_db: Positive
    few_least_ns: Positive
    trend_fewest: int = Field(ge=4)
    trend_confidence: float = Field(gt=0.5, lt=1)
    length_share: Positive
    source: str
    standing: Standing


class ComparisonRules(Definition):
    """All of them."""

    schema_: Literal[1] = Field(alias="schema")
    compare: Compare
    stability: Stability


@cache
def comparison_rules() -> ComparisonRules:
    """Return the rules that are shipped.

    Raises
    ------
    DefinitionError
        The file is wrong.
    """
    return load_model(Path(__file__).with_name("rules.toml"), ComparisonRules)
