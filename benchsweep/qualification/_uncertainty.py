"""From a measurement to the uncertainty of its traces: under which circumstances its budget applies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from benchsweep import fixture
from benchsweep.definitions import find_definition
from benchsweep.errors import DefinitionError
from benchsweep.records import Measurement, RawHookup, SMatrix, balanced_ports_among
from benchsweep.uncertainty import (
    Budget,
    BundleModel,
    Circumstances,
    Model,
    load_budget,
    read_budget,
)

__all__ = ["budget_text", "uncertainty_model", "with_budget"]

_Figures = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def budget_text(name: str) -> str:
    """Return the text of the budget of that name, or of the TOML file that `name` is, after checking it.

    Raises
    ------
    UnknownName, DefinitionError
    """
    path = find_definition("budgets", name)
    load_budget(str(path))
    return path.read_text(encoding="utf-8")


def with_budget(measurement: Measurement, name: str | None) -> Measurement:
    """Return the measurement with another budget than its own; as it is when `name` is None.

    Raises
    ------
    UnknownName, DefinitionError
    """
    return measurement if name is None else replace(measurement, budget_toml=budget_text(name))


def uncertainty_model(measurement: Measurement) -> Model | None:
    """Return what states the uncertainty of every trace of `measurement`; None without a budget.

    Raises
    ------
    DefinitionError
        The budget or the fixture that the measurement holds is wrong, or the budget is for another kind of
        fixture.
    FixtureError
        The balance figures of the fixture do not cover the grid.
    """
    if not measurement.budget_toml:
        return None
    budget = read_budget(measurement.budget_toml)
    _refuse_other_kind(budget, measurement)
    calibration = measurement.calibration
    definition = fixture.read_fixture(measurement.fixture_toml) if measurement.fixture_toml else None
    analyzer = measurement.analyzer
    slots = () if definition is None or analyzer is None else definition.slots(analyzer.ports)
    every = Circumstances(
        settings=measurement.settings,
        standard_terms=() if calibration is None else calibration.standard_terms,
        slots=slots,
        balance={} if definition is None else _balance(measurement, definition, slots),
    )
    own = _made_in(every, measurement, _of_the_specimen(measurement))
    if not measurement.couplings:
        return Model(budget, measurement.corrected, own)
    beside = [
        (coupling, _made_in(every, measurement, _of_coupling(measurement, coupling)))
        for coupling in measurement.couplings
    ]
    return BundleModel(budget, measurement.corrected, own, beside)


def _made_in(every: Circumstances, measurement: Measurement, chosen: list[RawHookup]) -> Circumstances:
    return replace(
        every,
        hookups=tuple(raw.hookup for raw in chosen),
        hours_since_calibration=_hours(measurement, chosen),
    )


def _of_the_specimen(measurement: Measurement) -> list[RawHookup]:
    """Return the hookups that the matrix of the specimen was put together from: no other cable in them."""
    return [raw for raw in measurement.hookups if not any(_cables(raw))]


def _of_coupling(measurement: Measurement, coupling: SMatrix) -> list[RawHookup]:
    """Return the hookups that a coupling comes from: with another cable, and all they attached is in it."""
    ports = set(coupling.ports)
    return [
        raw
        for raw in measurement.hookups
        if any(_cables(raw)) and ports.issuperset(raw.hookup.connections.values())
    ]


def _cables(raw: RawHookup) -> set[int]:
    return {port.cable for port in balanced_ports_among(raw.hookup.connections.values())}


def _refuse_other_kind(budget: Budget, measurement: Measurement) -> None:
    """Refuse a budget for baluns where there are none, and one that knows no balance where there are."""
    baluns = any("/" in port for port in measurement.corrected.ports)
    knows = any(term.kind == "balance" for term in budget.term)
    if baluns and not knows:
        raise DefinitionError(
            f"budget {budget.name} has no term of kind balance, and this was measured through baluns",
            hint="Give a budget for baluns, such as one made from baluns-template.",
        )
    if knows and not baluns:
        raise DefinitionError(
            f"budget {budget.name} is for baluns, and this was measured at the contacts",
            hint="Give a budget for direct contacts, such as one made from contacts-template.",
        )


def _hours(measurement: Measurement, hookups: list[RawHookup]) -> tuple[float, ...]:
    """Return for each of some hookups how many hours its sweep lies from the calibration, before or after."""
    calibration = measurement.calibration
    if calibration is None:
        return (0.0,) * len(hookups)
    made = _instant(calibration.created_at)
    return tuple(abs((_instant(raw.sweep.taken_at) - made).total_seconds()) / 3600.0 for raw in hookups)


def _instant(text: str) -> datetime:
    instant = datetime.fromisoformat(text)
    return instant if instant.tzinfo else datetime.fromisoformat(f"{text}+00:00")


def _balance(
    measurement: Measurement, definition: fixture.Fixture, slots: tuple[tuple[int, ...], ...]
) -> Mapping[str, _Figures]:
    """Return the balance at every balanced port: of its slot, or the worst of its slots."""
    if definition.balance is None:
        return {}
    grid = measurement.corrected.frequency_hz
    found: dict[str, _Figures] = {}
    for slot in slots:
        of_slot = fixture.balance_of(definition, grid, slot)
        figures = (
            of_slot.output_signal_balance,
            of_slot.common_mode_rejection,
            of_slot.common_mode_reflection,
        )
        for raw in measurement.hookups:
            attached = (raw.hookup.connections[port] for port in slot if port in raw.hookup.connections)
            for port in map(str, balanced_ports_among(attached)):
                before = found.get(port, figures)
                osb, cmr, reflection = (
                    np.maximum(one, other) for one, other in zip(before, figures, strict=True)
                )
                found[port] = (osb, cmr, reflection)
    return found
