"""A comparison is made again from what was kept, and held against what was decided."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from benchsweep import comparison, limits
from benchsweep.archive.references import ReferenceFile
from benchsweep.errors import BenchsweepError
from benchsweep.qualification._requirement_texts import requirement_digest
from benchsweep.qualification.comparisons._again import Again, compared_again, place_in
from benchsweep.qualification.comparisons._histories import Root, state_of_tester
from benchsweep.qualification.comparisons._witness import lost_words
from benchsweep.records import ComparedPoint, ComparedTrace, Comparison

__all__ = ["ComparisonProof", "prove_comparison"]

# What is printed has two digits; sums of another order differ by far less.
_SAME = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class ComparisonProof:
    """What a comparison is when it is made again.

    Parameters
    ----------
    tester, number
        Which; from 1.
    was, now
        As it was decided, and as it is.
    differs
        What is not the same, in words; empty: all is as it was.
    doubts
        What a reader must know besides.
    digest
        Names the whole history of the tester, as it is now.
    """

    tester: str
    number: int
    was: Comparison
    now: Comparison
    differs: tuple[str, ...]
    doubts: tuple[str, ...]
    digest: str


def prove_comparison(
    folder: Root, tester: str, *, number: int | None = None, digest: str = ""
) -> ComparisonProof:
    """Make a comparison again from the kept file, mapping, accuracy, statement, requirement and the record.

    The matrix of the record is computed again from its raw sweeps where it has them.

    Parameters
    ----------
    number
        From 1; None: the last.
    digest
        Of the history as a report printed it: it must be that of one of its entries.

    Raises
    ------
    UnknownName, UsageError
        There is no such tester or comparison.
    ArchiveError, DataFileError, DefinitionError
        What was kept cannot be read again.
    """
    history = ReferenceFile(folder, "tester", tester).history()
    state = state_of_tester(history.events)
    place = place_in(state.compared, number, tester)
    again = compared_again(folder, history.events, state.compared[place], from_raw=True)
    differs = [*_digest_words(digest, history.digests), *_differences(again)]
    return ComparisonProof(
        tester,
        place + 1,
        again.event.comparison,
        again.comparison,
        tuple(differs),
        (*lost_words(folder, "tester", tester), *_doubts(again)),
        history.digest,
    )


def _digest_words(digest: str, digests: tuple[str, ...]) -> Iterator[str]:
    wanted = digest.strip().lower()
    if wanted and not any(each.startswith(wanted) for each in digests):
        yield "the digest is that of no entry of the history: entries were taken off or written anew"


def _differences(again: Again) -> Iterator[str]:
    was, now, bench = again.event.comparison, again.comparison, again.asked.bench
    if bench.content_hash != was.record_digest:
        yield f"the bench record {was.record} has other content than it had then"
    if again.event.file and now.source_digest != was.source_digest:
        yield f"the kept file of {was.source} has other content than it had then"
    if now.outcome is not was.outcome:
        yield f"it was {was.outcome}, now it is {now.outcome}"
    if [each.kind for each in now.suspicions] != [each.kind for each in was.suspicions]:
        yield "what does not fit is not the same"
    rows = {_key(row): row for row in now.rows}
    for row in was.rows:
        other = rows.pop(_key(row), None)
        if other is None:
            yield f"{_name(row)} is not compared any more"
        elif words := _row_differs(row, other):
            yield f"{_name(row)}: {words}"
    for row in rows.values():
        yield f"{_name(row)} was not compared then"


def _row_differs(was: ComparedTrace, now: ComparedTrace) -> str:
    if was.outcome is not now.outcome:
        return f"was {was.outcome}, now {now.outcome}"
    if (was.compared, was.left_out) != (now.compared, now.left_out):
        return f"{was.compared} points compared then, {now.compared} now"
    if (was.decisive is None) is not (now.decisive is None):
        return "decided by a point in one of both only"
    if was.decisive is None or now.decisive is None:
        return ""
    for name in ("frequency_hz", "bench", "tester", "difference", "uncertainty", "e_n"):
        first, second = _number(was.decisive, name), _number(now.decisive, name)
        if not _alike(first, second):
            return f"{name} {_told(first)} then, {_told(second)} now"
    return ""


def _number(point: ComparedPoint, name: str) -> float | None:
    value = getattr(point, name)
    return None if value is None else float(value)


def _alike(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return first is second
    return math.isclose(first, second, rel_tol=_SAME, abs_tol=_SAME)


def _told(value: float | None) -> str:
    return "not known" if value is None else f"{value:.6g}"


def _doubts(again: Again) -> Iterator[str]:
    bench = again.asked.bench
    yield from (why for why in (bench.withdrawn, bench.superseded) if why)
    was = again.event.comparison
    specimen = bench.measurement.specimen.identifier
    if specimen != was.channel:
        yield f"by a correction the bench record is of {specimen}, not of the channel {was.channel}"
    try:
        in_force = limits.load_requirement(was.requirement)
    except BenchsweepError as error:
        yield f"{was.requirement} cannot be read any more ({error.message}); its kept text was taken"
    else:
        if requirement_digest(in_force.texts) != was.requirement_digest:
            yield f"the requirement {was.requirement} has another text now; the kept one was taken"


def _key(row: ComparedTrace) -> tuple[str, str | None, tuple[str, ...], str]:
    return row.parameter, row.end, row.pairs, row.basis


def _name(row: ComparedTrace) -> str:
    return comparison.name_of((row.parameter, row.end, row.pairs))
