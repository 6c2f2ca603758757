"""How large the errors of a simulated field tester are, as data."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from benchsweep.definitions import Definition, load_model
from benchsweep.errors import UnknownName

__all__ = ["ErrorLevel", "Leak", "list_levels", "load_level"]

_SHIPPED = Path(__file__).with_name("levels")
NotNegative = Annotated[float, Field(ge=0)]
Below = Annotated[float, Field(lt=0)]


class Leak(Definition):
    """Level of an unwanted wave at 100 MHz in dB over the wave sent, and its rise with frequency."""

    level_db: Below
    slope_db_per_decade: float = 0.0


class _Gain(Definition):
    offset_db: NotNegative
    tilt_db_per_decade: NotNegative
    drift_db_per_100_days: NotNegative
    dynamic_db_per_10_db: NotNegative


class _Noise(Definition):
    floor_db: Below


class _Delay(Definition):
    relative: NotNegative
    offset_ns: NotNegative


class ErrorLevel(Definition):
    """Sizes of the errors of a kind of field tester; every one is drawn from them by the tester's seed."""

    schema_version: Literal[1] = Field(alias="schema")
    name: str
    description: str
    source: str
    standing: Literal["published", "common-practice", "from-memory"]
    directivity: Leak
    source_match: Leak
    near_leakage: Leak
    far_leakage: Leak
    mating_reflection: Leak
    mating_leakage: Leak
    gain: _Gain
    noise: _Noise
    delay: _Delay


def list_levels() -> tuple[str, ...]:
    """Return the names of the levels that are shipped."""
    return tuple(sorted(path.stem for path in _SHIPPED.glob("*.toml")))


def load_level(name_or_path: str) -> ErrorLevel:
    """Return a level by its name or the path of a file.

    Raises
    ------
    UnknownName, DefinitionError
    """
    path = Path(name_or_path) if name_or_path.endswith(".toml") else _SHIPPED / f"{name_or_path}.toml"
    if not path.is_file():
        raise UnknownName(
            f"no simulated field tester of level {name_or_path}",
            hint=f"There are: {', '.join(list_levels())}.",
        )
    return load_model(path, ErrorLevel)
