"""A comparison made again from what was kept with it: for reports, and to prove it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep import archive
from benchsweep.archive.references import kept_file
from benchsweep.errors import UsageError
from benchsweep.qualification._requirement_texts import requirement_from_bytes
from benchsweep.qualification.comparisons._bench import TraceKey, place_of, read_bench
from benchsweep.qualification.comparisons._decide import Asked, decide, sources_of
from benchsweep.qualification.comparisons._histories import Root, earlier_than, state_of_tester
from benchsweep.qualification.comparisons._result import read_kept
from benchsweep.qualification.comparisons._rows import Compared
from benchsweep.qualification.comparisons._view import FieldTesterView, read_channel
from benchsweep.records import (
    ChannelRegistered,
    Comparison,
    FieldTesterCompared,
    ReferenceEvent,
    TraceDifference,
)

__all__ = ["Again", "ComparisonTraces", "compared_again", "comparison_traces", "place_in"]


@dataclass(frozen=True, slots=True, eq=False)
class Again:
    """A comparison that was made again.

    Parameters
    ----------
    event
        As it was kept.
    asked
        What it goes by, read again.
    comparison, compared
        What follows from that now.
    """

    event: FieldTesterCompared
    asked: Asked
    comparison: Comparison
    compared: Compared


@dataclass(frozen=True, slots=True, eq=False)
class ComparisonTraces:
    """What a comparison looks like over frequency.

    Parameters
    ----------
    number
        Its place in the history of the tester, from 1.
    differences
        Tester less bench.
    uncertainties
        Of each of these the expanded uncertainty (k = 2) at each point, NaN where it is not known.
    temperature_degc
        Of the channel on the bench; None: not recorded.
    measured_at
        When the bench record was measured (ISO 8601).
    simulated
        On the simulated bench.
    software
        Packages that took part in the bench record, with their versions.
    """

    number: int
    differences: tuple[TraceDifference, ...]
    uncertainties: Mapping[TraceKey, NDArray[np.float64]]
    temperature_degc: float | None
    measured_at: str
    simulated: bool
    software: Mapping[str, str]


def comparison_traces(view: FieldTesterView, number: int | None = None) -> ComparisonTraces:
    """Return what a comparison of a tester looks like over frequency; record and file are read again.

    Parameters
    ----------
    number
        From 1; None: the last.

    Raises
    ------
    UsageError
        There is no such comparison.
    ArchiveError, DataFileError, DefinitionError
        What was kept cannot be read again.
    """
    place = place_in(view.compared, number, view.name)
    found = compared_again(view.folder, view.events, view.compared[place])
    bench = found.asked.bench
    return ComparisonTraces(
        place + 1,
        found.compared.differences,
        found.compared.uncertainties,
        bench.temperature_degc,
        bench.measured_at,
        bench.simulated,
        bench.measurement.software,
    )


def place_in(compared: Sequence[FieldTesterCompared], number: int | None, tester: str) -> int:
    """Return the place, from 0, of a comparison of that number from 1; None: the last.

    Raises
    ------
    UsageError
        There is none.
    """
    count = len(compared)
    if not count:
        raise UsageError(
            f"the tester {tester} was not compared yet", hint="See `benchsweep compare add --help`."
        )
    if number is None:
        return count - 1
    if not 1 <= number <= count:
        raise UsageError(
            f"the tester {tester} has no comparison {number}", hint=f"It has {count}, from 1 on."
        )
    return number - 1


def compared_again(
    folder: Root, events: Sequence[ReferenceEvent], event: FieldTesterCompared, *, from_raw: bool = False
) -> Again:
    """Make a comparison again from the kept file, mapping, accuracy, statement, requirement and the record.

    Parameters
    ----------
    events
        The history of the tester, that entry in it.
    from_raw
        The matrix of the record is computed again from its raw sweeps.

    Raises
    ------
    ArchiveError, DataFileError, DefinitionError, UsageError
        Something of it cannot be read again.
    """
    told = event.comparison
    requirement = requirement_from_bytes(told.requirement, kept_file(folder, told.requirement_digest))
    content = kept_file(folder, event.file) if event.file else None
    length_m = _length_of(folder, told.channel)
    result = read_kept(told.source, content, event.mapping_text, event.typed, length_m=length_m)
    source: archive.Source = place_of(folder, told.record)
    bench = read_bench(source, requirement, again=from_raw)
    before = events[: list(events).index(event)]
    state = state_of_tester(before)
    earlier = (
        () if event.repairs.strip() else earlier_than(state, told.channel, told.source_digest, event.typed)
    )
    asked = Asked(
        told.at,
        told.by,
        told.tester,
        told.channel,
        told.record,
        result,
        bench,
        sources_of(event.accuracy_text, event.budget_text, folder),
        earlier,
        _measured_at(told),
        of_tester=tuple(each for each in told.suspicions if each.kind == "tester"),
    )
    found, compared = decide(asked)
    return Again(event, asked, found, compared)


def _length_of(folder: Root, channel: str) -> float | None:
    registered: ChannelRegistered = read_channel(folder, channel).registered
    return registered.length_m


def _measured_at(told: Comparison) -> str:
    """Return when the tester measured, as the notes of a comparison tell it."""
    start = "measured by the tester on "
    found = next((note for note in told.notes if note.startswith(start)), "")
    return found[len(start) :].split(" by ", 1)[0]
