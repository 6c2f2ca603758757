from __future__ import annotations

import calendar
import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from benchsweep.errors import UsageError
from benchsweep.records import Outcome, Parameter

__all__ = ["Selection", "Wish", "is_hash", "moment_of", "wished"]

Wish = str | tuple[str, ...]
"""What somebody asks for: one text, or several of which any will do."""

_DATE = re.compile(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?")
_TIME = re.compile(
    r"(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2})(?::(\d{2})(?:\.\d+)?)?(Z|[+-]\d{2}:?\d{2})?", re.IGNORECASE
)
_DATES = "Give a date such as 2026-11-28, a month such as 2026-11, a year, or a time 2026-11-28T14:30 (UTC)."
_OUTCOMES = tuple(str(outcome) for outcome in Outcome)
_PARAMETERS = tuple(str(parameter) for parameter in Parameter)
_HASH = re.compile(r"[0-9a-fA-F]{4,64}")
_TEXTS = ("specimen", "lot", "product", "station", "operator", "calibration", "kit", "requirement")
# Here an empty text means that nothing stands there.
_MAY_BE_EMPTY = ("lot", "product", "station", "operator", "calibration", "kit")
_LONGEST = 4096
_KINDS = ("record", "series")
_ORIGINS = ("bench", "touchstone")


@dataclass(frozen=True, slots=True)
class Selection:
    """Which records of an archive are meant; nothing given: all but superseded and withdrawn ones.

    A record is meant when it fits everything that is given. Texts are shell patterns (``*``, ``?``,
    ``[a-f]``, ``[!a]``) that tell capitals apart; a text that is equal fits as well, whatever signs it holds.
    What a correction says counts, not what stands in the record. Where several texts are given for one thing
    (a tuple), any of them will do; an empty tuple means all.

    Parameters
    ----------
    specimen
        Pattern of its name, or several.
    lot, product, station, operator, kit
        Patterns of names. An empty one means records in which nothing stands there; None means all.
    calibration
        Likewise; pattern of the name of the calibration, or of the file in which it was stored: two
        calibrations of a day have the same name.
    origin
        ``bench`` or ``touchstone``.
    since, until
        First and last moment of creation: a year, month, day or time in ISO 8601, UTC unless it has an
        offset. Both bounds are inclusive: until ``2026-11`` takes in all of November.
    requirement
        Pattern of requirements, or several; the record was graded against one that fits.
    outcome
        Outcome of the newest grading, of the whole or, with `parameter`, of that parameter: the worst of its
        rows. A grading that a correction made out of date (`Judged.outdated`) has no outcome, and no margin.
    parameter
        The newest grading has rows of this parameter, or of one of several; what is asked of outcome and
        margin holds for one and the same.
    margin_below_db
        The newest grading has a worst margin below this, in dB; with `parameter` in a row of that parameter.
    superseded
        Also records whose sweeps were reduced again into another record.
    withdrawn
        Also records that were withdrawn.
    identifiers
        Content hashes or their beginnings (4 digits or more), or file names (patterns, with or without
        folder and ``.h5``). A record is meant when it fits one of them.
    kinds
        Kinds of files: ``record``, ``series``.

    Raises
    ------
    UsageError
        An outcome, parameter, origin or date that there is none of, a margin that is no number, a margin in
        dB of a parameter whose margin is a time, an empty text among several where it means nothing.

    Examples
    --------
    >>> Selection(specimen=("reel-*", "drum-*"), since="2026-11", outcome="fail").until
    ''
    """

    specimen: Wish = ""
    lot: Wish | None = None
    product: Wish | None = None
    station: Wish | None = None
    operator: Wish | None = None
    calibration: Wish | None = None
    kit: Wish | None = None
    origin: str = ""
    since: str = ""
    until: str = ""
    requirement: Wish = ""
    outcome: Wish = ""
    parameter: Wish = ""
    margin_below_db: float | None = None
    superseded: bool = False
    withdrawn: bool = False
    identifiers: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ("record", "series")

    def __post_init__(self) -> None:
        for name in (*_TEXTS, "since", "until"):
            for text in _several(name, getattr(self, name)):
                _refuse_unusable(name, text)
        for kind in self.kinds:
            _refuse_unknown("kind", kind, _KINDS)
        _refuse_unknown("origin", self.origin, _ORIGINS)
        for outcome in _several("outcome", self.outcome):
            _refuse_unknown("outcome", outcome, _OUTCOMES)
        parameters = _several("parameter", self.parameter)
        for parameter in parameters:
            _refuse_unknown("parameter", parameter, _PARAMETERS)
        _refuse_margin(self.margin_below_db, parameters)
        first = moment_of(self.since, "since") if self.since else None
        after = moment_of(self.until, "until", after=True) if self.until else None
        if first is not None and after is not None and first >= after:
            raise UsageError(
                f"since {self.since} is later than until {self.until}",
                hint="Exchange them: since is the first.",
            )
        for identifier in self.identifiers:
            if not identifier:
                raise UsageError("an empty name of a record", hint="Give a file name or a content hash.")
            _refuse_unusable("record", identifier)

    @property
    def graded(self) -> bool:
        """Whether only graded records can fit."""
        return bool(self.requirement or self.outcome or self.parameter or self.margin_below_db is not None)


def wished(wish: Wish | None) -> tuple[str, ...]:
    """Return what is asked for as several texts; none where nothing is."""
    if wish is None:
        return ()
    return (wish,) if isinstance(wish, str) else wish


def _several(name: str, wish: Wish | None) -> tuple[str, ...]:
    """Return the texts, of which none may be empty where several are given and an empty one means all."""
    texts = wished(wish)
    if not isinstance(wish, str) and name not in _MAY_BE_EMPTY and "" in texts:
        raise UsageError(f"{name}: an empty text among several", hint="Leave it out, or say what is meant.")
    return texts


def is_hash(text: str) -> bool:
    """Tell whether `text` can be the beginning of a content hash."""
    return _HASH.fullmatch(text) is not None


def _refuse_unusable(what: str, text: str) -> None:
    """Refuse what a shell or another program may hand over although it is no text."""
    try:
        usable = "\0" not in text and len(text.encode()) <= _LONGEST
    except UnicodeEncodeError:
        usable = False
    if not usable:
        raise UsageError(
            f"{what}: {text[:40]!a} is no pattern",
            hint=f"Give text in UTF-8 of at most {_LONGEST} bytes.",
        )


def _refuse_unknown(what: str, value: str, known: tuple[str, ...]) -> None:
    if value and value not in known:
        raise UsageError(f"no {what} named {value!r}", hint=f"There are: {', '.join(known)}.")


def _refuse_margin(margin: float | None, parameters: tuple[str, ...]) -> None:
    if margin is None:
        return
    if not math.isfinite(margin):
        raise UsageError(
            f"a margin of {margin} dB is no margin", hint="Give a number of dB, for example 1.5."
        )
    for parameter in parameters:
        if parameter and Parameter(parameter).unit != "dB":
            raise UsageError(
                f"the margin of {parameter} is a time in ns, not dB", hint="Select by its outcome instead."
            )


def moment_of(text: str, what: str, *, after: bool = False) -> datetime:
    """Return the moment at which a year, month, day or time begins; with `after`, at which it is over.

    Raises
    ------
    UsageError

    Examples
    --------
    >>> moment_of("2026-02", "until", after=True).isoformat()
    '2026-03-01T00:00:00+00:00'
    """
    try:
        begin, length = _span(text.strip())
        return begin + length if after else begin
    except (ValueError, OverflowError) as error:
        raise UsageError(f"{what}: {text!r} is no date: {error}", hint=_DATES) from error


def _span(text: str) -> tuple[datetime, timedelta]:
    """Return when what `text` names begins, in UTC, and how long it lasts."""
    if date := _DATE.fullmatch(text):
        year, month, day = date.groups()
        begin = datetime(int(year), int(month or 1), int(day or 1), tzinfo=UTC)
        if day:
            days = 1
        elif month:
            days = calendar.monthrange(begin.year, begin.month)[1]
        else:
            days = 366 if calendar.isleap(begin.year) else 365
        return begin, timedelta(days=days)
    time = _TIME.fullmatch(text)
    if time is None:
        raise ValueError("neither date nor time of ISO 8601")
    begin = datetime.fromisoformat(text.upper())
    begin = begin.replace(tzinfo=UTC) if begin.tzinfo is None else begin.astimezone(UTC)
    return begin, timedelta(seconds=1) if time[3] else timedelta(minutes=1)
