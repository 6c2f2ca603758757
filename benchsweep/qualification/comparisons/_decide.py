"""A comparison made of all that it goes by; nothing is read or kept here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchsweep import comparison, limits, testers
from benchsweep.errors import LimitNotDefined, UsageError
from benchsweep.qualification._reduction import judge_evaluation
from benchsweep.qualification._requirement_texts import requirement_digest
from benchsweep.qualification.comparisons._band import band_words
from benchsweep.qualification.comparisons._bench import BenchRecord
from benchsweep.qualification.comparisons._histories import Root, days_between, told_moment
from benchsweep.qualification.comparisons._outcome import bland_altman_of, whole_outcome
from benchsweep.qualification.comparisons._rows import Compared, compare_rows
from benchsweep.qualification.comparisons._statement import Stated, read_statement, resolve
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.records import (
    Agreement,
    ComparedTrace,
    Comparison,
    FieldResult,
    Outcome,
    Parameter,
    Suspicion,
)

__all__ = ["Asked", "decide", "measured_by_tester", "sources_of", "suspicions_of"]

# A time without its offset is taken as UTC; it may be so much later than that.
_ZONE_DAYS = 1.0
_BALANCE = frozenset({Parameter.TCL, Parameter.ELTCTL})


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """All that a comparison goes by; the same gives the same comparison.

    Parameters
    ----------
    at, by, tester, channel
        As `Comparison`.
    path
        The bench record, below the archive.
    result
        Of the tester.
    bench
        The record, with the requirement.
    sources
        What is known of uncertainties.
    earlier
        Comparisons of the tester since it was last changed.
    measured_at
        When the tester measured, as a person said; empty: as its file says.
    of_channel
        What a reader must know of the channel, in words.
    of_tester
        That the result cannot be of this tester: it was another one's before.
    """

    at: str
    by: str
    tester: str
    channel: str
    path: str
    result: FieldResult
    bench: BenchRecord
    sources: Sources
    earlier: tuple[Comparison, ...]
    measured_at: str = ""
    of_channel: tuple[str, ...] = ()
    of_tester: tuple[Suspicion, ...] = ()


def sources_of(accuracy_text: str, budget_text: str, folder: Root) -> Sources:
    """Return what is known of uncertainties from the texts that are kept with a comparison.

    Raises
    ------
    DefinitionError, UnknownName, UsageError, ArchiveError
        A text is refused, or the study that it names.
    """
    stated = resolve(read_statement(budget_text), folder) if budget_text else None
    return Sources(testers.read_accuracy(accuracy_text) if accuracy_text else None, stated)


def decide(asked: Asked) -> tuple[Comparison, Compared]:
    """Compare and decide; nothing is kept, and the same is found from the same."""
    bench, result = asked.bench, asked.result
    compared = compare_rows(result, bench, asked.sources)
    found = (*asked.of_tester, *suspicions_of(result, bench))
    outcome, words = whole_outcome(compared, found, asked.sources.accuracy)
    part = band_words(result, bench)
    if part and outcome is Agreement.AGREES:
        words = f"{words}; of a part of the band only"
    return (
        Comparison(
            at=asked.at,
            by=asked.by,
            tester=asked.tester,
            channel=asked.channel,
            record=asked.path,
            record_digest=bench.content_hash,
            requirement=bench.requirement.name,
            requirement_digest=requirement_digest(bench.requirement.texts),
            source=result.source,
            source_digest=result.digest,
            mapping=result.mapping,
            outcome=outcome,
            words=words,
            rows=_rows_as_told(compared.rows, found),
            suspicions=found,
            missing=compared.missing,
            budget=tuple(_budget_lines(bench, asked.sources)),
            bland_altman=bland_altman_of(asked.channel, compared.rows, asked.earlier),
            notes=tuple(_notes(asked)),
            doubts=tuple(_doubts(asked)),
            measured_at=measured_by_tester(asked.measured_at or result.at, asked.at),
            limited=compared.limited,
            whole_band=not part,
        ),
        compared,
    )


def _rows_as_told(
    rows: tuple[ComparedTrace, ...], suspicions: Sequence[Suspicion]
) -> tuple[ComparedTrace, ...]:
    """Return the rows, none of them decided where something does not fit: the names may be wrong."""
    if not any(suspicion.hinders for suspicion in suspicions):
        return rows
    return tuple(
        row
        if row.outcome is Agreement.UNDECIDED
        else replace(
            row, outcome=Agreement.UNDECIDED, words=f"{row.words}; not decided: something does not fit"
        )
        for row in rows
    )


def measured_by_tester(told: str, now: str) -> str:
    """Return when a tester measured, by what was told; empty where that is no time or has yet to come."""
    found = told_moment(told) if told else ""
    return "" if not found or days_between(now, found) > _ZONE_DAYS else found


def suspicions_of(result: FieldResult, bench: BenchRecord) -> tuple[Suspicion, ...]:
    """Return what in a result cannot be of the channel as it is named.

    Balance does not speak: contacts make as much of it at each mating as the channel does, so that it tells
    no two pairs apart.
    """
    told = replace(
        result,
        traces=tuple(trace for trace in result.traces if trace.parameter not in _BALANCE),
        points=tuple(point for point in result.points if point.parameter not in _BALANCE),
    )
    return comparison.suspicions(
        told if told.traces or told.points else result, bench.evaluation.traces, bench.curves
    )


def _budget_lines(bench: BenchRecord, sources: Sources) -> Iterator[str]:
    model = bench.evaluation.model
    if model is None:
        yield "bench: the record was measured without an uncertainty budget"
    else:
        yield f"bench: budget {model.budget.name} of the record, k = 2"
    accuracy = sources.accuracy
    if accuracy is None:
        yield "tester: no accuracy is declared"
    else:
        yield f"tester: declared accuracy {accuracy.name}; {accuracy.source} ({accuracy.standing})"
    yield from _stated_lines(sources.stated)


def _stated_lines(stated: Stated | None) -> Iterator[str]:
    if stated is None:
        yield "mating and temperature: not stated"
        return
    yield from stated.lines
    if stated.difference_degc is None:
        yield "temperature: not stated"


def _notes(asked: Asked) -> Iterator[str]:
    when = asked.measured_at or asked.result.at
    if when and measured_by_tester(when, asked.at):
        who = f" by {asked.result.by}" if asked.result.by else ""
        yield f"measured by the tester on {when}{who}"
    yield f"bench record of {asked.bench.measured_at}"
    if (told := _other_requirement(asked)) and not _is_ours(asked.result.requirement):
        yield told
    if asked.result.outcome:
        yield f"the tester itself said {asked.result.outcome}"
    yield from asked.result.notes


def _other_requirement(asked: Asked) -> str:
    """Return that the file names another requirement, in words; empty: it names this one, or none."""
    told, used = asked.result.requirement, asked.bench.requirement.name
    if not told or told.strip().casefold() == used.casefold():
        return ""
    return f"the file says that it was measured against {told}; here it is held against {used}"


def _is_ours(requirement: str) -> bool:
    """Tell whether a requirement is one of ours: else the words are the tester's, and may mean the same."""
    return requirement.strip().casefold() in {name.casefold() for name in limits.requirement_names()}


def _doubts(asked: Asked) -> Iterator[str]:
    for what, told, named in (
        ("tester", asked.result.tester, asked.tester),
        ("channel", asked.result.channel, asked.channel),
    ):
        if told and told.strip().casefold() != named.strip().casefold():
            yield f"the file says that the {what} is {told}, it was named as {named}"
    when = asked.measured_at or asked.result.at
    if when and not measured_by_tester(when, asked.at):
        yield (
            f"that the tester measured on {when} cannot be: it was compared on {asked.at[:10]}; "
            "its clock may be wrong, and the day of the comparison is taken"
        )
    own = told_moment(asked.result.at) if asked.result.at else ""
    given = told_moment(asked.measured_at) if asked.measured_at else ""
    if own and given and abs(days_between(own, given)) > _ZONE_DAYS:
        yield f"the file says that the tester measured on {own[:10]}, the person who added it {given[:10]}"
    if (told := _other_requirement(asked)) and _is_ours(asked.result.requirement):
        yield told
    yield from band_words(asked.result, asked.bench)
    yield from asked.of_channel
    accuracy, stated = asked.sources.accuracy, asked.sources.stated
    if accuracy is not None and accuracy.doubt:
        yield accuracy.doubt
    if stated is None:
        yield "what mating and temperature add is not stated: E_n is without them, larger than it should be"
    yield from _bench_doubts(asked)


def _bench_doubts(asked: Asked) -> Iterator[str]:
    """Yield what is doubtful of the bench record, and where the tester's own verdict is another one."""
    bench, said = asked.bench, asked.result.outcome
    try:
        verdict = judge_evaluation(bench.evaluation, bench.requirement, missing_length="undecided")
    except (UsageError, LimitNotDefined) as error:
        yield f"the bench record cannot be graded: {error.message}"
    else:
        yield from (f"bench record: {doubt}" for doubt in verdict.doubts)
        if said and verdict.outcome in (Outcome.PASS, Outcome.FAIL) and said != verdict.outcome:
            yield (
                f"the tester itself said {said}, by the bench it is a {verdict.outcome}: look which "
                "requirement it was set to, and how near the limit the channel is"
            )
    if bench.evaluation.model is None:
        yield "the bench record has no uncertainty budget: nothing can be decided"
