"""Run a plan: connect, sweep, store; what is stored is not measured again."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.acquisition._switch import Switch
from benchsweep.errors import AcquisitionError
from benchsweep.records import Hookup, Plan, RawHookup, RawSweep

__all__ = ["HookupStore", "Sweeper", "run_plan"]


class HookupStore(Protocol):
    """Where finished hookups survive an interruption."""

    def finished(self) -> Mapping[int, RawHookup]:
        """Return what is stored, by number of the hookup."""

    def save(self, hookup: RawHookup) -> None:
        """Store a finished hookup; it is durable when this returns."""


class Sweeper(Protocol):
    """What `run_plan` needs of an analyzer that has been configured."""

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """The grid, ``(n_freq,)``."""

    def sweep(self, ports: Sequence[int]) -> RawSweep:
        """Take one sweep."""


def run_plan(
    plan: Plan,
    analyzer: Sweeper,
    switch: Switch,
    store: HookupStore,
    *,
    progress: Callable[[str], None],
    review: Callable[[Sequence[RawHookup]], None] = lambda _: None,
) -> tuple[RawHookup, ...]:
    """Make and sweep every hookup of `plan` that `store` does not have yet.

    Each finished hookup is stored before the next begins. Whatever stops the run, the same call goes on
    from there and gives the same as an uninterrupted one.

    Parameters
    ----------
    plan
        From `make_plan` or `make_calibration_plan`.
    analyzer
        Configured analyzer.
    switch
        Who makes the connections.
    store
        Where finished hookups are kept.
    progress
        Gets one line for each hookup that is made.
    review
        Sees all hookups so far after each one; what it raises ends the run before the last one is stored.

    Returns
    -------
    All hookups, in the order of the plan.

    Raises
    ------
    AcquisitionError
        The store holds hookups of another plan, or on another grid.
    InstrumentError
        See `Analyzer.sweep`.
    """
    finished = store.finished()
    _check_stored(plan, finished, analyzer.frequency_hz)
    total = len(plan.hookups)
    done: list[RawHookup] = []
    for place, hookup in enumerate(plan.hookups, start=1):
        if hookup.number in finished:
            done.append(finished[hookup.number])
            continue
        switch.connect(hookup, total=total)
        started = time.monotonic()
        raw = RawHookup(hookup, analyzer.sweep(hookup.analyzer_ports))
        review((*done, raw))
        store.save(raw)
        done.append(raw)
        progress(f"hookup {place} of {total}: {_what(hookup)}: {time.monotonic() - started:.2f} s")
    return tuple(done)


def _check_stored(plan: Plan, finished: Mapping[int, RawHookup], grid: NDArray[np.float64]) -> None:
    planned = {hookup.number: hookup for hookup in plan.hookups}
    hint = "Discard the unfinished job and start it anew, or give the settings with which it was begun."
    for number, raw in sorted(finished.items()):
        wanted = planned.get(number)
        if wanted is None:
            raise AcquisitionError(
                f"the unfinished job holds hookup {number}, but the plan has {len(planned)}", hint=hint
            )
        stored = raw.hookup.connections
        if stored != wanted.connections:
            port = next(p for p in sorted({*stored, *wanted.connections}) if _differ(p, stored, wanted))
            raise AcquisitionError(
                f"hookup {number} of the unfinished job was measured with analyzer port {port} on "
                f"{stored.get(port, 'nothing')}, the plan wants {wanted.connections.get(port, 'nothing')}",
                hint=hint,
            )
        if raw.sweep.analyzer_ports != wanted.analyzer_ports:
            raise AcquisitionError(
                f"hookup {number} of the unfinished job was swept with ports {raw.sweep.analyzer_ports}, "
                f"the plan wants {wanted.analyzer_ports}",
                hint=hint,
            )
        if not np.array_equal(raw.sweep.frequency_hz, grid):
            raise AcquisitionError(
                f"hookup {number} of the unfinished job was measured on another frequency grid "
                f"({raw.sweep.frequency_hz.size} points) than the analyzer now has ({grid.size} points)",
                hint=hint,
            )


def _differ(port: int, stored: Mapping[int, str], wanted: Hookup) -> bool:
    return stored.get(port) != wanted.connections.get(port)


def _what(hookup: Hookup) -> str:
    """Return the things attached: balanced ports, or the standard."""
    names: list[str] = []
    for port, target in hookup.connections.items():
        if target.startswith("thru "):
            name = "thru " + " - ".join(map(str, sorted((port, int(target.split()[1])))))
        else:
            name = target.split(".")[0]
        if name not in names:
            names.append(name)
    return ", ".join(names)
