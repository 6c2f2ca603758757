"""Bring an analyzer into a stated state and read back what it made of it."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import (
    BadAnswer,
    InstrumentError,
    InstrumentTimeout,
    NotSupported,
    PowerCycled,
    SettingsChanged,
    UsageError,
)
from benchsweep.instrument._asking import (
    ask_all,
    confirm,
    knows,
    number,
    refuse_other,
    write_supported,
    write_tolerant,
)
from benchsweep.instrument._segments import check_segments, segment_questions, write_segments
from benchsweep.instrument._status import COMPLETE, ERRORS, Events, register
from benchsweep.instrument.families import Confirmation, Correction, Family, Operation, Query
from benchsweep.instrument.links import Link
from benchsweep.records import SweepSettings

__all__ = [
    "Setup", "apply_settings", "check_ports", "check_settings", "expected_axis", "refuse_cause",
    "refuse_changes",
]  # fmt: skip

_PRESET_PATIENCE_S = 60.0
_ASK_AGAIN_S = 1.0
_SHORTEST_POLL_S = 0.002
_LONGEST_POLL_S = 0.1
_FREQUENCY_TOLERANCE_HZ = 1.0
_POWER_TOLERANCE_DB = 0.1
# Legal IF bandwidths go in steps of about 1, 1.5, 2, 3, 5, 7: the nearest one is within this factor.
_BANDWIDTH_FACTOR = 2.0
_MOST_AVERAGES = 65536
# A reading takes a little longer than the reciprocal of the IF bandwidth.
_READING_FACTOR = 1.5

_STATED: tuple[Query, ...] = (
    "start_hz", "stop_hz", "points", "if_bandwidth_hz", "averages", "averaging", "power_dbm",
)  # fmt: skip
_SPACING: dict[str, tuple[Operation, str]] = {
    "linear": ("linear_sweep", "linear"),
    "logarithmic": ("logarithmic_sweep", "logarithmic"),
    "segments": ("segment_sweep", "segment"),
}


@dataclass(frozen=True, slots=True)
class Setup:
    """The state that was set, and what the analyzer answers while it holds.

    Parameters
    ----------
    used
        Settings as read back.
    sweep_time_s
        Duration of one pass with one driven port, as the instrument states it or as its settings tell.
    state
        Question -> answer.
    """

    used: SweepSettings
    sweep_time_s: float
    state: dict[str, str]


def check_settings(settings: SweepSettings) -> None:
    """Refuse settings that make no sense on any analyzer.

    Raises
    ------
    UsageError
    """
    check_segments(settings)
    grid = (settings.start_hz, settings.stop_hz, settings.points)
    if any(value is None for value in grid) and any(value is not None for value in grid):
        raise UsageError(
            "start, stop and points of the sweep: give all three or none",
            hint="None of them means the analyzer's own grid after a preset, or that of the segments.",
        )
    start, stop, points = grid
    if start is not None and stop is not None and points is not None:
        if not (0.0 < start < stop and math.isfinite(stop)):
            raise UsageError(f"sweep from {start:g} Hz to {stop:g} Hz: start must be positive and below stop")
        if points < 2:
            raise UsageError(f"sweep of {points} points: at least 2 are needed")
        if settings.segments and grid != _overall(settings):
            raise UsageError(
                "start, stop and points contradict the segments", hint="Leave them out of a segment sweep."
            )
    if not (math.isfinite(settings.if_bandwidth_hz) and settings.if_bandwidth_hz > 0.0):
        raise UsageError(f"IF bandwidth of {settings.if_bandwidth_hz} Hz: must be positive")
    if not 1 <= settings.averages <= _MOST_AVERAGES:
        raise UsageError(f"{settings.averages} averages: must be 1 to {_MOST_AVERAGES}")
    if not math.isfinite(settings.power_dbm):
        raise UsageError(f"source power of {settings.power_dbm} dBm: must be a number")


def check_ports(address: str, ports: Sequence[int], available: int) -> tuple[int, ...]:
    """Return `ports` rising, or refuse ports that an analyzer with `available` of them has not.

    Raises
    ------
    UsageError
    """
    checked = tuple(sorted(ports))
    missing = [port for port in checked if not 1 <= port <= available]
    if missing:
        raise UsageError(
            f"{address}: the analyzer has ports 1 to {available}, asked for port "
            f"{', '.join(map(str, missing))}",
            hint="Check the ports of the fixture and of the station file.",
        )
    if not checked or len(set(checked)) != len(checked):
        raise UsageError(f"{address}: ports {list(ports)}: give at least one, each once")
    return checked


def apply_settings(link: Link, family: Family, settings: SweepSettings, ports: int) -> Setup:
    """Preset, hold, raw data, the settings, the format; each group is followed by the error queue.

    Parameters
    ----------
    ports
        Number of ports of the analyzer.

    Raises
    ------
    NotSupported
        The family or this analyzer cannot do it.
    ScpiError, InstrumentError, BadAnswer, LinkLost, InstrumentTimeout
    """
    operation, word = _SPACING[settings.spacing]
    if not family.has(operation):
        raise NotSupported(
            f"{link.address}: {word} sweep: not available in the command family {family.name}",
            hint="Ask for another spacing of the points, or add the commands to a family file of your own.",
        )
    link.write("*CLS")
    preset = (*family.fill("preset"), *family.fill("hold"))
    _send_and_await(link, preset)
    link.check("presetting the analyzer and stopping the sweep", preset)
    _confirm_all(link, family, "hold")
    corrections = tuple(item for item in family.corrections(ports) if _switched_off(link, item))
    _group(link, family, "trigger", "setting the trigger")
    segments = write_segments(link, family, settings) if settings.segments else ()
    _group(link, family, operation, f"choosing the {word} sweep")
    if not segments and settings.start_hz is not None:
        _set_grid(link, family, settings)
    write_supported(
        link,
        *family.fill("receiver", if_bandwidth_hz=settings.if_bandwidth_hz),
        doing="setting the IF bandwidth",
    )
    write_supported(
        link,
        *family.fill("averaging", averages=settings.averages, averaging=int(settings.averages > 1)),
        doing="setting the averaging",
    )
    write_supported(
        link, *family.fill("power", power_dbm=settings.power_dbm), doing="setting the source power"
    )
    _group(link, family, "data_format", "setting the data format")
    asked: tuple[Operation, ...] = ("hold", "trigger", operation, "data_format")
    confirmed: tuple[Confirmation | Correction, ...] = (
        *(item for when in asked for item in family.confirmations(when)),
        *corrections,
    )
    return _read_back(link, family, replace(settings, segments=segments), confirmed)


def refuse_changes(link: Link, expected: Mapping[str, str], when: str) -> None:
    """Ask again for everything that was set, and refuse any other answer than before.

    Parameters
    ----------
    expected
        Question -> answer.
    when
        In words, for the message.

    Raises
    ------
    SettingsChanged
        With every difference.
    BadAnswer, LinkLost, InstrumentTimeout
    """
    questions = tuple(expected)
    changed = tuple(
        f"{question} was {expected[question]}, is {now}"
        for question, now in zip(questions, ask_all(link, questions), strict=True)
        if expected[question] != now
    )
    if changed:
        raise SettingsChanged(
            f"{link.address}: the analyzer's settings changed since they were made, seen {when}: "
            f"{'; '.join(changed)}",
            differences=changed,
            hint="Leave the front panel alone, close other programs, and start this measurement again.",
        )


def refuse_cause(events: Events, expected: Mapping[str, str], error: BadAnswer) -> None:
    """Raise what explains data that cannot be right; return where nothing does.

    Parameters
    ----------
    events
        The status register of the instrument.
    expected
        Question -> answer.
    error
        What is wrong with the data.

    Raises
    ------
    PowerCycled
        The analyzer was switched off and on.
    SettingsChanged
        With every difference.
    """
    try:
        events.read()
        refuse_changes(events.link, expected, "when the data were not as they should be")
    except (PowerCycled, SettingsChanged) as cause:
        raise cause from error
    except InstrumentError:
        return  # it shows again at the next use of the link; `error` came first


def expected_axis(used: SweepSettings) -> NDArray[np.float64]:
    """Return the frequency axis in Hz, ``(points,)``, that settings as read back amount to."""
    if used.segments:
        return np.concatenate(
            [np.linspace(part.start_hz, part.stop_hz, part.points) for part in used.segments]
        )
    space = np.geomspace if used.spacing == "logarithmic" else np.linspace
    axis: NDArray[np.float64] = space(used.start_hz or 0.0, used.stop_hz or 0.0, used.points or 0)
    return axis


def _overall(settings: SweepSettings) -> tuple[float, float, int]:
    parts = settings.segments
    return parts[0].start_hz, parts[-1].stop_hz, sum(part.points for part in parts)


def _set_grid(link: Link, family: Family, settings: SweepSettings) -> None:
    start, stop, points = settings.start_hz or 0.0, settings.stop_hz or 0.0, settings.points or 0
    write_supported(
        link,
        *family.fill("grid", start_hz=start, stop_hz=stop, points=points),
        doing="setting the frequency grid",
    )


def _send_and_await(link: Link, commands: tuple[str, ...]) -> None:
    """Send commands that may take their time, and wait until the analyzer says that it is done."""
    deadline = time.monotonic() + _PRESET_PATIENCE_S
    ask_again = time.monotonic() + _ASK_AGAIN_S
    pause = _SHORTEST_POLL_S
    # Only in hold is a completion sure to be told: some analyzers sweep continuously after a preset.
    link.write(*commands, "*OPC")
    while True:
        try:
            # An error is told by the error queue, which is read next.
            if register(link.address, link.query("*ESR?")) & (COMPLETE | ERRORS):
                return
        except InstrumentTimeout:
            # Busy, or the answer went elsewhere; the completion may have gone with it.
            link.write("*OPC")
        if time.monotonic() > ask_again:
            # Whoever else reads the register, or an answer that went wrong, takes the completion away.
            link.write("*OPC")
            ask_again = time.monotonic() + _ASK_AGAIN_S
        if time.monotonic() > deadline:
            raise InstrumentTimeout(
                f"{link.address}: presetting the analyzer did not end within {_PRESET_PATIENCE_S:g} s",
                hint="Is the analyzer busy with something else? Look at its display.",
            )
        time.sleep(pause)
        pause = min(2.0 * pause, _LONGEST_POLL_S)


def _group(link: Link, family: Family, operation: Operation, doing: str) -> None:
    commands = family.fill(operation)
    if commands:
        write_supported(link, *commands, doing=doing)
    _confirm_all(link, family, operation)


def _confirm_all(link: Link, family: Family, operation: Operation) -> None:
    for item in family.confirmations(operation):
        confirm(link, item.query, item.answers, item.means)


def _switched_off(link: Link, item: Correction) -> bool:
    """Switch something off that changes raw data; return whether this instrument has it."""
    doing = f"switching off ({item.means})"
    if item.optional:
        # Only what neither the command nor the question reaches is not there.
        if not write_tolerant(link, *item.off, doing=doing) and knows(link, item.query) is None:
            return False
    else:
        write_supported(link, *item.off, doing=doing)
    confirm(link, item.query, item.answers, item.means)
    return True


def _read_back(
    link: Link, family: Family, wanted: SweepSettings, confirmed: tuple[Confirmation | Correction, ...]
) -> Setup:
    stated = tuple(family.ask(query) for query in _STATED)
    watched = tuple(
        question
        for question in (family.spell(template) for template in family.watch)
        if knows(link, question) is not None
    )
    table = segment_questions(family, len(wanted.segments))
    questions = tuple(dict.fromkeys((*stated, *(item.query for item in confirmed), *table, *watched)))
    answers = dict(zip(questions, ask_all(link, questions), strict=True))
    # Once more: somebody may have changed it since it was set.
    for item in confirmed:
        refuse_other(link, item.query, answers[item.query], item.answers, item.means)
    value = {query: number(link, family.ask(query), answers[family.ask(query)]) for query in _STATED}
    start, stop, points = value["start_hz"], value["stop_hz"], int(value["points"])
    if wanted.segments:
        start, stop, points = _overall(wanted)
    used = SweepSettings(
        start_hz=start,
        stop_hz=stop,
        points=points,
        if_bandwidth_hz=value["if_bandwidth_hz"],
        averages=int(value["averages"]) if value["averaging"] else 1,
        power_dbm=value["power_dbm"],
        spacing=wanted.spacing,
        segments=wanted.segments,
    )
    _refuse_differences(link, wanted, used)
    return Setup(used, _pass_time_s(link, family, used), answers)


def _pass_time_s(link: Link, family: Family, used: SweepSettings) -> float:
    """Return how long one pass takes: as stated, or at least as long as its readings need."""
    parts = [(part.points, part.if_bandwidth_hz or used.if_bandwidth_hz) for part in used.segments]
    parts = parts or [(used.points or 0, used.if_bandwidth_hz)]
    needed = _READING_FACTOR * sum(points / width for points, width in parts)
    if not family.has("sweep_time_s"):
        return needed
    question = family.ask("sweep_time_s")
    answer = knows(link, question)
    if answer is None:
        return needed
    # With a bandwidth for each segment some instruments state the time of another one.
    stated = number(link, question, answer)
    return max(stated, needed) if used.segments else stated


def _refuse_differences(link: Link, wanted: SweepSettings, used: SweepSettings) -> None:
    wrong = []
    for name, want, got, tolerance, unit in (
        ("start", wanted.start_hz, used.start_hz, _FREQUENCY_TOLERANCE_HZ, "Hz"),
        ("stop", wanted.stop_hz, used.stop_hz, _FREQUENCY_TOLERANCE_HZ, "Hz"),
        ("points", wanted.points, used.points, 0, ""),
        ("averages", wanted.averages, used.averages, 0, ""),
        ("power", wanted.power_dbm, used.power_dbm, _POWER_TOLERANCE_DB, "dBm"),
    ):
        if want is not None and got is not None and not abs(got - want) <= tolerance:
            wrong.append(f"{name} is {got:.12g} {unit}".rstrip() + f" instead of {want:.12g}")
    ratio = used.if_bandwidth_hz / wanted.if_bandwidth_hz
    if not 1.0 / _BANDWIDTH_FACTOR <= ratio <= _BANDWIDTH_FACTOR:
        wrong.append(
            f"IF bandwidth is {used.if_bandwidth_hz:g} Hz instead of {wanted.if_bandwidth_hz:g} "
            "or the nearest that the analyzer has"
        )
    start, stop, points = used.start_hz, used.stop_hz, used.points
    if start is None or stop is None or points is None or not 0.0 < start < stop or points < 2:
        wrong.append(f"the grid {start} Hz to {stop} Hz, {points} points is none")
    if wrong:
        raise InstrumentError(
            f"{link.address}: the analyzer did not take the settings: {'; '.join(wrong)}",
            hint="Ask for values within the analyzer's limits.",
        )
