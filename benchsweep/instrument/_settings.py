"""Bring an analyzer into a stated state and read back what it made of it."""

from __future__ import annotations

import math

from benchsweep.errors import BadAnswer, InstrumentError, ScpiError, UsageError
from benchsweep.instrument._family import Confirmation, Family, Operation, Query
from benchsweep.instrument._link import ERROR_ENTRY, Link
from benchsweep.records import SweepSettings

__all__ = ["Setup", "apply_settings", "check_settings", "read_number"]

# Undefined header, suffix out of range, hardware missing: the function is not there.
_ABSENT = frozenset({-113, -114, -241})
_PRESET_PATIENCE_S = 60.0
_FREQUENCY_TOLERANCE_HZ = 1.0
_POWER_TOLERANCE_DB = 0.1
# Legal IF bandwidths go in steps of about 1, 1.5, 2, 3, 5, 7: the nearest one is within this factor.
_BANDWIDTH_FACTOR = 2.0
_MOST_AVERAGES = 65536

_FINGERPRINT: tuple[Query, ...] = (
    "start_hz", "stop_hz", "points", "if_bandwidth_hz", "averages", "averaging", "power_dbm",
)  # fmt: skip


class Setup:
    """The state that was set, and how to tell whether it still holds.

    Parameters
    ----------
    used
        Settings as read back.
    sweep_time_s
        Duration of one pass with one driven port, as the instrument states it.
    questions, answers
        What is asked before every sweep and what must come back.
    """

    def __init__(
        self, used: SweepSettings, sweep_time_s: float, questions: tuple[str, ...], answers: tuple[str, ...]
    ) -> None:
        self.used = used
        self.sweep_time_s = sweep_time_s
        self._questions = questions
        self._answers = answers

    def differences(self, link: Link) -> tuple[str, ...]:
        """Ask again, in one message, and return what differs, in words."""
        answers = _ask_all(link, self._questions)
        return tuple(
            f"{question} was {before}, is {now}"
            for question, before, now in zip(self._questions, self._answers, answers, strict=True)
            if before != now
        )


def check_settings(settings: SweepSettings) -> None:
    """Refuse settings that make no sense on any analyzer.

    Raises
    ------
    UsageError
    """
    grid = (settings.start_hz, settings.stop_hz, settings.points)
    if any(value is None for value in grid) and any(value is not None for value in grid):
        raise UsageError(
            "start, stop and points of the sweep: give all three or none",
            hint="None of them means the analyzer's own grid after a preset.",
        )
    start, stop, points = grid
    if start is not None and stop is not None and points is not None:
        if not (0.0 < start < stop and math.isfinite(stop)):
            raise UsageError(f"sweep from {start:g} Hz to {stop:g} Hz: start must be positive and below stop")
        if points < 2:
            raise UsageError(f"sweep of {points} points: at least 2 are needed")
    if not (math.isfinite(settings.if_bandwidth_hz) and settings.if_bandwidth_hz > 0.0):
        raise UsageError(f"IF bandwidth of {settings.if_bandwidth_hz} Hz: must be positive")
    if not 1 <= settings.averages <= _MOST_AVERAGES:
        raise UsageError(f"{settings.averages} averages: must be 1 to {_MOST_AVERAGES}")
    if not math.isfinite(settings.power_dbm):
        raise UsageError(f"source power of {settings.power_dbm} dBm: must be a number")


def apply_settings(link: Link, family: Family, settings: SweepSettings) -> Setup:
    """Preset, hold, raw data, format, then the settings; each group is followed by the error queue.

    Raises
    ------
    ScpiError, InstrumentError, BadAnswer, LinkLost, InstrumentTimeout
    """
    link.write("*CLS")
    _group(link, family, "preset", "presetting the analyzer")
    link.query("*OPC?", timeout_s=max(_PRESET_PATIENCE_S, link.timeout_s))
    _group(link, family, "hold", "stopping the sweep")
    corrections = _switch_corrections_off(link, family)
    _group(link, family, "data_format", "setting the data format")
    _group(link, family, "sweep_type", "setting the sweep type")
    if settings.start_hz is not None and settings.stop_hz is not None and settings.points is not None:
        link.write_checked(
            *family.fill(
                "grid", start_hz=settings.start_hz, stop_hz=settings.stop_hz, points=settings.points
            ),
            doing="setting the frequency grid",
        )
    link.write_checked(
        *family.fill("receiver", if_bandwidth_hz=settings.if_bandwidth_hz), doing="setting the IF bandwidth"
    )
    link.write_checked(
        *family.fill("averaging", averages=settings.averages, averaging=int(settings.averages > 1)),
        doing="setting the averaging",
    )
    link.write_checked(*family.fill("power", power_dbm=settings.power_dbm), doing="setting the source power")
    return _read_back(link, family, settings, corrections)


def read_number(link: Link, question: str) -> float:
    """Ask for one number.

    Raises
    ------
    BadAnswer
        The answer is none.
    """
    return _number(link, question, link.query(question))


def _group(link: Link, family: Family, operation: Operation, doing: str) -> None:
    link.write_checked(*family.fill(operation), doing=doing)
    for item in family.confirmations(operation):
        _confirm(link, item)


def _switch_corrections_off(link: Link, family: Family) -> tuple[Confirmation, ...]:
    """Switch off whatever changes raw data; return the states that this instrument knows."""
    commands = family.fill("uncorrected")
    doing = "switching the analyzer's own corrections off"
    link.write(*commands)
    entries = tuple(entry for entry in link.errors() if entry[0] not in _ABSENT)
    if entries:
        listed = "; ".join(f'{number},"{text}"' for number, text in entries)
        raise ScpiError(
            f"{link.address}: {doing}: the instrument reports {listed}",
            entries=entries,
            commands=commands,
            hint="Switch correction, port extension and fixture simulation off by hand, then try again.",
        )
    return tuple(item for item in family.confirmations("uncorrected") if _confirm(link, item))


def _confirm(link: Link, item: Confirmation) -> bool:
    """Return True when the instrument reads back what must be, False when it lacks an optional function."""
    answer, error = link.probe(item.query)
    match = ERROR_ENTRY.match(error)
    link.errors()
    if answer is None and item.optional and match is not None and int(match[1]) in _ABSENT:
        return False
    plain = (answer or "").upper().replace("+", "").replace(" ", "").strip("\"'")
    if answer is None or plain not in (wanted.upper() for wanted in item.answers):
        raise InstrumentError(
            f"{link.address}: {item.means}: not so, {item.query} answers {answer or error!r} "
            f"instead of {' or '.join(item.answers)}",
            hint="The analyzer refuses this setting, or spells it otherwise than the family file says.",
        )
    return True


def _read_back(
    link: Link, family: Family, wanted: SweepSettings, corrections: tuple[Confirmation, ...]
) -> Setup:
    confirmed = (*family.confirmations("data_format"), *family.confirmations("sweep_type"), *corrections)
    questions = (*(family.ask(query) for query in _FINGERPRINT), *(item.query for item in confirmed))
    answers = _ask_all(link, questions)
    value = {
        query: _number(link, family.ask(query), answer)
        for query, answer in zip(_FINGERPRINT, answers, strict=False)
    }
    averages = int(value["averages"]) if value["averaging"] else 1
    used = SweepSettings(
        start_hz=value["start_hz"],
        stop_hz=value["stop_hz"],
        points=int(value["points"]),
        if_bandwidth_hz=value["if_bandwidth_hz"],
        averages=averages,
        power_dbm=value["power_dbm"],
    )
    _refuse_differences(link, wanted, used)
    return Setup(used, read_number(link, family.ask("sweep_time_s")), questions, answers)


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


def _ask_all(link: Link, questions: tuple[str, ...]) -> tuple[str, ...]:
    """Ask several questions in one message: one round trip instead of many."""
    answer = link.query(";:".join(question.lstrip(":") for question in questions))
    parts = tuple(part.strip() for part in answer.split(";"))
    if len(parts) != len(questions):
        link.errors()
        raise BadAnswer(
            f"{link.address}: {len(questions)} questions about the settings brought {len(parts)} answers: "
            f"{answer[:200]!r}",
            hint="The analyzer does not know one of these questions: " + ", ".join(questions),
        )
    return parts


def _number(link: Link, question: str, answer: str) -> float:
    plain = {"ON": "1", "OFF": "0"}.get(answer.strip().upper(), answer)
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadAnswer(
            f"{link.address}: {question} was answered by {answer[:80]!r}, which is no number",
            hint="Does the family file fit this analyzer?",
        )
    return value
