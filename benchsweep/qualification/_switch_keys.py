"""``[switch]`` of a station file, and the map of relays that it describes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, field_validator, model_validator

from benchsweep.acquisition import RelayRoutes
from benchsweep.definitions import Definition
from benchsweep.records import parse_leg

__all__ = ["RouteKeys", "SwitchKeys"]

_STANDARDS = ("open", "short", "load", "thru")
_THRU = re.compile(r"thru [1-9][0-9]{0,3}")
_TEMPLATE = re.compile(r"(?:[0-9!]|\{(?:port|column)(?::0[1-9])?\})+")
Column = Annotated[int, Field(ge=0, le=999_999, strict=True)]
# Numbers joined by "!", as in (@1!3) or (@103); a range would leave open which channel belongs to what.
Channel = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}(![0-9]{1,6}){0,3}$")]


class RouteKeys(Definition):
    """``[[switch.route]]``: the channels that join one analyzer port to one target."""

    port: int = Field(ge=1, le=64)
    target: str
    channels: tuple[Channel, ...] = Field(min_length=1)

    @field_validator("target")
    @classmethod
    def _known(cls, target: str) -> str:
        if target not in ("open", "short", "load") and not _THRU.fullmatch(target):
            _refuse_no_leg(target, "open, short, load, or thru and the other port, such as thru 2")
        return target


class SwitchKeys(Definition):
    """``[switch]``: who makes the connections."""

    kind: Literal["person", "simulated", "relays"]
    address: str = ""
    backend: str = "@py"
    timeout_s: float = Field(default=10.0, gt=0, le=600)
    settle_s: float = Field(default=0.05, ge=0, le=60)
    standards: Literal["relays", "person"] = "relays"
    channels: str = ""
    columns: Mapping[str, Column | tuple[Column, ...]] = {}
    route: tuple[RouteKeys, ...] = ()
    idle: Mapping[str, tuple[Channel, ...]] = {}

    @field_validator("channels")
    @classmethod
    def _template(cls, channels: str) -> str:
        if channels and not (_TEMPLATE.fullmatch(channels) and "{port" in channels and "{column" in channels):
            raise ValueError(
                f"{channels!r}: expected digits, ! and both {{port}} and {{column}}, such as "
                "{port}!{column} or 1{port:02}{column:02}"
            )
        return channels

    @field_validator("columns")
    @classmethod
    def _columns(
        cls, columns: Mapping[str, Column | tuple[Column, ...]]
    ) -> Mapping[str, Column | tuple[Column, ...]]:
        owner: dict[int, str] = {}
        for target, value in columns.items():
            if target not in _STANDARDS:
                _refuse_no_leg(target, "open, short, load or thru")
            if isinstance(value, tuple) and (target != "thru" or not value):
                raise ValueError(
                    f"the column of {target} must be one number; only thru takes a list, of at least one rail"
                )
            for column in value if isinstance(value, tuple) else (value,):
                if owner.setdefault(column, target) != target:
                    raise ValueError(f"column {column} is given to {owner[column]} and to {target}")
        return columns

    @field_validator("idle")
    @classmethod
    def _idle(cls, idle: Mapping[str, tuple[Channel, ...]]) -> Mapping[str, tuple[Channel, ...]]:
        for target in idle:
            _refuse_no_leg(target, "")
        return idle

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.kind != "relays":
            strange = sorted(self.model_fields_set - {"kind"})
            if strange:
                raise ValueError(f'{", ".join(strange)}: only with kind = "relays"')
            return self
        if bool(self.channels) != bool(self.columns):
            raise ValueError("channels and columns belong together: give both or neither")
        if not self.channels and not self.route:
            raise ValueError("no way through the relays: give channels and columns, or [[switch.route]]")
        pairs = [(route.port, route.target) for route in self.route]
        twice = sorted({pair for pair in pairs if pairs.count(pair) > 1})
        if twice:
            raise ValueError(f"route: analyzer port {twice[0][0]} to {twice[0][1]} is given more than once")
        return self

    def routes(self) -> RelayRoutes:
        """Return the map of relays."""
        rails = self.columns.get("thru", ())
        return RelayRoutes(
            template=self.channels,
            columns={
                target: str(column)
                for target, column in self.columns.items()
                if target != "thru" and isinstance(column, int)
            },
            rails=tuple(map(str, rails if isinstance(rails, tuple) else (rails,))),
            explicit={(route.port, route.target): route.channels for route in self.route},
            idle=self.idle,
        )


def _refuse_no_leg(target: str, besides: str) -> None:
    try:
        parse_leg(target)
    except ValueError as error:
        expected = f"a leg of the specimen, such as A:36.6{f', or {besides}' if besides else ''}"
        raise ValueError(f"{target!r}: expected {expected}") from error
