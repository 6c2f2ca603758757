"""Names, numbers and sentences, the same on the terminal and on the page."""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from benchsweep.records import (
    FOUR_PAIRS,
    End,
    Measurement,
    Origin,
    Outcome,
    Parameter,
    Verdict,
    VerdictRow,
    WiringReport,
)

__all__ = [
    "CONDITIONAL_WORDS",
    "NOT_EVALUATED",
    "PARAMETER_WORDS",
    "STANDING_MARKS",
    "STANDING_WORDS",
    "UNCERTAINTY_WORDS",
    "bad_words",
    "clean",
    "columns",
    "count_words",
    "decided_elsewhere",
    "faults",
    "interval_words",
    "length_words",
    "megahertz",
    "number",
    "origins_words",
    "pairs_words",
    "row_words",
    "signed",
    "taken",
    "unparted",
    "where_words",
    "wiring_words",
    "wrapped",
]

_MOST_ORIGINS = 4

PARAMETER_WORDS: dict[Parameter, str] = {
    Parameter.INSERTION_LOSS: "insertion loss",
    Parameter.RETURN_LOSS: "return loss",
    Parameter.NEXT: "NEXT",
    Parameter.PS_NEXT: "PS NEXT",
    Parameter.FEXT: "FEXT",
    Parameter.ACR_N: "ACR-N",
    Parameter.PS_ACR_N: "PS ACR-N",
    Parameter.ACR_F: "ACR-F",
    Parameter.PS_ACR_F: "PS ACR-F",
    Parameter.TCL: "TCL",
    Parameter.ELTCTL: "ELTCTL",
    Parameter.DELAY: "delay",
    Parameter.SKEW: "skew",
    Parameter.PS_ANEXT: "PS ANEXT",
    Parameter.PS_AACR_F: "PS AACR-F",
    Parameter.PS_ANEXT_AVERAGE: "mean PS ANEXT",
    Parameter.PS_AACR_F_AVERAGE: "mean PS AACR-F",
}
STANDING_MARKS = {"published": "", "common-practice": "+", "from-memory": "*"}
STANDING_WORDS = {
    "published": "checked against a published value",
    "common-practice": "common practice in the trade, not taken from the standard itself",
    "from-memory": "from memory, to be verified against your own copy of the standard",
}
UNCERTAINTY_WORDS = (
    "U: expanded uncertainty, k = 2: the true value lies within the value shown plus or minus U with about "
    "95 %; the larger side where both differ"
)
NOT_EVALUATED = "No measurement uncertainty was evaluated: margins are those of the measured values alone."
CONDITIONAL_WORDS = {
    Outcome.CONDITIONAL_PASS: "inside the limit, but by less than the guard band",
    Outcome.CONDITIONAL_FAIL: "outside the limit, but by less than the guard band",
}

# Joiners that scripts need; all other invisible characters could make a text look like another one.
_JOINERS = "\u200c\u200d"


def clean(text: str) -> str:
    """Return `text` with every control, direction, private or unpaired character shown as a question mark."""
    return "".join(
        "?"
        if char not in _JOINERS and unicodedata.category(char)[0] == "C"
        else " "
        if char.isspace()
        else char
        for char in text
    )


def _width(char: str) -> int:
    if unicodedata.combining(char) or char in _JOINERS:
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def columns(text: str) -> int:
    """Return how many columns of a terminal `text` takes."""
    return sum(map(_width, text))


_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:dBm?|ns|[kMG]?Hz|ohm|m|s|points)\b)")
_HARD_SPACE = "\u00a0"


def unparted(text: str) -> str:
    """Return `text` cleaned, each number tied to its unit by a space at which no line is broken."""
    return _BEFORE_UNIT.sub(_HARD_SPACE, clean(text))


def wrapped(text: str, width: int) -> list[str]:
    """Break `text` into lines of at most `width` columns, at spaces where there are any.

    A number and its unit stay on one line.
    """
    lines, line = [], ""
    for word in re.findall("[^ ]+", unparted(text)) or [""]:
        for piece in _pieces(word, width):
            joined = f"{line} {piece}" if line else piece
            if columns(joined) <= width:
                line = joined
            else:
                lines.append(line)
                line = piece
    return [told.replace(_HARD_SPACE, " ") for told in (*lines, line)]


def _pieces(word: str, width: int) -> Iterator[str]:
    piece = ""
    for char in word:
        if piece and columns(piece + char) > width:
            yield piece
            piece = ""
        piece += char
    yield piece


def number(value: float | None, decimals: int = 2) -> str:
    """Return a number for people: plain decimals, a dash where there is none."""
    if value is None or math.isnan(value):
        return "-"
    if math.isinf(value):
        return "infinite" if value > 0 else "-infinite"
    return f"{value:.{decimals}f}"


def signed(value: float | None) -> str:
    """Return a margin, always with its sign."""
    if value is None or not math.isfinite(value):
        return number(value)
    return f"{value:+.2f}"


def megahertz(frequency_hz: float | None) -> str:
    """Return a frequency in MHz, with as many decimals as tell neighbouring points apart."""
    if frequency_hz is None:
        return "-"
    value = frequency_hz / 1e6
    return f"{value:.2f}" if value >= 100 else f"{value:.3f}"


def length_words(length_m: float | None) -> str:
    """Return a length in metres."""
    return "not given" if length_m is None else f"{length_m:g} m"


def pairs_words(pairs: Iterable[str]) -> str:
    """Return the pairs of a row: ``12``, or receiving and disturbing pair, ``12-36``; ``all`` of a mean."""
    named = tuple(pairs)
    return "all" if len(named) == len(FOUR_PAIRS) else "-".join(named)


def where_words(end: End | None, pairs: tuple[str, ...]) -> str:
    """Return where a row was measured: ``end A, pairs 12-36``."""
    pair = f"{'pair' if len(pairs) == 1 else 'pairs'} {pairs_words(pairs)}" if pairs else ""
    if len(pairs) == len(FOUR_PAIRS):
        pair = "all pairs"
    return ", ".join(part for part in (f"end {end}" if end else "", pair) if part)


def taken(measurement: Measurement) -> str:
    """Return what the time of a record is the time of: ``measured`` or ``imported``."""
    return "imported" if measurement.origin == "touchstone" else "measured"


def row_words(row: VerdictRow) -> str:
    """Return one row as a sentence part: what, where, by how much; of an undecided row also why."""
    unit = row.parameter.unit
    what = ", ".join(
        part for part in (PARAMETER_WORDS[row.parameter], where_words(row.end, row.pairs)) if part
    )
    if row.worst_margin_db is None:
        return f"{what}: {row.note or 'no point counted'}"
    side = "outside" if row.worst_margin_db < 0 else "inside"
    at = "" if row.frequency_hz is None else f" at {megahertz(row.frequency_hz)} MHz"
    told = f"{what}: {number(abs(row.worst_margin_db))} {unit} {side} the limit{at}{_guard_words(row)}"
    return f"{told}; {row.note}" if row.outcome is Outcome.UNDECIDED and row.note else told


def _guard_words(row: VerdictRow) -> str:
    """Return what the guard band has to do with the outcome of a row; empty when nothing."""
    if row.guard_band is None or row.outcome in (Outcome.PASS, Outcome.UNDECIDED):
        return ""
    elsewhere = decided_elsewhere(row)
    if elsewhere:
        return f"; {elsewhere}"
    if row.outcome is Outcome.FAIL and (row.worst_margin_db or 0.0) < 0.0:
        return ""
    return f", less than the guard band of {number(row.guard_band)} {row.parameter.unit}"


def decided_elsewhere(row: VerdictRow) -> str:
    """Return the part of a note that tells at which other point a row was decided; empty when at none."""
    return next((part for part in row.note.split("; ") if part.startswith("decided at ")), "")


def origins_words(origins: Sequence[Origin]) -> tuple[str, ...]:
    """Return from where failing traces come, a sentence part for each; at most `_MOST_ORIGINS`."""
    told = [
        f"{PARAMETER_WORDS[origin.parameter]}, {where_words(origin.end, origin.pairs)}, near "
        f"{megahertz(origin.frequency_hz)} MHz: {origin.words}"
        for origin in origins
    ]
    more = len(told) - _MOST_ORIGINS
    return tuple(told) if more <= 0 else (*told[:_MOST_ORIGINS], f"and {more} more")


def interval_words(low: float | None, high: float | None, unit: str) -> str:
    """Return an expanded uncertainty: one figure where both sides print alike, else both."""
    if low is None or high is None:
        return "U not evaluated"
    if number(low) == number(high):
        return f"U {number(high)} {unit}"
    return f"U +{number(high)} / -{number(low)} {unit}"


def bad_words(bad: Sequence[VerdictRow]) -> tuple[str, ...]:
    """Return what stands against a pass: failing rows one by one, undecided ones by reason."""
    failing = [row for row in bad if row.outcome is not Outcome.UNDECIDED]
    told = [row_words(row) for row in failing[:_MOST_TOLD]]
    if len(failing) > _MOST_TOLD:
        told.append(f"and {len(failing) - _MOST_TOLD} more")
    reasons = Counter((row.parameter, row.note) for row in bad if row.outcome is Outcome.UNDECIDED)
    listed = [
        f"{PARAMETER_WORDS[parameter]}, {count} undecided: {note or 'no reason is given'}"
        for (parameter, note), count in reasons.items()
    ]
    told += listed[:_MOST_REASONS]
    if len(listed) > _MOST_REASONS:
        told.append(f"and undecided for {len(listed) - _MOST_REASONS} more reasons")
    return tuple(told)


_MOST_TOLD = 6
_MOST_REASONS = 12


def count_words(verdict: Verdict) -> str:
    """Return how many traces were graded and with which outcomes."""
    rows = verdict.rows
    counts = [(outcome, sum(row.outcome is outcome for row in rows)) for outcome in _BAD_FIRST]
    told = [f"{count} {outcome.value}" for outcome, count in counts if count]
    if not told:
        return "nothing was graded"
    if len(told) == 1 and rows[0].outcome is Outcome.PASS:
        all_pass = f"all {len(rows)} graded traces pass"
        wrong = verdict.outcome is Outcome.FAIL and faults(verdict.wiring)
        return f"the wiring is wrong; {all_pass}" if wrong else all_pass
    return f"of {len(rows)} graded traces {', '.join(told)}"


_BAD_FIRST = (
    Outcome.FAIL,
    Outcome.CONDITIONAL_FAIL,
    Outcome.UNDECIDED,
    Outcome.CONDITIONAL_PASS,
    Outcome.PASS,
)


def faults(wiring: WiringReport | None) -> tuple[str, ...]:
    """Return the sentences about what is wrong with the wiring, without what only could not be told."""
    findings = () if wiring is None else wiring.findings
    return tuple(finding.words for finding in findings if finding.kind != "unclear")


def wiring_words(wiring: WiringReport | None) -> tuple[str, ...]:
    """Return the wiring check in sentences, the verdict on the wiring first."""
    if wiring is None:
        return ("not checked",)
    if wiring.right:
        return ("right: every contact leads to the same contact at the other end",)
    wrong = faults(wiring)
    unclear = tuple(finding.words for finding in wiring.findings if finding.kind == "unclear")
    if wrong:
        return ("wrong", *wrong, *unclear)
    if not unclear:
        return ("not checked: the measurement does not tell",)
    known = any(contact is not None for contact in wiring.contact_at_b)
    return ("not certain" if known else "not checked", *unclear)
