"""Groups of commands and questions, with what their errors mean for an analyzer."""

from __future__ import annotations

import math

from benchsweep.errors import BadAnswer, InstrumentError, NotSupported, ScpiError
from benchsweep.instrument.links import ERROR_ENTRY, Link

__all__ = [
    "ask_all", "confirm", "is_absent", "knows", "number", "read_number", "refuse_other",
    "write_supported", "write_tolerant",
]  # fmt: skip

# Undefined header, suffix out of range, hardware missing: the function is not there.
_ABSENT = frozenset({-113, -114, -241})
# Input buffers are small on some instruments; several questions in one message stay well below that.
_LONGEST_MESSAGE = 480


def is_absent(entries: tuple[tuple[int, str], ...]) -> bool:
    """Tell whether the entries of an error queue say nothing but that the function is not there."""
    return bool(entries) and all(code in _ABSENT for code, _ in entries)


def write_supported(link: Link, *commands: str, doing: str) -> None:
    """Send a group of commands, then read the error queue.

    Raises
    ------
    NotSupported
        The analyzer has not the function.
    ScpiError
        It reports anything else.
    """
    try:
        link.write_checked(*commands, doing=doing)
    except ScpiError as error:
        if not is_absent(error.entries):
            raise
        listed = "; ".join(f'{code},"{text}"' for code, text in error.entries)
        raise NotSupported(
            f"{link.address}: {doing}: this analyzer has not the function ({listed})",
            hint="An option may be missing, or the family file spells it otherwise than the analyzer. "
            f"Sent: {'; '.join(commands[:12])}.",
        ) from error


def write_tolerant(link: Link, *commands: str, doing: str) -> bool:
    """Send commands that an analyzer need not know; return whether it knew them all.

    Raises
    ------
    ScpiError
        It reports anything but that the function is not there.
    """
    if not commands:
        return True
    try:
        link.write_checked(*commands, doing=doing)
    except ScpiError as error:
        if not is_absent(error.entries):
            raise
        return False
    return True


def confirm(link: Link, question: str, answers: tuple[str, ...], means: str) -> None:
    """Ask `question` and refuse any answer but `answers`; plus signs, blanks and quotes do not count.

    Raises
    ------
    InstrumentError
        Another answer; `means` says what is not so.
    """
    answer, error = link.probe(question)
    link.errors()
    refuse_other(link, question, error if answer is None else answer, answers, means)


def refuse_other(link: Link, question: str, answer: str, answers: tuple[str, ...], means: str) -> None:
    """Refuse an answer that is none of `answers`.

    Raises
    ------
    InstrumentError
    """
    if not any(_same(answer, wanted) for wanted in answers):
        raise InstrumentError(
            f"{link.address}: {means}: not so, {question} answers {answer!r} "
            f"instead of {' or '.join(answers)}",
            hint="The analyzer refuses this setting, or spells it otherwise than the family file says.",
        )


def knows(link: Link, question: str) -> str | None:
    """Return the answer to a question that the analyzer need not know, or None.

    Raises
    ------
    LinkLost, InstrumentTimeout, BadAnswer
    """
    answer, error = link.probe(question)
    match = ERROR_ENTRY.match(error)
    clean = match is not None and int(match[1]) == 0
    if not clean:
        link.errors()
    return answer if clean else None


def ask_all(link: Link, questions: tuple[str, ...]) -> tuple[str, ...]:
    """Ask several questions in few messages: one round trip instead of many.

    Raises
    ------
    BadAnswer
        Another number of answers than of questions.
    """
    answers: list[str] = []
    group: list[str] = []
    for question in (*questions, ""):
        plain = question.lstrip(":")
        if group and (not plain or len(plain) + sum(len(item) + 2 for item in group) > _LONGEST_MESSAGE):
            answers += _ask_group(link, group)
            group = []
        group.append(plain)
    return tuple(answers)


def _ask_group(link: Link, questions: list[str]) -> list[str]:
    answer = link.query(";:".join(questions))
    parts = [part.strip() for part in answer.split(";")]
    if len(parts) != len(questions):
        link.errors()
        raise BadAnswer(
            f"{link.address}: {len(questions)} questions about the settings brought {len(parts)} answers: "
            f"{answer[:200]!r}",
            hint="The analyzer does not know one of these questions: " + ", ".join(questions),
        )
    return parts


def read_number(link: Link, question: str) -> float:
    """Ask for one number.

    Raises
    ------
    BadAnswer
        The answer is none.
    """
    return number(link, question, link.query(question))


def number(link: Link, question: str, answer: str) -> float:
    """Return `answer` as a number; ON and OFF are 1 and 0.

    Raises
    ------
    BadAnswer
        It is none.
    """
    value = _float({"ON": "1", "OFF": "0"}.get(answer.strip().upper(), answer))
    if not math.isfinite(value):
        raise BadAnswer(
            f"{link.address}: {question} was answered by {answer[:80]!r}, which is no number",
            hint="Does the family file fit this analyzer?",
        )
    return value


def _same(answer: str, wanted: str) -> bool:
    plain = answer.upper().replace("+", "").replace(" ", "").strip("\"'")
    return plain == wanted.upper() or (math.isfinite(_float(plain)) and _float(plain) == _float(wanted))


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
