"""Run a plan: connect, sweep, store; what is stored is not measured again unless a person wants it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.acquisition._repeat import Repeats, Sweeper, describe_hookup, sweep_hookup
from benchsweep.acquisition._switch import Again, Back, Done, Move, Switch
from benchsweep.errors import AcquisitionError
from benchsweep.records import Hookup, Plan, RawHookup, RawSweep

__all__ = ["HookupStore", "run_plan"]


class HookupStore(Protocol):
    """Where finished hookups survive an interruption."""

    def finished(self) -> Mapping[int, RawHookup]:
        """Return what is stored, by number of the hookup."""

    def save(self, raw: RawHookup) -> None:
        """Store a finished hookup, in place of an older one of the same number; durable when this returns."""


def _nothing(_: object) -> None:
    return None


def run_plan(  # noqa: PLR0913 - what is told and to whom is named each time
    plan: Plan,
    analyzer: Sweeper,
    switch: Switch,
    store: HookupStore,
    *,
    progress: Callable[[str], None],
    review: Callable[[Sequence[RawHookup]], None] = _nothing,
    retries: int = 2,
    wait_for_link_s: float = 60.0,
    incident: Callable[[str], None] = _nothing,
    wants_switch_terms: Callable[[Hookup], bool] | None = None,
) -> tuple[RawHookup, ...]:
    """Make and sweep every hookup of `plan` that `store` does not have yet.

    Each finished hookup is stored before the next begins. Whatever stops the run, the same call goes on
    from there and gives the same as an uninterrupted one. A sweep that fails for a passing reason is repeated
    from its start, see `sweep_hookup`. A person may want a hookup once more: it is swept again and takes the
    place of the stored one, which stays until the new one is stored.

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
        Gets one line for each hookup that is made, and for each thing that went wrong.
    review
        Sees all hookups so far, in the order of the plan, after each one; what it raises ends the run before
        the last one is stored.
    retries, wait_for_link_s
        How often a hookup is repeated, and how long a lost link is waited for.
    incident
        Gets one sentence for each repeat; `progress` gets it too.
    wants_switch_terms
        Tells for which hookups the switch terms of ports that a standard joins are measured, too; None: for
        none. Ask only an analyzer that measures them, see `Analyzer.measures_switch_terms`.

    Returns
    -------
    All hookups, in the order of the plan.

    Raises
    ------
    AcquisitionError
        The store holds hookups of another plan, on another grid, or without the switch terms that are wanted.
    InstrumentError
        See `sweep_hookup`.
    KeyboardInterrupt
        A person stopped.
    """

    def tell(sentence: str) -> None:
        incident(sentence)
        progress(sentence)

    repeats = Repeats(retries, wait_for_link_s, progress, tell)
    wants = wants_switch_terms or _no_hookup
    return _Run(plan, analyzer, switch, store, progress, review, repeats, wants).run()


def _no_hookup(_: Hookup) -> bool:
    return False


class _Run:
    """One call of `run_plan`."""

    def __init__(
        self,
        plan: Plan,
        analyzer: Sweeper,
        switch: Switch,
        store: HookupStore,
        progress: Callable[[str], None],
        review: Callable[[Sequence[RawHookup]], None],
        repeats: Repeats,
        wants_switch_terms: Callable[[Hookup], bool],
    ) -> None:
        self._plan = {hookup.number: hookup for hookup in plan.hookups}
        self._analyzer, self._switch, self._store = analyzer, switch, store
        self._progress, self._review, self._repeats = progress, review, repeats
        self._wants_switch_terms = wants_switch_terms
        self._done = dict(store.finished())
        self._last: int | None = None

    def run(self) -> tuple[RawHookup, ...]:
        """Go on until every hookup is swept and nobody wants one once more."""
        _check_stored(self._plan, self._done, self._analyzer.frequency_hz)
        _check_switch_terms(self._done, self._wants_switch_terms)
        total = len(self._plan)
        wanted: int | None = None
        while True:
            missing = next((number for number in self._plan if number not in self._done), None)
            number = wanted or missing
            move = self._switch.finished(total=total) if number is None else self._make(number)
            if number is None and isinstance(move, Done):
                return self._in_order(self._done)
            wanted = self._meant(move, newest=self._last or (missing or total + 1) - 1)

    def _make(self, number: int) -> Move:
        hookup, total = self._plan[number], len(self._plan)
        try:
            swept = sweep_hookup(
                hookup,
                self._analyzer,
                self._switch,
                self._repeats,
                total=total,
                switch_terms=self._wants_switch_terms(hookup),
            )
        except KeyboardInterrupt:
            if number in self._done:
                self._progress(f"hookup {number} of {total}: its earlier sweep is kept")
            raise
        if not isinstance(swept, RawSweep):
            return swept
        raw = RawHookup(hookup, swept)
        self._review(self._in_order({**self._done, number: raw}))
        replaced = number in self._done
        self._store.save(raw)
        self._done[number] = raw
        self._last = number
        self._progress(
            f"hookup {number} of {total}: {describe_hookup(hookup)}: {swept.seconds:.2f} s of sweeping"
            f"{', in place of the earlier sweep' if replaced else ''}"
        )
        return Done()

    def _meant(self, move: Move, *, newest: int) -> int | None:
        """Return which hookup comes next because a person wants it; None: the first that is missing."""
        match move:
            case Done():
                return None
            case Again():
                wanted = newest
            case Back():
                wanted = move.number
        if wanted not in self._done:
            raise AcquisitionError(
                f"hookup {wanted} is wanted once more, but it has not been swept yet",
                hint="Go back to one that has been swept.",
            )
        return wanted

    def _in_order(self, done: Mapping[int, RawHookup]) -> tuple[RawHookup, ...]:
        return tuple(done[number] for number in self._plan if number in done)


_STORED_HINT = "Discard the unfinished job and start it anew, or give the settings with which it was begun."


def _check_switch_terms(finished: Mapping[int, RawHookup], wanted: Callable[[Hookup], bool]) -> None:
    for number, raw in sorted(finished.items()):
        if raw.sweep.switch_terms is None and wanted(raw.hookup):
            raise AcquisitionError(
                f"hookup {number} of the unfinished job was swept without the switch terms that are wanted",
                hint=_STORED_HINT,
            )


def _check_stored(
    planned: Mapping[int, Hookup], finished: Mapping[int, RawHookup], grid: NDArray[np.float64]
) -> None:
    hint = _STORED_HINT
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
