"""Which relays lead from an analyzer port to a leg or a standard."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.errors import DefinitionError
from benchsweep.records import Hookup, parse_leg

__all__ = ["RelayRoutes", "is_standard"]

_PLACE = re.compile(r"\{(port|column)(?::0([1-9]))?\}")
_MOST_NAMED = 8
_HINT = "Add the target under [switch.columns], or a [[switch.route]] with port, target and channels."


def is_standard(target: str) -> bool:
    """Return whether a target of a connection is a calibration standard and not a leg of the specimen."""
    try:
        parse_leg(target)
    except ValueError:
        return True
    return False


@dataclass(frozen=True, slots=True)
class RelayRoutes:
    """The map of a relay matrix: (analyzer port, target) to the channels that join them.

    Parameters
    ----------
    template
        How a channel is spelled, with ``{port}`` and ``{column}``, for example ``{port}!{column}``; a number
        can be filled with zeros: ``{port:02}``. Empty: every route is an explicit one.
    columns
        Target (``A:12.1``, ``open``, ``short``, ``load``) -> column.
    rails
        Columns of the thru rails: two ports closed on one rail are joined.
    explicit
        (analyzer port, target) -> channels, in place of what the template would give.
    idle
        Leg -> channels that are closed while the leg is on no analyzer port, for example to its termination.
    """

    template: str = ""
    columns: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    rails: tuple[str, ...] = ()
    explicit: Mapping[tuple[int, str], tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    idle: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))

    def route(self, port: int, target: str, *, rail: int = 0) -> tuple[str, ...] | None:
        """Return the channels that join `port` to `target`; None when the map has no way.

        Parameters
        ----------
        port, target
            A connection as a hookup holds it.
        rail
            For a thru: which of the rails.
        """
        own = self.explicit.get((port, target))
        if own is not None:
            return own
        if target.startswith("thru "):
            column = self.rails[rail] if rail < len(self.rails) else None
        else:
            column = self.columns.get(target)
        return None if column is None or not self.template else (self._channel(port, column),)

    def closed(self, connections: Mapping[int, str]) -> tuple[str, ...]:
        """Return the channels that are closed in a hookup, all others being open.

        Raises
        ------
        DefinitionError
            The map has no way for one of the connections, or would join ports that are not to be joined.
        """
        self._refuse_shared(connections)
        channels: dict[str, None] = {}
        for (port, target), found in self._routes(connections).items():
            if found is None:
                raise DefinitionError(
                    f"the relay matrix has no way from analyzer port {port} to {target}", hint=_HINT
                )
            channels |= dict.fromkeys(found)
        reached = set(connections.values())
        for leg, resting in self.idle.items():
            if leg not in reached:
                channels |= dict.fromkeys(resting)
        return tuple(channels)

    def every(self, ports: Iterable[int]) -> tuple[str, ...]:
        """Return every channel that the map can close for `ports`."""
        channels: dict[str, None] = {}
        if self.template:
            for port in ports:
                every_column = (*self.columns.values(), *self.rails)
                channels |= dict.fromkeys(self._channel(port, column) for column in every_column)
        for group in (*self.explicit.values(), *self.idle.values()):
            channels |= dict.fromkeys(group)
        return tuple(channels)

    def ways(self, channels: Iterable[str], ports: Iterable[int]) -> tuple[str, ...]:
        """Return in words which ways of `ports` use one of `channels`, such as ``port 1 to A:12.1``."""
        wanted = set(channels)
        ends = [*self.columns.items(), *((f"thru rail {column}", column) for column in self.rails)]
        found = [
            f"port {port} to {end}"
            for port in ports
            for end, column in ends
            if self.template and self._channel(port, column) in wanted
        ]
        found += [
            f"port {port} to {target}" for (port, target), own in self.explicit.items() if wanted & set(own)
        ]
        found += [f"{leg} at rest" for leg, resting in self.idle.items() if wanted & set(resting)]
        return tuple(dict.fromkeys(found))

    def check(self, hookups: Sequence[Hookup], *, where: str) -> None:
        """Raise unless there is a way for every connection of `hookups`, and no two ways are the same.

        Raises
        ------
        DefinitionError
            The message says where, and names the first ways that are missing.
        """
        missing: dict[str, None] = {}
        used: dict[tuple[str, ...], tuple[int, str]] = {}
        for hookup in hookups:
            for (port, target), found in self._routes(hookup.connections).items():
                if found is None:
                    missing[f"analyzer port {port} to {target}"] = None
                    continue
                other = used.setdefault(tuple(sorted(found)), (port, target))
                if other != (port, target) and not (
                    target.startswith("thru ") and other[1].startswith("thru ")
                ):
                    raise DefinitionError(
                        f"{where}: [switch]: analyzer port {port} to {target} and analyzer port "
                        f"{other[0]} to {other[1]} close the same relays ({', '.join(found)})",
                        hint="Two connections that differ need relays that differ.",
                    )
        if missing:
            named = list(missing)
            more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
            raise DefinitionError(
                f"{where}: [switch]: no way from {', from '.join(named[:_MOST_NAMED])}{more}", hint=_HINT
            )

    def digest(self, hookups: Sequence[Hookup]) -> str:
        """Return twelve hexadecimal digits that tell two maps apart by what they close for `hookups`."""
        ways = sorted(
            (port, target, sorted(found or ()))
            for hookup in hookups
            for (port, target), found in self._routes(hookup.connections).items()
        )
        resting = sorted((leg, sorted(channels)) for leg, channels in self.idle.items())
        return hashlib.sha256(json.dumps([ways, resting]).encode()).hexdigest()[:12]

    def _refuse_shared(self, connections: Mapping[int, str]) -> None:
        """Refuse one target at several ports: closed on one column, the ports would be joined."""
        owner: dict[str, int] = {}
        for port, target in connections.items():
            if target.startswith("thru ") or (port, target) in self.explicit:
                continue
            if owner.setdefault(target, port) != port:
                raise DefinitionError(
                    f"analyzer ports {owner[target]} and {port} cannot both be led to the one {target}",
                    hint="Lead them there one after the other.",
                )

    def _routes(self, connections: Mapping[int, str]) -> dict[tuple[int, str], tuple[str, ...] | None]:
        found: dict[tuple[int, str], tuple[str, ...] | None] = {}
        pairs: list[frozenset[int]] = []
        for port, target in connections.items():
            rail = 0
            if target.startswith("thru "):
                pair = frozenset((port, int(target.split()[1])))
                if pair not in pairs:
                    pairs.append(pair)
                rail = pairs.index(pair)
            found[port, target] = self.route(port, target, rail=rail)
        return found

    def _channel(self, port: int, column: str) -> str:
        values = {"port": str(port), "column": column}
        return _PLACE.sub(lambda place: values[place[1]].zfill(int(place[2] or 0)), self.template)
