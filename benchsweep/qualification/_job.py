"""What calibrating and qualifying have in common: a plan that is run, remembered and archived once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from benchsweep import archive
from benchsweep.acquisition import run_plan
from benchsweep.errors import AcquisitionError, InstrumentError
from benchsweep.qualification._bench import Bench, Progress
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._wear import counting_switch
from benchsweep.records import Hookup, Plan, RawHookup

__all__ = ["archiving_time", "begin_job", "remember_ambient", "run_job"]


def begin_job(bench: Bench, journal: archive.Journal, total: int, progress: Progress) -> None:
    """Say that an interrupted run is continued, remember that too, and who confirmed the cautions.

    Raises
    ------
    ArchiveError
    """
    _tell_resumed(journal, total, progress)
    notes = journal.notes
    told = tuple(sentence for sentence in bench.incidents if sentence not in notes.incidents)
    notes = replace(notes, incidents=(*notes.incidents, *told))
    kept = len(journal.finished())
    # Once a result has its time nothing but its archiving is continued.
    if kept and not notes.created_at:
        several = "s" if kept > 1 else ""
        continued = f"{utc_now()} continued after an interruption, {kept} hookup{several} of {total} kept"
        notes = replace(notes, incidents=(*notes.incidents, continued))
    if notes.safety is None and bench.safety is not None:
        notes = replace(notes, safety=bench.safety)
    if notes != journal.notes:
        journal.keep_notes(notes)


def remember_ambient(journal: archive.Journal, told: Mapping[str, float]) -> None:
    """Remember ambient readings beside those that were told before an interruption.

    A quantity that is told again has its new value; that it had another one is an incident of the job.

    Raises
    ------
    ArchiveError
    """
    notes = journal.notes
    changed = tuple(
        f"{utc_now()} ambient {name} told again: {told[name]:g}, before the interruption {before:g}"
        for name, before in notes.ambient.items()
        if name in told and told[name] != before
    )
    notes = replace(notes, incidents=(*notes.incidents, *changed), ambient={**notes.ambient, **told})
    if notes != journal.notes:
        journal.keep_notes(notes)


def run_job(
    bench: Bench,
    plan: Plan,
    journal: archive.Journal,
    *,
    progress: Progress,
    review: Callable[[Sequence[RawHookup]], None] = lambda _: None,
    wants_switch_terms: Callable[[Hookup], bool] | None = None,
) -> tuple[RawHookup, ...]:
    """Run `plan` as the station wants it; incidents are remembered at once, as hookups are.

    A job that was being archived when it was interrupted is not run again: its hookups are returned.

    Raises
    ------
    AcquisitionError, InstrumentError, ArchiveError
    """
    kept = tuple(journal.finished().values())
    if len(kept) == len(plan.hookups) and journal.notes.sweeps == _times(kept):
        return kept

    def remember(sentence: str) -> None:
        notes = journal.notes
        journal.keep_notes(replace(notes, incidents=(*notes.incidents, sentence)))

    keys = bench.station.analyzer
    try:
        return run_plan(
            plan,
            bench.analyzer,
            counting_switch(bench, progress),
            journal,
            progress=progress,
            review=review,
            retries=keys.retries,
            wait_for_link_s=keys.wait_for_link_s,
            incident=remember,
            wants_switch_terms=wants_switch_terms,
        )
    except (InstrumentError, AcquisitionError) as error:
        if journal.finished():
            # With the error, so that it is said to a person who wants no progress too.
            of = f"{len(journal.finished())} of {len(plan.hookups)}"
            error.hint = (
                f"{error.hint} {of} hookups are kept: the same command continues from there."
            ).strip()
        raise


def archiving_time(
    journal: archive.Journal, hookups: Sequence[RawHookup], *, timespec: str = "seconds"
) -> str:
    """Return the time of creation of the result that is made of `hookups`.

    It is remembered before it is returned, so that a run which is killed between archiving and forgetting the
    job finds its own result, and does not archive the same sweeps a second time.

    Raises
    ------
    ArchiveError
    """
    notes = journal.notes
    if not notes.created_at or notes.sweeps != _times(hookups):
        notes = replace(notes, created_at=utc_now(timespec), sweeps=_times(hookups))
        journal.keep_notes(notes)
    return notes.created_at


def _times(hookups: Sequence[RawHookup]) -> tuple[str, ...]:
    return tuple(raw.sweep.taken_at for raw in hookups)


def _tell_resumed(journal: archive.Journal, total: int, progress: Progress) -> None:
    """Say that an interrupted run is continued, and how to begin afresh instead."""
    kept = journal.finished()
    if kept:
        last = max(raw.sweep.taken_at for raw in kept.values())
        progress(
            f"continuing an interrupted run: {len(kept)} of {total} hookups are kept, the last of {last} "
            "(--afresh begins anew)"
        )
    elif journal.restarted:
        progress(
            "an interrupted run had other settings, another calibration or another analyzer: its hookups "
            "are dropped"
        )
