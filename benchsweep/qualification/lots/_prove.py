"""A lot computed again from the raw records, against its own requirement or another one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from benchsweep import limits
from benchsweep.errors import LotRefused, UnknownName
from benchsweep.lots import LotDecision, decision
from benchsweep.qualification.lots._histories import Root
from benchsweep.qualification.lots._history_again import checked_digest, history_differs, lost_words
from benchsweep.qualification.lots._recheck import ReelAgain, measured_once, recheck
from benchsweep.qualification.lots._requirement_text import requirement_of, told_as
from benchsweep.qualification.lots._variables import variables_of
from benchsweep.qualification.lots._view import LotView, read_lot
from benchsweep.records import LotState, ReelAdded, VariablesDecision

__all__ = ["LotProof", "exit_code_of_proof", "prove_lot"]


@dataclass(frozen=True, slots=True)
class LotProof:
    """What a lot is when everything is computed again.

    Parameters
    ----------
    view
        The lot as its history tells it.
    requirement, edition
        What was graded against: that of the lot, or the other one that was asked for.
    against
        True: another one.
    reels
        Every reel of the sample with a result, in the order of the draw.
    state
        The lot with the results as they are now.
    variables
        What a plan by variables says of them.
    decision
        What the plan says of them.
    differs
        Everything that is not as it was, in words; against another requirement only what is wrong with
        records and the decision if it is another one.
    doubts
        What a reader must know of it, in words.
    history
        What is wrong with the history, in words; part of `differs`, too: it has not the digest that was kept,
        or is not what a later lot saw, or a lot that it saw is not what it was.
    kept
        The digest that it was compared with, in words; empty when none was given.
    """

    view: LotView
    requirement: str
    edition: str
    against: bool
    reels: Mapping[str, ReelAgain]
    state: LotState
    variables: tuple[VariablesDecision, ...]
    decision: LotDecision
    differs: tuple[str, ...]
    doubts: tuple[str, ...] = ()
    history: tuple[str, ...] = ()
    kept: str = ""

    @property
    def other_outcome(self) -> tuple[str, ...]:
        """Reels that conform now and did not, or the other way round, or of which it is not known now."""
        return tuple(
            reel
            for reel, again in self.reels.items()
            if (None if again.result is None else again.result.conforms) is not again.entry.result.conforms
        )


def prove_lot(
    folder: Root,
    lot: str,
    *,
    against: limits.Requirement | None = None,
    digest: str = "",
    progress: Callable[[str], None] = lambda _: None,
) -> LotProof:
    """Compute a lot again from the raw sweeps of its records; nothing is changed or added.

    The history is read, each entry checked against the rules and the random order made again from the seed;
    the matrix of every record that counts is computed again from its raw sweeps (imported records have
    none), graded with the text that the requirement had when the lot was opened, and compared with what the
    history says; then the plan decides again. The history itself is held against what other lots saw of it,
    what it saw of them, and a digest that was kept elsewhere.

    Parameters
    ----------
    against
        Another requirement: what the decision would be against it.
    digest
        What was printed of the lot, 16 hexadecimal digits or more; empty: it is compared with nothing but
        what other lots saw.

    Raises
    ------
    UsageError
        The digest is none.
    UnknownName
        There is no such lot; the hint says so when a later one saw it.
    LotRefused
        The requirement has another text now, and no grading keeps the old one.
    RecordDamaged, RecordNewer, ArchiveLocked, ArchiveUnreachable, ArchiveError
        The history cannot be read, or the archive does not answer. A record that cannot be read is told of.
    """
    kept = checked_digest(digest)
    try:
        view = read_lot(folder, lot)
    except UnknownName as error:
        error.hint = f"{lost_words(folder, lot)} {error.hint}".strip()
        raise
    history, kept_words = history_differs(folder, view, kept)
    state = view.state
    if against is None and not state.counting:
        requirement = None
    else:
        requirement = requirement_of(folder, state) if against is None else against
    reels: dict[str, ReelAgain] = {}
    for reel, entry in state.counting.items():
        assert requirement is not None  # noqa: S101 - there is a result
        progress(f"computing {reel} again")
        reels[reel] = recheck(folder, state, entry, requirement, from_raw=True, compare=against is None)
    now = _state_now(state, reels)
    variables = variables_of(now)
    try:
        found = decision(now, variables)
    except LotRefused as error:  # a characteristic that the other requirement does not limit
        found = LotDecision(None, False, error.message)
    differs = list(history)
    differs += [f"{reel}: {words}" for reel, again in reels.items() for words in again.words]
    differs += measured_once(reels)
    closed = state.closed
    if closed is not None:
        decided = LotDecision(closed.accepted, closed.ends_reduced, closed.words)
        if (found.accepted, found.ends_reduced) != (decided.accepted, decided.ends_reduced):
            differs.append(f"the decision was: {closed.words}; now it is: {found.words}")
    doubts = view.doubts if against is None else told_as(against)
    return LotProof(
        view=view,
        requirement=state.opened.requirement if requirement is None else requirement.name,
        edition=state.opened.edition if requirement is None else requirement.edition,
        against=against is not None,
        reels=MappingProxyType(reels),
        state=now,
        variables=variables,
        decision=found,
        differs=tuple(differs),
        doubts=doubts,
        history=history,
        kept=kept_words,
    )


def exit_code_of_proof(proof: LotProof) -> int:
    """Return 0 when everything is as it was, 1 when something differs, 3 when nothing was decided yet.

    Against another requirement: 0 accepted, 1 not accepted, 3 undecided or open; a record that is not what
    was added is 1, too, and so is a history that is not what it was.
    """
    if not proof.against:
        if proof.differs:
            return 1
        return 3 if proof.view.state.closed is None else 0
    if (
        proof.history
        or any(again.trouble for again in proof.reels.values())
        or proof.decision.accepted is False
    ):
        return 1
    return 0 if proof.decision.accepted else 3


def _state_now(state: LotState, reels: Mapping[str, ReelAgain]) -> LotState:
    """Return the lot with the results as they are now; a reel without one is missing."""
    counting: dict[str, ReelAdded] = {
        reel: replace(again.entry, result=again.result)
        for reel, again in reels.items()
        if again.result is not None
    }
    conforms = {reel: entry.result.conforms for reel, entry in counting.items()}
    return replace(
        state,
        counting=MappingProxyType(counting),
        missing=tuple(reel for reel in state.sample if reel not in counting),
        nonconforming=tuple(reel for reel, good in conforms.items() if good is False),
        undecided=tuple(reel for reel, good in conforms.items() if good is None),
        closed=None,
    )
