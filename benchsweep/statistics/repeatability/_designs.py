"""Studies drawn up before anybody measures: who measures what in which order."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Sequence
from typing import Literal

from scipy import special

from benchsweep.errors import UsageError
from benchsweep.records import StudyDesign, StudyRun

__all__ = ["crossed_design", "interlaboratory_design", "nested_design", "run_key"]

_MOST_RUNS = 100_000
Kind = Literal["crossed", "nested", "interlaboratory"]
Order = Iterator[tuple[str, str, int]]
"""Part, operator and mating, in the order of the work."""


def run_key(seed: str, *names: str | int) -> str:
    r"""Return what runs are put in order by: 64 hexadecimal digits.

    SHA-256 (FIPS 180-4) of the seed and the names, one line feed (byte 10) between them, in UTF-8. Anybody
    can make an order again without this program::

        printf '%s\n%s\n%s\n%s' 'the seed' 'part' '1' 'link 3' | sha256sum

    Examples
    --------
    >>> run_key("the seed", "R001")[:16]
    '4f54be5fe6cfc14f'
    """
    text = "\n".join([seed, *map(str, names)])
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def crossed_design(
    parts: Sequence[str], operators: Sequence[str], *, matings: int = 1, trials: int = 1, seed: str
) -> StudyDesign:
    """Return a Gauge R&R study: every operator measures every part, `matings` times.

    Mating by mating, the operators come in random order and each measures all parts in a random order of its
    own, so that what drifts meanwhile falls on all alike. Trials of one mating follow each other: the plug
    stays in.

    Parameters
    ----------
    parts, operators
        Names, two or more of each, all different.
    matings, trials
        At least one of them two or more.
    seed
        Any text, chosen before the work begins.

    Raises
    ------
    UsageError
        Too few, names that are empty or there twice, numbers below one, no seed.
    """
    _check(parts, operators, (2, 2), matings, trials, seed)

    def order() -> Order:
        for mating in range(1, matings + 1):
            for operator in _shuffled(operators, seed, "operator", mating):
                for part in _shuffled(parts, seed, "part", mating, operator):
                    yield part, operator, mating

    return _design("crossed", parts, operators, (matings, trials), seed, order)


def nested_design(
    parts: Sequence[str], operators: Sequence[str], *, matings: int, trials: int = 1, seed: str
) -> StudyDesign:
    """Return a nested study: trials within matings within operators, for each part.

    An operator makes all matings of a part one after the other, with the plug out and in between; parts
    within an operator and operators come in random order. Parameters and errors as in `crossed_design`, but
    one part and one operator are enough, and two matings are needed.
    """
    _check(parts, operators, (1, 1), matings, trials, seed)
    if matings < 2:
        raise UsageError(
            "a nested study with one mating", hint="Scatter of matings needs two; five are usual."
        )
    order = _by_operator(parts, operators, matings, seed)
    return _design("nested", parts, operators, (matings, trials), seed, order)


def interlaboratory_design(
    parts: Sequence[str], operators: Sequence[str], *, matings: int = 1, trials: int = 1, seed: str
) -> StudyDesign:
    """Return a study of ISO 5725-2: every laboratory (or tester) measures every part under repeatability.

    Laboratories in random order, each with all parts in a random order of its own; repeats of a part follow
    each other, in a short time, as repeatability conditions ask for (ISO 5725-1, from memory). Parameters and
    errors as in `crossed_design`, but one part is enough, and three operators are needed: h and k of two say
    nothing.
    """
    _check(parts, operators, (1, 3), matings, trials, seed)
    order = _by_operator(parts, operators, matings, seed)
    return _design("interlaboratory", parts, operators, (matings, trials), seed, order)


def _by_operator(
    parts: Sequence[str], operators: Sequence[str], matings: int, seed: str
) -> Callable[[], Order]:
    def order() -> Order:
        for operator in _shuffled(operators, seed, "operator"):
            for part in _shuffled(parts, seed, "part", operator):
                for mating in range(1, matings + 1):
                    yield part, operator, mating

    return order


def _shuffled(names: Sequence[str], seed: str, *of: str | int) -> list[str]:
    return sorted(names, key=lambda name: (run_key(seed, *of, name), name))


def _design(
    kind: Kind,
    parts: Sequence[str],
    operators: Sequence[str],
    repeats: tuple[int, int],
    seed: str,
    order: Callable[[], Order],
) -> StudyDesign:
    matings, trials = repeats
    cells = len(parts) * len(operators)
    runs: list[StudyRun] = []
    for part, operator, mating in order():
        for trial in range(1, trials + 1):
            runs.append(StudyRun(len(runs) + 1, part, operator, mating, trial))
    freedom = cells * (matings - 1) if matings > 1 else cells * (trials - 1)
    return StudyDesign(
        kind=kind,
        parts=tuple(parts),
        operators=tuple(operators),
        matings=matings,
        trials=trials,
        seed=seed,
        runs=tuple(runs),
        freedom=freedom,
        words=tuple(_words(kind, len(parts), len(operators), repeats, freedom)),
    )


def _words(kind: Kind, parts: int, operators: int, repeats: tuple[int, int], freedom: int) -> Iterator[str]:
    matings, trials = repeats
    if matings == 1:
        yield "The plug stays in between trials: what mating scatters is not in the repeatability."
    elif trials == 1:
        yield "The plug is out and in between repeats: mating is part of the repeatability."
    else:
        yield "Trials with the plug left in tell the scatter of matings apart from that of readings."
    low, high = _factors(freedom)
    yield (
        f"{freedom} degrees of freedom for repeatability: the true deviation lies between {low:.2f} and "
        f"{high:.2f} times the one that is found (95 %)."
    )
    if kind == "interlaboratory" or operators > 1:
        between = _factors(operators - 1)[1]
        yield f"{operators} operators: their own deviation is found, but may be {between:.1f} times as large."
    else:
        yield "One operator: nothing is told of others."
    if parts == 1:
        yield "One part: whether others behave alike is not told."


def _factors(freedom: int) -> tuple[float, float]:
    """Return between which multiples of a deviation that was found the true one lies, with 95 %."""
    low, high = (float(special.chdtri(freedom, tail)) for tail in (0.025, 0.975))
    return math.sqrt(freedom / low), math.sqrt(freedom / high)


def _check(
    parts: Sequence[str],
    operators: Sequence[str],
    least: tuple[int, int],
    matings: int,
    trials: int,
    seed: str,
) -> None:
    for names, fewest, what in zip((parts, operators), least, ("part", "operator"), strict=True):
        if len(names) < fewest:
            raise UsageError(
                f"a study with {len(names)} {what}{'' if len(names) == 1 else 's'}",
                hint=f"It takes {fewest} or more.",
            )
        for name in names:
            if not name.strip() or name.splitlines() != [name]:
                raise UsageError(f"{name!r} is no name of a {what}", hint="Give one line of text.")
        if twice := sorted({name for name in names if list(names).count(name) > 1}):
            raise UsageError(f"{what} {twice[0]} is there twice", hint="Give each a name of its own.")
    if min(matings, trials) < 1:
        raise UsageError(
            f"a study with {matings} matings of {trials} trials", hint="Give one or more of each."
        )
    if matings == trials == 1:
        raise UsageError(
            "a study without repeats tells no repeatability",
            hint="Take two matings or more; three are usual.",
        )
    if not seed:
        raise UsageError(
            "a study without a seed for its order", hint="Any text will do, as long as it is new."
        )
    count = len(parts) * len(operators) * matings * trials
    if count > _MOST_RUNS:
        raise UsageError(f"a study of {count} runs", hint=f"{_MOST_RUNS} is as much as can be drawn up.")
