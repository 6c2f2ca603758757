"""A field tester's result is compared with the bench, decided, and kept."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchsweep import archive, limits
from benchsweep.archive.references import ReferenceFile, keep_file
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._requirement_texts import requirement_bytes
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._bench import BenchRecord, path_within, place_of, read_bench
from benchsweep.qualification.comparisons._decide import (
    Asked,
    decide,
    measured_by_tester,
    sources_of,
    suspicions_of,
)
from benchsweep.qualification.comparisons._declared import accuracy_in_force
from benchsweep.qualification.comparisons._everyone import everyone
from benchsweep.qualification.comparisons._fit import fit_words, lacking
from benchsweep.qualification.comparisons._histories import (
    ChannelState,
    FieldTesterState,
    Root,
    append_to,
    days_between,
    earlier_than,
    local_archive,
    moment,
    refuse_behind,
    refuse_withdrawn,
    same_told,
    state_of_channel,
    state_of_tester,
)
from benchsweep.qualification.comparisons._result import ToldResult, read_told
from benchsweep.qualification.comparisons._rows import compare_rows
from benchsweep.qualification.comparisons._stability import length_words
from benchsweep.qualification.comparisons._statement import statement_text
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.qualification.comparisons._view import FieldTesterView, view_of_tester
from benchsweep.qualification.comparisons._witness import lost_words, news_for
from benchsweep.records import (
    Agreement,
    BenchMeasured,
    ComparedTrace,
    Comparison,
    FieldResult,
    FieldTesterCompared,
    ReferenceEvent,
    Suspicion,
    TraceDifference,
)

__all__ = ["Looked", "compare", "exit_code_of_comparison", "look_at_result"]


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
    rows
        Each trace or number beside the bench's; nothing is decided of it.
    missing
        What only one of both told, in words.
    words
        Whether it fits, what it lacks, in a sentence.
    """

    result: FieldResult
    suspicions: tuple[Suspicion, ...] = ()
    differences: tuple[TraceDifference, ...] = ()
    record: str = ""
    rows: tuple[ComparedTrace, ...] = ()
    missing: tuple[str, ...] = ()
    words: str = ""


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
        only = read_told(file, mapping, told).result
        return Looked(only, words=fit_words(only, "", (), (), ()))
    state = state_of_channel(ReferenceFile(folder, "channel", channel).history().events)
    entry = _bench_entry(folder, state, None)
    read = read_told(file, mapping, told, length_m=state.registered.length_m)
    bench = read_bench(place_of(folder, entry.path), limits.load_requirement(state.registered.requirement))
    compared = compare_rows(read.result, bench, Sources(None, None))
    found = suspicions_of(read.result, bench)
    words = fit_words(read.result, channel, found, compared.rows, lacking(read.result, bench))
    return Looked(
        read.result, found, compared.differences, entry.path, compared.rows, compared.missing, words
    )


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
    accuracy_text = accuracy_in_force(state)
    budget_text = "" if statement is None else statement_text(statement)
    bench = _read_usable(place_of(root, entry.path), requirement, entry, channel)
    at = utc_now("microseconds")
    refuse_behind(tester_file, at, events)
    when = measured_by_tester(measured_at or read.result.at, at) or at
    doubts = [
        *lost_words(root, "tester", tester),
        *lost_words(root, "channel", channel),
        *_again_words(state, channel, read),
        *_of_channel(channel_state, entry, when),
    ]
    asked = Asked(
        at,
        by,
        tester,
        channel,
        entry.path,
        read.result,
        bench,
        sources_of(accuracy_text, budget_text, root),
        () if repairs.strip() else earlier_than(state, channel, read.result.digest, read.typed),
        measured_at,
        tuple(doubts),
        tuple(_of_another(root, tester, channel, read)),
    )
    found, _ = decide(asked)
    kept = _keep(root, read, requirement)
    event = FieldTesterCompared(
        asked.at,
        by,
        found,
        kept,
        read.mapping_text,
        accuracy_text,
        budget_text,
        read.typed,
        repairs,
        news_for(root, "tester", tester),
    )

    def fits(there: tuple[ReferenceEvent, ...]) -> None:
        refuse_withdrawn("tester", tester, there)

    return view_of_tester(folder, tester_file, append_to(tester_file, event, fits))


def exit_code_of_comparison(found: Comparison) -> int:
    """Return 0 where tester and bench agree, 1 where they disagree, 3 where it is undecided."""
    return {Agreement.AGREES: 0, Agreement.DISAGREES: 1, Agreement.UNDECIDED: 3}[found.outcome]


def _again_words(state: FieldTesterState, channel: str, read: ToldResult) -> Iterator[str]:
    """Yield that the same was compared before: it counts once."""
    number = same_told(state.compared, channel, read.result.digest, read.typed)
    if number is not None:
        what = "file" if read.result.digest else "numbers"
        yield f"the same {what} as in comparison {number}: counted once"


def _of_another(folder: Root, tester: str, channel: str, read: ToldResult) -> Iterator[Suspicion]:
    """Yield that the file was compared as that of another tester: nothing is said of this one by it."""
    if not read.result.digest:
        return
    for other, each in everyone(folder).testers.items():
        number = same_told(each.compared, channel, read.result.digest, ())
        if other != tester and number is not None:
            words = (
                f"the same file was compared as that of the tester {other} (comparison {number}): one of "
                "both is wrong. Look whose it is."
            )
            yield Suspicion("tester", words)


def _of_channel(state: ChannelState, entry: BenchMeasured, when: str) -> Iterator[str]:
    apart = days_between(entry.measured_at, when)
    if abs(apart) > state.every_days:
        yield (
            f"bench and tester measured {abs(apart):.0f} days apart ({entry.measured_at[:10]} and "
            f"{when[:10]}), the channel is due every {state.every_days:g} days: "
            "what it did between is not known"
        )
    if length := length_words(state.registered, entry):
        yield length
    if not entry.accepted:
        yield f"the bench record does not count for the channel: {entry.words}"
    newest = state.followed[-1] if state.followed else None
    if newest is not None and newest is not entry and not newest.accepted:
        yield f"the newest bench record of {newest.measured_at[:10]} says of the channel: {newest.words}"


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
        newest = state.followed[-1]
        if not newest.accepted:
            raise ReferenceRefused(
                f"the channel {name} has moved by its newest bench record: {newest.words}",
                hint="Withdraw it, or measure it again; --record names one to compare with all the same.",
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


def _read_usable(
    source: archive.Source, requirement: limits.Requirement, entry: BenchMeasured, channel: str
) -> BenchRecord:
    bench = read_bench(source, requirement)
    if bench.content_hash != entry.record:
        raise ReferenceRefused(
            f"{source}: has other content than the bench record that was added on {entry.at[:10]}",
            hint="Restore the record from a copy, or compare with another one.",
        )
    specimen = bench.measurement.specimen.identifier
    if specimen != channel:
        raise ReferenceRefused(
            f"{source}: by a correction it is a record of {specimen}, not of the channel {channel}",
            hint="Compare with another one, or put this one right with `benchsweep archive correct`.",
        )
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
