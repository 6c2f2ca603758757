"""A field tester's result is compared with the bench, decided, and kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive, comparison, limits, testers
from benchsweep.archive.references import ReferenceFile, keep_file
from benchsweep.errors import LimitNotDefined, ReferenceRefused, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._reduction import judge_evaluation
from benchsweep.qualification._requirement_texts import requirement_bytes, requirement_digest
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._bench import BenchRecord, path_within, place_of, read_bench
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    Root,
    append_to,
    local_archive,
    moment,
    refuse_withdrawn,
    state_of_channel,
    state_of_tester,
)
from benchsweep.qualification.comparisons._outcome import bland_altman_of, whole_outcome
from benchsweep.qualification.comparisons._result import ToldResult, read_told
from benchsweep.qualification.comparisons._rows import Compared, compare_rows
from benchsweep.qualification.comparisons._statement import Stated, read_statement, resolve, statement_text
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.qualification.comparisons._view import FieldTesterView, view_of_tester
from benchsweep.records import (
    Agreement,
    BenchMeasured,
    Comparison,
    FieldResult,
    FieldTesterCompared,
    ReferenceEvent,
    Suspicion,
    TraceDifference,
)

__all__ = ["Asked", "Looked", "compare", "decide", "exit_code_of_comparison", "look_at_result"]


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """A tester's result before anything is kept.

    Parameters
    ----------
    result
        As read.
    suspicions
        What does not fit the channel; empty without one.
    differences
        Tester less bench over frequency; empty without a channel.
    record
        The bench record it was held against, below the archive; empty without a channel.
    """

    result: FieldResult
    suspicions: tuple[Suspicion, ...] = ()
    differences: tuple[TraceDifference, ...] = ()
    record: str = ""


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


def look_at_result(
    folder: Root,
    channel: str | None = None,
    *,
    file: Path | None = None,
    mapping: str | None = None,
    told: Sequence[str] = (),
) -> Looked:
    """Look at what a tester told, and whether it fits a channel; nothing is kept.

    Parameters
    ----------
    channel
        It is held against its newest bench record that counts; None: only read.
    file, mapping, told
        As `read_told`.

    Raises
    ------
    UnknownName, ReferenceRefused
        There is no such channel, or no record of it that counts.
    UsageError, DataFileError, DefinitionError, ArchiveError
        As `read_told`; the record cannot be read.
    """
    if channel is None:
        return Looked(read_told(file, mapping, told).result)
    state = state_of_channel(ReferenceFile(folder, "channel", channel).history().events)
    entry = _bench_entry(folder, state, None)
    read = read_told(file, mapping, told, length_m=state.registered.length_m)
    bench = read_bench(place_of(folder, entry.path), limits.load_requirement(state.registered.requirement))
    compared = compare_rows(read.result, bench, Sources(None, None))
    found = comparison.suspicions(read.result, bench.evaluation.traces, bench.curves)
    return Looked(read.result, found, compared.differences, entry.path)


def compare(  # noqa: PLR0913 - what a comparison goes by, all named
    folder: Path,
    tester: str,
    channel: str,
    *,
    file: Path | None = None,
    mapping: str | None = None,
    told: Sequence[str] = (),
    record: Path | None = None,
    statement: Path | None = None,
    measured_at: str = "",
    repairs: str = "",
    by: str,
) -> FieldTesterView:
    """Compare what a tester told of a channel with the bench, decide, and keep all of it.

    Kept are the file as it came, mapping, declared accuracy and statement with it, and the text of the
    requirement: the comparison can be made again (`prove_comparison`).

    Parameters
    ----------
    file, mapping, told
        As `read_told`.
    record
        A bench record of the channel; None: the newest that counts.
    statement
        What mating and temperature add (TOML, see `StatementFile`); None: it is not stated, and what lies
        beyond the uncertainties of bench and tester is undecided.
    measured_at
        When the tester measured, ISO 8601, where its file does not say.
    repairs
        What was changed on the tester before; its history begins anew.

    Raises
    ------
    UnknownName
        There is no such tester or channel.
    ReferenceRefused
        One of them is withdrawn; the record is none of the channel, or was withdrawn; there is none that
        counts; the clock was set back.
    UsageError, DataFileError, DefinitionError
        What the tester told, a mapping, accuracy or statement cannot be read.
    ArchiveError
        The record cannot be read, or the history not written.
    """
    root = local_archive(folder)
    check_text(by, "who compares", hint="Name who does it.")
    check_text(repairs, "the repairs", may_be_empty=True)
    if measured_at:
        _check_time(measured_at)
    tester_file = ReferenceFile(root, "tester", tester)
    events = tester_file.history().events
    refuse_withdrawn("tester", tester, events)
    channel_events = ReferenceFile(root, "channel", channel).history().events
    refuse_withdrawn("channel", channel, channel_events)
    state, channel_state = state_of_tester(events), state_of_channel(channel_events)
    entry = _bench_entry(root, channel_state, record)
    requirement = limits.load_requirement(channel_state.registered.requirement)
    read = read_told(file, mapping, told, length_m=channel_state.registered.length_m)
    accuracy_text = testers.accuracy_text(state.registered.accuracy) if state.registered.accuracy else ""
    budget_text = "" if statement is None else statement_text(statement)
    bench = _read_usable(place_of(root, entry.path), requirement)
    asked = Asked(
        utc_now("microseconds"),
        by,
        tester,
        channel,
        entry.path,
        read.result,
        bench,
        sources_of(accuracy_text, budget_text, root),
        () if repairs.strip() else tuple(each.comparison for each in state.alike),
        measured_at,
    )
    found, _ = decide(asked)
    kept = _keep(root, read, requirement)
    event = FieldTesterCompared(
        asked.at, by, found, kept, read.mapping_text, accuracy_text, budget_text, read.typed, repairs
    )

    def fits(there: tuple[ReferenceEvent, ...]) -> None:
        refuse_withdrawn("tester", tester, there)

    return view_of_tester(folder, tester_file, append_to(tester_file, event, fits))


def exit_code_of_comparison(found: Comparison) -> int:
    """Return 0 where tester and bench agree, 1 where they disagree, 3 where it is undecided."""
    return {Agreement.AGREES: 0, Agreement.DISAGREES: 1, Agreement.UNDECIDED: 3}[found.outcome]


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
    found = comparison.suspicions(result, bench.evaluation.traces, bench.curves)
    outcome, words = whole_outcome(compared, found)
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
            rows=compared.rows,
            suspicions=found,
            missing=compared.missing,
            budget=tuple(_budget_lines(bench, asked.sources)),
            bland_altman=bland_altman_of(asked.channel, compared.rows, asked.earlier),
            notes=tuple(_notes(asked)),
            doubts=tuple(_doubts(asked)),
        ),
        compared,
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
    if when:
        who = f" by {asked.result.by}" if asked.result.by else ""
        yield f"measured by the tester on {when}{who}"
    yield f"bench record of {asked.bench.measured_at}"
    if asked.result.outcome:
        yield f"the tester itself said {asked.result.outcome}"
    yield from asked.result.notes


def _doubts(asked: Asked) -> Iterator[str]:
    for what, told, named in (
        ("tester", asked.result.tester, asked.tester),
        ("channel", asked.result.channel, asked.channel),
    ):
        if told and told.strip().casefold() != named.strip().casefold():
            yield f"the file says that the {what} is {told}, it was named as {named}"
    accuracy, stated = asked.sources.accuracy, asked.sources.stated
    if accuracy is not None and accuracy.doubt:
        yield accuracy.doubt
    if stated is None:
        yield "what mating and temperature add is not stated: E_n is without them, larger than it should be"
    with_model = asked.bench.evaluation.model is not None
    try:
        verdict = judge_evaluation(
            asked.bench.evaluation, asked.bench.requirement, missing_length="undecided"
        )
    except (UsageError, LimitNotDefined) as error:
        yield f"the bench record cannot be graded: {error.message}"
    else:
        yield from (f"bench record: {doubt}" for doubt in verdict.doubts)
    if not with_model:
        yield "the bench record has no uncertainty budget: nothing can be decided"


def _bench_entry(folder: Root, state: ChannelState, record: Path | None) -> BenchMeasured:
    """Return the entry of the bench record that is compared with."""
    name = state.registered.channel
    if record is None:
        if not state.baseline:
            why = "since it was returned to use" if state.measured else "yet"
            raise ReferenceRefused(
                f"the channel {name} has no bench record that counts {why}",
                hint=f'Measure it and add the record: `benchsweep compare bench "{name}" RECORD`.',
            )
        return max(state.baseline, key=lambda each: moment(each.measured_at))
    path = path_within(local_archive(folder), record)
    digest = archive.content_hash(record)
    found = next((each for each in state.measured if each.record == digest), None)
    if found is None:
        raise ReferenceRefused(
            f"{path} is no bench record of the channel {name}",
            hint=f'Add it first: `benchsweep compare bench "{name}" {path}`.',
        )
    return found


def _read_usable(source: archive.Source, requirement: limits.Requirement) -> BenchRecord:
    bench = read_bench(source, requirement)
    for why in (bench.withdrawn, bench.superseded):
        if why:
            raise ReferenceRefused(f"{source}: {why}", hint="Compare with another bench record.")
    return bench


def _keep(root: Path, read: ToldResult, requirement: limits.Requirement) -> str:
    """Keep file and requirement in the archive; return the name of the file."""
    content = requirement_bytes(requirement.texts)
    keep_file(root, content)
    return "" if read.content is None else keep_file(root, read.content)


def _check_time(at: str) -> None:
    try:
        moment(at)
    except ValueError:
        raise UsageError(f"{at!r} is no time", hint="Write it as 2026-11-28T14:30.") from None
