"""What quantities are called, by name or abbreviation, without a mapping having to say it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, model_validator

from benchsweep.definitions import Definition, load_model
from benchsweep.records import Parameter

__all__ = ["loose", "parameter_called", "understood_names"]

Text = Annotated[str, Field(min_length=1)]
_LOOSE = re.compile(r"[-_\s]+")


def loose(text: str) -> str:
    """Return a name as it is compared: no case, no blanks, hyphens and underscores.

    Examples
    --------
    >>> loose("PS ACR-F") == loose("ps_acr_f") == loose("PSACRF")
    True
    """
    return _LOOSE.sub("", text).casefold()


class UsualNames(Definition):
    """The file ``names.toml``: no name may stand for two quantities."""

    schema_version: Literal[1] = Field(alias="schema")
    source: Text
    standing: Literal["published", "common-practice", "from-memory"]
    parameters: Mapping[Parameter, tuple[Text, ...]]

    @model_validator(mode="after")
    def _each_of_one(self) -> UsualNames:
        seen = {loose(parameter.value): parameter for parameter in Parameter}
        for parameter, names in self.parameters.items():
            for name in names:
                if seen.setdefault(loose(name), parameter) is not parameter:
                    raise ValueError(f"{name!r} stands for {seen[loose(name)]} and {parameter}")
        return self


@cache
def understood_names() -> Mapping[Parameter, tuple[str, ...]]:
    """Return what each quantity may be called: its name in commands, its term, then what else is usual.

    Raises
    ------
    DefinitionError
        The shipped file is wrong.
    """
    usual = load_model(Path(__file__).with_name("names.toml"), UsualNames).parameters
    return MappingProxyType(
        {one: tuple(dict.fromkeys((one.value, one.term, *usual.get(one, ())))) for one in Parameter}
    )


@cache
def _by_loose() -> Mapping[str, Parameter]:
    return {loose(name): one for one, names in understood_names().items() for name in names}


def parameter_called(text: str) -> Parameter | None:
    """Return the quantity of that name, however it is written; None: there is none."""
    return _by_loose().get(loose(text))
