"""Lives of lots at random, legal steps and others, against a model that is told in other words.

The model keeps a plain list of reels to test and of what each one has, and never asks the room itself. Every
step that it takes for illegal has to be refused, every other one has to be accepted and to leave both alike;
what was accepted is kept in a file besides, and read again.
"""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from benchsweep.archive.lots import LotFile, create, list_lots
from benchsweep.errors import LotRefused
from benchsweep.lots import check_event, decision, state_of
from benchsweep.records import LotClosed, LotEvent, Outcome
from tests.lots.entries import REELS, added, attributes, closed, excluded, opened, replanned

BAD = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
SIZES = st.integers(1, len(REELS))
SEEDS = st.text("abc", min_size=1)


class Lot(RuleBasedStateMachine):
    """One lot."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.records = 0

    @initialize(
        sample=SIZES, accept=st.integers(0, 3), gap=st.integers(1, 2), seed=st.text("abc", min_size=1)
    )
    def begin(self, sample: int, accept: int, gap: int, seed: str) -> None:
        event = opened(attributes(sample, accept, accept + gap), seed=seed)
        self.file = create(Path(self.folder.name), event)
        self.events: list[LotEvent] = [event]
        # The model: which reels are to be tested, which may still take their place, what each one has.
        keys = {reel: hashlib.sha256(f"{seed}\n{reel}".encode()).hexdigest() for reel in REELS}
        order = sorted(REELS, key=lambda reel: keys[reel])
        self.to_test, self.spare = order[:sample], order[sample:]
        self.has: dict[str, Outcome] = {}
        self.used: list[tuple[str, str, Outcome]] = []
        self.accept, self.reject = accept, accept + gap
        self.plan = event.plan
        self.over = False

    def step(self, event: LotEvent, legal: bool) -> bool:
        """Try an entry in all three places."""
        if not legal:
            with pytest.raises(LotRefused) as caught:
                check_event(state_of(self.events), event)
            assert caught.value.message
            assert caught.value.hint
            with pytest.raises(LotRefused):
                state_of([*self.events, event])
            with pytest.raises(LotRefused):
                self.file.append(event, lambda there: check_event(state_of(there), event))
            return False
        self.file.append(event, lambda there: check_event(state_of(there), event))
        self.events.append(event)
        return True

    @rule(
        reel=st.sampled_from([*REELS, "R099"]),
        outcome=st.sampled_from([Outcome.PASS, Outcome.PASS, Outcome.PASS, *Outcome]),
        retest=st.booleans(),
        again=st.booleans(),
    )
    def add(self, reel: str, outcome: Outcome, retest: bool, again: bool) -> None:
        self.records += 1
        record = hashlib.sha256(b"%d" % self.records).hexdigest()
        if again and self.used:
            record = self.used[-1][0]
        event = added(reel, outcome, record=record, retest_reason="doubt" if retest else "")
        in_turn = reel in self.to_test and (reel in self.has) is retest
        if self.step(event, not self.over and in_turn and not self.taken(record, reel, outcome)):
            self.has[reel] = outcome
            self.used.append((record, reel, outcome))

    def taken(self, record: str, reel: str, outcome: Outcome) -> bool:
        """A record that was corrected may come again: with another result, or for another reel in the end."""
        last = {who: number for number, (_, who, _) in enumerate(self.used)}
        return any(
            outcome is said if who == reel else who in self.to_test and last[who] == number
            for number, (there, who, said) in enumerate(self.used)
            if there == record
        )

    @rule(outcome=st.sampled_from([Outcome.PASS, Outcome.PASS, Outcome.FAIL]))
    def add_next(self, outcome: Outcome) -> None:
        """Add the next reel that is missing, so that lots come to an end at all."""
        missing = [reel for reel in self.to_test if reel not in self.has]
        if missing:
            self.add(missing[0], outcome, False, False)

    @rule(reel=st.sampled_from([*REELS, "R099"]))
    def exclude(self, reel: str) -> None:
        legal = not self.over and reel in self.to_test and bool(self.spare) and self.has.get(reel) not in BAD
        if self.step(excluded(reel), legal):
            self.to_test.remove(reel)
            self.to_test.append(self.spare.pop(0))
            self.has.pop(reel, None)

    @rule(sample=SIZES, accept=st.integers(0, 3))
    def replan(self, sample: int, accept: int) -> None:
        plan = attributes(sample, accept)
        bad = sum(outcome in BAD for outcome in self.has.values())
        grows = sample >= len(self.to_test) and bad < self.reject
        enough = sample <= len(self.to_test) + len(self.spare)
        legal = not self.over and plan != self.plan and enough and (grows or not self.used)
        if self.step(replanned(plan), legal):
            every = [*self.to_test, *self.spare]
            self.to_test, self.spare = every[:sample], every[sample:]
            self.accept, self.reject, self.plan = accept, accept + 1, plan
            self.has = {reel: outcome for reel, outcome in self.has.items() if reel in self.to_test}

    def ending(self) -> tuple[LotClosed, bool]:
        outcomes = [self.has.get(reel) for reel in self.to_test]
        bad = [reel for reel in self.to_test if self.has.get(reel) in BAD]
        event = closed(len(bad) < self.reject, bad, ends_reduced=self.accept < len(bad) < self.reject)
        whole = None not in outcomes and Outcome.UNDECIDED not in outcomes
        return event, whole and not self.over

    @rule()
    def close(self) -> None:
        event, legal = self.ending()
        if self.step(event, legal):
            self.over = True

    @precondition(lambda self: not self.over)
    @rule()
    def close_otherwise(self) -> None:
        event, _ = self.ending()
        self.step(replace(event, accepted=not event.accepted, ends_reduced=False), legal=False)
        self.step(replace(event, nonconforming=(*event.nonconforming, "R099")), legal=False)

    @rule()
    def open_again(self) -> None:
        self.step(opened(self.plan), legal=False)

    @invariant()
    def alike(self) -> None:
        there = LotFile(Path(self.folder.name), self.file.lot).read()
        assert list(there) == self.events
        state = state_of(there)
        assert list(state.sample) == self.to_test
        assert {reel: entry.result.outcome for reel, entry in state.counting.items()} == self.has
        assert set(state.missing) == set(self.to_test) - set(self.has)
        assert state.undecided == tuple(r for r in self.to_test if self.has.get(r) is Outcome.UNDECIDED)
        assert state.nonconforming == tuple(r for r in self.to_test if self.has.get(r) in BAD)
        assert (state.closed is not None) is self.over
        found = decision(state)
        assert (found.accepted is None) is bool(state.missing or state.undecided)
        if found.accepted is not None:
            assert found.accepted is (len(state.nonconforming) < self.reject)
        assert [file.lot for file in list_lots(Path(self.folder.name))] == [self.file.lot]

    def teardown(self) -> None:
        self.folder.cleanup()


TestLifeOfLots = Lot.TestCase
TestLifeOfLots.settings = settings(
    max_examples=40,
    stateful_step_count=30,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
