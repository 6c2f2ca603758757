"""Which trace of the bench a name of the tester means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from benchsweep.records import FOUR_PAIRS, End, LimitCurve, Parameter, Trace

__all__ = ["MAXIMA", "UNORDERED", "Key", "bench_key", "by_key", "curve_of", "listed", "name_of", "sense_of"]

Key = tuple[Parameter, End | None, tuple[str, ...]]
"""Parameter, end, pairs."""

MAXIMA = frozenset({Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW})
"""Parameters that must not be more than their limit; all others must not be less."""

UNORDERED = frozenset({Parameter.NEXT, Parameter.SKEW})
"""Parameters of two pairs that are the same both ways round (reciprocity), and are listed once."""

_WITHOUT_END = frozenset({Parameter.DELAY, Parameter.SKEW})


def by_key(traces: Iterable[Trace]) -> dict[Key, Trace]:
    """Return the traces of the bench by parameter, end and pairs."""
    return {(trace.parameter, trace.end, trace.pairs): trace for trace in traces}


def bench_key(key: Key, there: Mapping[Key, Trace]) -> Key | None:
    """Return the name under which the bench has what the tester calls `key`; None: it has it not.

    The combinations of NEXT and skew stand for themselves both ways round. The insertion loss of a pair is
    the same from either end (a passive channel is reciprocal), so that without an end, or where the bench has
    one end only, that one is meant. Delay and skew have no end.
    """
    if key in there:
        return key
    parameter, end, pairs = key
    if parameter in UNORDERED and len(pairs) == 2:
        pairs = tuple(sorted(pairs, key=FOUR_PAIRS.index))
    if parameter in _WITHOUT_END:
        end = None
    ends: tuple[End | None, ...] = (end,)
    if parameter is Parameter.INSERTION_LOSS:
        ends = (end, "A", "B", None)
    return next(((parameter, each, pairs) for each in ends if (parameter, each, pairs) in there), None)


def curve_of(parameter: Parameter, limits: Iterable[LimitCurve]) -> LimitCurve | None:
    """Return the limit of a parameter; None where the requirement has none."""
    return next((curve for curve in limits if curve.parameter is parameter), None)


def sense_of(parameter: Parameter, curve: LimitCurve | None) -> Literal["min", "max"]:
    """Tell whether values below or above the limit fail."""
    if curve is not None:
        return curve.sense
    return "max" if parameter in MAXIMA else "min"


def name_of(key: Key) -> str:
    """Return ``NEXT A 36-45``."""
    parameter, end, pairs = key
    return " ".join(part for part in (parameter.term, end or "", "-".join(pairs)) if part)


def listed(words: Iterable[str]) -> str:
    """Return ``a, b and c``."""
    texts = list(words)
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"
