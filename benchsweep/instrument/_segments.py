"""The table of a segment sweep: written in the family's way and read back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from types import MappingProxyType

from benchsweep.errors import BadAnswer, InstrumentError, UsageError
from benchsweep.instrument._asking import ask_all, number, write_supported, write_tolerant
from benchsweep.instrument.families import Family, number_text
from benchsweep.instrument.links import Link
from benchsweep.records import SweepSegment, SweepSettings

__all__ = ["check_segments", "segment_questions", "write_segments"]

_DOING = "setting the segments of the sweep"
_TOLERANCE_HZ = 1.0
_BANDWIDTH_FACTOR = 2.0
# The list begins with: number of its format, mode (0: start and stop, 1: centre and span), four flags for
# the columns IF bandwidth, power, delay and time, number of segments.
_LIST_FORMAT = 5
_LIST_HEAD = 7
_EACH = ("segment_start_hz", "segment_stop_hz", "segment_points", "segment_if_bandwidth_hz")


def check_segments(settings: SweepSettings) -> None:
    """Refuse segments that make no sense on any analyzer.

    Raises
    ------
    UsageError
    """
    if (settings.spacing == "segments") != bool(settings.segments):
        raise UsageError(
            f"a sweep of spacing {settings.spacing} with {len(settings.segments)} segments",
            hint="Give segments with the spacing segments, and with no other.",
        )
    for index, part in enumerate(settings.segments, start=1):
        width = settings.if_bandwidth_hz if part.if_bandwidth_hz is None else part.if_bandwidth_hz
        if not 0.0 < part.start_hz < part.stop_hz < float("inf") or part.points < 2 or not width > 0.0:
            raise UsageError(
                f"segment {index}: {part.start_hz:g} Hz to {part.stop_hz:g} Hz, {part.points} points, IF "
                f"bandwidth {width:g} Hz: start below stop, 2 points and a positive bandwidth are needed"
            )
    for index, (low, high) in enumerate(pairwise(settings.segments), start=2):
        if high.start_hz <= low.stop_hz:
            raise UsageError(
                f"segment {index} begins at {high.start_hz:.12g} Hz, not above the end of the one before "
                f"({low.stop_hz:.12g} Hz)",
                hint="Segments rise and share no point.",
            )


def write_segments(link: Link, family: Family, settings: SweepSettings) -> tuple[SweepSegment, ...]:
    """Write the table and return it as read back.

    Raises
    ------
    NotSupported, ScpiError, InstrumentError, BadAnswer, LinkLost, InstrumentTimeout
    """
    table = tuple(
        SweepSegment(
            part.start_hz, part.stop_hz, part.points, part.if_bandwidth_hz or settings.if_bandwidth_hz
        )
        for part in settings.segments
    )
    write, read = _TABLES[family.behaviours.segments or ""]
    write(link, family, table)
    found = read(link, family, len(table))
    _refuse_differences(link, table, found)
    return found


def segment_questions(family: Family, count: int) -> tuple[str, ...]:
    """Return what to ask so that a changed table shows; nothing where it comes as one list.

    A list comes in the data format that is set, so it cannot stand between other answers; there the
    frequency axis is read with every sweep instead.
    """
    if family.behaviours.segments != "one-by-one":
        return ()
    return tuple(family.ask(query, index=index) for index in range(1, count + 1) for query in _EACH)  # type: ignore[arg-type]


def _write_one_by_one(link: Link, family: Family, table: tuple[SweepSegment, ...]) -> None:
    write_tolerant(link, *family.fill("clear_segments", count=len(table)), doing=_DOING)
    commands: tuple[str, ...] = ()
    enable: tuple[str, ...] = ()
    for index, part in enumerate(table, start=1):
        enable += family.fill("enable_segment", index=index)
        commands += family.fill(
            "define_segment",
            index=index,
            count=len(table),
            start_hz=part.start_hz,
            stop_hz=part.stop_hz,
            points=part.points,
            if_bandwidth_hz=part.if_bandwidth_hz or 0.0,
        )
    write_supported(link, *commands, doing=_DOING)
    write_tolerant(link, *enable, doing=_DOING)


def _read_one_by_one(link: Link, family: Family, count: int) -> tuple[SweepSegment, ...]:
    questions = segment_questions(family, count)
    values = [
        number(link, question, answer)
        for question, answer in zip(questions, ask_all(link, questions), strict=True)
    ]
    return tuple(
        SweepSegment(values[k], values[k + 1], int(values[k + 2]), values[k + 3])
        for k in range(0, len(values), len(_EACH))
    )


def _write_list(link: Link, family: Family, table: tuple[SweepSegment, ...]) -> None:
    rows = ",".join(
        ",".join(
            number_text(value)
            for value in (part.start_hz, part.stop_hz, part.points, part.if_bandwidth_hz or 0.0)
        )
        for part in table
    )
    listed = f"{_LIST_FORMAT},0,1,0,0,0,{len(table)},{rows}"
    commands = (
        *family.fill("ascii_format"),
        *family.fill("segment_table", count=len(table), table=listed),
    )
    write_supported(link, *commands, doing=_DOING)


def _read_list(link: Link, family: Family, count: int) -> tuple[SweepSegment, ...]:
    question = family.ask("segment_table")
    answer = link.query(question)
    values = [number(link, question, word) for word in answer.split(",")]
    flags = [bool(value) for value in values[2:6]]
    columns = 3 + sum(flags)
    rows = int(values[6]) if len(values) >= _LIST_HEAD else 0
    if (
        not flags
        or values[:2] != [_LIST_FORMAT, 0]
        or len(values) != _LIST_HEAD + rows * columns
        or not flags[0]
    ):
        raise BadAnswer(
            f"{link.address}: {question} was answered by {answer[:120]!r}, which is no list of segments with "
            "start, stop, points and IF bandwidth",
            hint="The analyzer writes its table otherwise than the family file says.",
        )
    body = values[_LIST_HEAD:]
    return tuple(
        SweepSegment(body[k], body[k + 1], int(body[k + 2]), body[k + 3])
        for k in range(0, len(body), columns)
    )


def _refuse_differences(
    link: Link, wanted: tuple[SweepSegment, ...], found: tuple[SweepSegment, ...]
) -> None:
    wrong = [f"{len(found)} segments instead of {len(wanted)}"] if len(found) != len(wanted) else []
    for index, (want, got) in enumerate(zip(wanted, found, strict=False), start=1):
        grid = abs(got.start_hz - want.start_hz) <= _TOLERANCE_HZ and abs(got.stop_hz - want.stop_hz) <= (
            _TOLERANCE_HZ
        )
        ratio = (got.if_bandwidth_hz or 0.0) / (want.if_bandwidth_hz or 1.0)
        fits = 1.0 / _BANDWIDTH_FACTOR <= ratio <= _BANDWIDTH_FACTOR
        if not grid or got.points != want.points or not fits:
            wrong.append(f"segment {index} is {_told(got)} instead of {_told(want)}")
    if wrong:
        raise InstrumentError(
            f"{link.address}: the analyzer did not take the segments: {'; '.join(wrong)}",
            hint="Ask for values within the analyzer's limits.",
        )


def _told(part: SweepSegment) -> str:
    return (
        f"{part.start_hz:.12g} Hz to {part.stop_hz:.12g} Hz, {part.points} points, "
        f"IF bandwidth {part.if_bandwidth_hz:g} Hz"
    )


_Write = Callable[[Link, Family, tuple[SweepSegment, ...]], None]
_Read = Callable[[Link, Family, int], tuple[SweepSegment, ...]]
_TABLES: Mapping[str, tuple[_Write, _Read]] = MappingProxyType(
    {"one-by-one": (_write_one_by_one, _read_one_by_one), "one-list": (_write_list, _read_list)}
)
