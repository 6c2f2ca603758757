"""A bench record is added to the history of a reference channel."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchsweep import limits
from benchsweep.archive.references import ReferenceFile
from benchsweep.errors import ReferenceRefused, UsageError
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._specimen import check_text
from benchsweep.qualification.comparisons._bench import BenchRecord, path_within, read_bench
from benchsweep.qualification.comparisons._check_values import check_values, untold_words
from benchsweep.qualification.comparisons._histories import (
    LEFT_OUT,
    append_to,
    local_archive,
    moment,
    refuse_withdrawn,
    state_of_channel,
)
from benchsweep.qualification.comparisons._stability import stability
from benchsweep.qualification.comparisons._view import ChannelView, view_of_channel
from benchsweep.qualification.comparisons._witness import news_for
from benchsweep.records import BenchMeasured, ReferenceEvent, Withdrawn

__all__ = ["add_bench_record"]


def add_bench_record(
    folder: Path, channel: str, record: Path, *, by: str, leave_out: str = "", withdraw: bool = False
) -> ChannelView:
    """Add a bench record to a channel, and look whether the channel has moved.

    Its check values are held against those of the records that counted before. A record with which the
    channel has moved does not count for the baseline.

    Parameters
    ----------
    folder
        The archive; the record must lie in it.
    leave_out
        Why it does not count for the baseline, whatever its values are; empty: they decide.
    withdraw
        Withdraw the channel at once if it has moved.

    Raises
    ------
    UnknownName
        There is no such channel.
    ReferenceRefused
        The record is of another specimen, there already, was withdrawn or reduced again, is a series, or does
        not lie in the archive; the clock was set back.
    ArchiveError, UsageError, DefinitionError
        Record or history cannot be read or written.
    """
    root = local_archive(folder)
    check_text(by, "who adds the record", hint="Name who does it.")
    check_text(leave_out, "the reason to leave it out", may_be_empty=True)
    file = ReferenceFile(root, "channel", channel)
    state = state_of_channel(file.history().events)
    path = path_within(root, record)
    bench = read_bench(record, limits.load_requirement(state.registered.requirement))
    _refuse_record(bench, channel)
    checks = check_values(bench)
    if not checks.values:
        raise UsageError(
            f"{record}: no check value follows from it against {state.registered.requirement}",
            hint="Measure all pairs of the channel, in the band of its requirement.",
        )
    measured_at = bench.measured_at
    stable = stability(state.baseline, checks.values, measured_at, checks.uncertainties)
    told = f"{stable.words}{untold_words(bench, checks.values)}"
    words = f"{LEFT_OUT}{leave_out}; {told}" if leave_out.strip() else told
    event = BenchMeasured(
        at=utc_now("microseconds"),
        by=by,
        record=bench.content_hash,
        path=path,
        measured_at=moment_with_offset(measured_at),
        temperature_degc=bench.temperature_degc,
        checks=checks.values,
        words=words,
        accepted=not leave_out.strip() and not stable.beyond,
        length_m=bench.measurement.specimen.length_m,
        uncertainties=checks.uncertainties,
        seen=news_for(root, "channel", channel),
    )

    def fits(events: tuple[ReferenceEvent, ...]) -> None:
        _refuse_twice(events, event, channel)

    history = append_to(file, event, fits)
    if withdraw and stable.beyond and state.withdrawn is None:
        reason = f"moved by the record {path}: {stable.words}"
        withdrawn = Withdrawn(utc_now("microseconds"), by, reason)
        history = append_to(file, withdrawn, lambda events: refuse_withdrawn("channel", channel, events))
    return view_of_channel(folder, file, history)


def moment_with_offset(at: str) -> str:
    """Return an ISO 8601 time, in UTC where it tells no offset, as imports of other programs may."""
    found = moment(at)
    return at if found.tzinfo is not None else f"{at}+00:00"


def _refuse_record(bench: BenchRecord, channel: str) -> None:
    specimen = bench.measurement.specimen.identifier
    if specimen != channel:
        raise ReferenceRefused(
            f"{bench.source}: a record of {specimen}, not of the channel {channel}",
            hint="Measure with the channel's name as specimen, or put the record right with "
            "`benchsweep archive correct`.",
        )
    for why in (bench.withdrawn, bench.superseded):
        if why:
            raise ReferenceRefused(f"{bench.source}: {why}", hint="Add another record of the channel.")


def _refuse_twice(events: Sequence[ReferenceEvent], event: BenchMeasured, channel: str) -> None:
    for before in events:
        if isinstance(before, BenchMeasured) and before.record == event.record:
            raise ReferenceRefused(
                f"the record {event.path} is in the history of the channel {channel} since {before.at[:10]}",
                hint="One measurement counts once; measure the channel again.",
            )
