"""Which hookups a verification makes: the load and the thru once more, then the check standards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from benchsweep import calibration
from benchsweep.acquisition import make_calibration_plan
from benchsweep.calibration.verification import Artefact, load_artefact
from benchsweep.errors import UsageError
from benchsweep.qualification._places import Places
from benchsweep.qualification._station import Station
from benchsweep.records import Hookup, ModePort, Plan

__all__ = ["Placed", "VerificationPlan", "verification_plan"]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """An artefact in one hookup.

    Parameters
    ----------
    artefact, file
        What is attached, and its definition file.
    places
        Numbers of the places, from 1, one for each of its balanced ports.
    labels
        Analyzer port -> leg or mode of the artefact.
    """

    artefact: Artefact
    file: Path
    places: tuple[int, ...]
    labels: Mapping[int, str]


@dataclass(frozen=True, slots=True, eq=False)
class VerificationPlan:
    """The hookups, what each is for, and what had to be left out, in words."""

    plan: Plan
    purposes: Mapping[int, Literal["load", "thru"] | Placed]
    left_out: tuple[str, ...]


def verification_plan(
    station: Station, places: Places, kit: calibration.Kit, names: Sequence[str]
) -> VerificationPlan:
    """Plan a verification of the calibration of `places` with the artefacts `names`.

    Raises
    ------
    UsageError
        The station names places that the fixture does not have.
    UnknownName, DefinitionError
        No such artefact.
    """
    hookups: list[tuple[Hookup, Literal["load", "thru"] | Placed]] = []
    chosen = _chosen(station, places)
    if "load" in kit.standards:
        hookups += [(hookup, "load") for hookup in _loads(station, places, chosen)]
    if "thru" in kit.standards:
        hookups += [(hookup, "thru") for hookup in _thrus(places, chosen)]
    left_out = []
    by_relays = station.switch.kind == "relays" and station.switch.standards != "person"
    for name in names:
        artefact, file = load_artefact(name)
        size = len(artefact.ports)
        if by_relays:
            left_out.append(
                f"{artefact.name}: relays cannot attach it; only the standards are measured again"
            )
        elif size > len(places.slots):
            left_out.append(f"{artefact.name}: needs {size} places, the bench has {len(places.slots)}")
        else:
            hookups += [
                (Hookup(1, _words(artefact.name, placed.labels)), placed)
                for placed in _placements(artefact, file, places, chosen)
            ]
    numbered = [replace(hookup, number=number) for number, (hookup, _) in enumerate(hookups, start=1)]
    purposes = {number: purpose for number, (_, purpose) in enumerate(hookups, start=1)}
    matings = sum(len(hookup.connections) for hookup in numbered)
    return VerificationPlan(Plan(tuple(numbered), matings), purposes, tuple(left_out))


def _words(name: str, labels: Mapping[int, str]) -> dict[int, str]:
    return {port: f"check {name} {label}" for port, label in labels.items()}


def _chosen(station: Station, places: Places) -> tuple[int, ...]:
    numbers = range(1, len(places.slots) + 1)
    wanted = station.verification.slots or tuple(numbers)
    unknown = [str(number) for number in wanted if number not in numbers]
    if unknown:
        raise UsageError(
            f"station {station.name}: verification.slots names place {', '.join(unknown)}, the bench has "
            f"{len(places.slots)}",
            hint="Correct `slots` under [verification] in the station file, or leave it out for all.",
        )
    return wanted


def _loads(station: Station, places: Places, chosen: Sequence[int]) -> tuple[Hookup, ...]:
    ports = [port for number in chosen for port in places.slots[number - 1]]
    if len(ports) == 1:
        return (Hookup(1, {ports[0]: "load"}),)
    return make_calibration_plan(
        ports,
        one_port=("load",),
        two_port=(),
        taps=places.taps,
        one_at_a_time=station.switch.kind == "relays" and station.switch.standards == "relays",
    ).hookups


def _thrus(places: Places, chosen: Sequence[int]) -> list[Hookup]:
    """Return through connections that meet every port: within a place of two legs, else between places."""
    if places.baluns:
        groups = [
            sum((places.slots[number - 1] for number in couple), start=()) for couple in _grouped(chosen, 2)
        ]
    else:
        groups = [places.slots[number - 1] for number in chosen]
    taps = places.taps
    return [
        hookup
        for group in groups
        if len(group) > 1
        for hookup in make_calibration_plan(
            group, one_port=(), two_port=("thru",), taps={d: c for d, c in taps.items() if d in group}
        ).hookups
    ]


def _placements(artefact: Artefact, file: Path, places: Places, chosen: Sequence[int]) -> list[Placed]:
    found = []
    every = [*chosen, *(number for number in range(1, len(places.slots) + 1) if number not in chosen)]
    for couple in _grouped(chosen, len(artefact.ports), spare=every):
        labels: dict[int, str] = {}
        for number, port in zip(couple, artefact.ports, strict=True):
            slot = places.slots[number - 1]
            names = (
                [str(ModePort(port, mode)) for mode in ("d", "c")] if places.baluns else map(str, port.legs)
            )
            labels.update(zip(slot, names, strict=False))
        found.append(Placed(artefact, file, couple, dict(sorted(labels.items()))))
    return found


def _grouped(chosen: Sequence[int], size: int, *, spare: Sequence[int] = ()) -> list[tuple[int, ...]]:
    """Return the places in groups of `size`; the last is filled up with others, so that each is met."""
    groups = [tuple(chosen[at : at + size]) for at in range(0, len(chosen), size)]
    last = groups[-1]
    others = [number for number in (spare or chosen) if number not in last]
    groups[-1] = (*last, *others[: size - len(last)])
    return groups
