"""Is each defect found, named and located? Many simulated cords, each with one defect or none.

``python -m tests.journeys.faults --cords 100 --seed 2027`` prints the confusion table: rows are what was done
to a cord, columns what was said of it. Lengths, categories, kinds of defect, sizes, places, pairs and ends
are drawn from the seed; sizes are those that the model of the defects states. What physics hides from any
measurement of this kind is counted apart, with the reason, and is decided before the cord is looked at.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from benchsweep.cabling import locate_faults
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import CONTACTS_OF_PAIR, FOUR_PAIRS, BalancedPort, Fault, SMatrix
from benchsweep.simulator.specimen._assembly import assemble
from benchsweep.simulator.specimen._description import SpecimenDescription

__all__ = ["DEFECTS", "Case", "Result", "draw", "grid_for", "judge", "matrix_of", "run", "table"]

GOOD = "good"
FORMS = ("contacts", "contacts", "tapped baluns", "baluns")
"""What was measured: single conductors, both modes of each pair, or differential modes only."""
_PLUGS = {"A": "near plug", "B": "far plug"}


@dataclass(frozen=True)
class Truth:
    """What was done to a cord; `hidden` says why nobody can see it, or which part of it."""

    kind: str
    end: str | None = None
    pairs: tuple[str, ...] = ()
    contacts: tuple[int, ...] = ()
    from_m: float | None = None
    to_m: float | None = None
    hidden: str = ""


@dataclass(frozen=True)
class Case:
    """One cord of the corpus."""

    number: int
    seed: int
    length_m: float
    kind: str
    category: str
    form: str
    conditions: tuple[dict[str, Any], ...]
    truth: Truth

    @property
    def description(self) -> SpecimenDescription:
        return SpecimenDescription.model_validate(
            {
                "schema": 1,
                "name": f"corpus-{self.number}",
                "kind": self.kind,
                "category": self.category,
                "length_m": self.length_m,
                "condition": list(self.conditions),
            }
        )

    def __str__(self) -> str:
        done = ", ".join(f"{key} {value}" for one in self.conditions for key, value in one.items())
        return (
            f"#{self.number} {self.kind} {self.category} {self.length_m:.2f} m, {self.form}: {done or 'good'}"
        )


Made = tuple[tuple[dict[str, Any], ...], Truth]
Random = np.random.Generator


def _pair(rng: Random) -> str:
    return str(rng.choice(FOUR_PAIRS))


def _end(rng: Random) -> str:
    return "A" if rng.random() < 0.5 else "B"


def _place(rng: Random, length_m: float) -> tuple[Any, dict[str, Any]]:
    """A place for something small: at either plug or anywhere between."""
    if rng.random() < 0.5:
        end = _end(rng)
        at = 0.0 if end == "A" else length_m
        return _PLUGS[end], {"end": end, "from_m": at, "to_m": at}
    at = round(float(rng.uniform(0.3, length_m - 0.3)), 3)
    return at, {"from_m": at, "to_m": at}


def _good(rng: Random, length_m: float) -> Made:
    return (), Truth(GOOD)


def _reversed(rng: Random, length_m: float) -> Made:
    pair = _pair(rng)
    made = {"kind": "reversed-pair", "position": _PLUGS[_end(rng)], "pair": pair}
    return (made,), Truth("reversed", pairs=(pair,), contacts=CONTACTS_OF_PAIR[pair])


def _crossed(rng: Random, length_m: float) -> Made:
    one, other = rng.choice(4, 2, replace=False)
    pairs = tuple(FOUR_PAIRS[k] for k in sorted((one, other)))
    made = {"kind": "crossed-pairs", "position": _PLUGS[_end(rng)], "pairs": pairs}
    return (made,), Truth("crossed", pairs=pairs)


def _two_conductors(rng: Random) -> tuple[tuple[int, int], tuple[str, str]]:
    """One conductor of each of two pairs."""
    one, other = sorted(rng.choice(4, 2, replace=False))
    pairs = FOUR_PAIRS[one], FOUR_PAIRS[other]
    chosen = tuple(int(rng.choice(CONTACTS_OF_PAIR[pair])) for pair in pairs)
    return (chosen[0], chosen[1]), pairs


def _swapped(rng: Random, length_m: float) -> Made:
    conductors, pairs = _two_conductors(rng)
    end = _end(rng)
    made = {"kind": "swapped-conductors", "position": _PLUGS[end], "conductors": conductors}
    at = 0.0 if end == "A" else length_m
    return (made,), Truth("miswired", end=end, pairs=pairs, from_m=at, to_m=at)


def _split(rng: Random, length_m: float) -> Made:
    conductors, pairs = _two_conductors(rng)
    return ({"kind": "split-pair", "conductors": conductors},), Truth("split", pairs=pairs)


def _open(rng: Random, length_m: float) -> Made:
    pair = _pair(rng)
    contacts = CONTACTS_OF_PAIR[pair] if rng.random() < 0.3 else (int(rng.choice(CONTACTS_OF_PAIR[pair])),)
    place, where = _place(rng, length_m)
    made = {"kind": "open", "position": place, "conductors": contacts}
    return (made,), Truth("open", pairs=(pair,), contacts=contacts, **where)


def _short(rng: Random, length_m: float) -> Made:
    if rng.random() < 0.5:
        pair = _pair(rng)
        contacts, pairs = CONTACTS_OF_PAIR[pair], (pair,)
    else:
        contacts, pairs = _two_conductors(rng)
    place, where = _place(rng, length_m)
    made = {"kind": "short", "position": place, "conductors": contacts}
    return (made,), Truth("short", pairs=pairs, contacts=tuple(sorted(contacts)), **where)


def _contact(rng: Random, length_m: float) -> Made:
    pair = _pair(rng)
    contact = int(rng.choice(CONTACTS_OF_PAIR[pair]))
    place, where = _place(rng, length_m)
    ohm = float(rng.choice([0.2, 1.0, 2.0, 5.0, 10.0]))
    made = {
        "kind": "worn-contact",
        "position": place,
        "conductors": (contact,),
        "resistance_ohm": ohm,
        "inductance_nh": round(float(rng.uniform(0.0, 2.0)), 2),
    }
    hidden = "0.2 ohm is less than good contacts differ by" if ohm < 0.5 else ""
    return (made,), Truth("contact", pairs=(pair,), contacts=(contact,), hidden=hidden, **where)


def _crush(rng: Random, length_m: float) -> Made:
    long = round(float(rng.uniform(0.1, 0.3)), 2)
    at = round(float(rng.uniform(0.0, length_m - long)), 3)
    drop = round(float(rng.uniform(0.15, 0.30)), 3)
    made = {"kind": "crush", "position": at, "length_m": long, "impedance_drop": drop}
    return (made,), Truth("crush", pairs=FOUR_PAIRS, from_m=at, to_m=at + long)


def _kink(rng: Random, length_m: float) -> Made:
    pair = _pair(rng)
    at = round(float(rng.uniform(0.1, length_m - 0.1)), 3)
    near = min(at, length_m - at) < 0.3
    hidden = "a kink 0.3 m from a plug or nearer is behind the plug's own unbalance" if near else ""
    made = {"kind": "kink", "position": at, "pair": pair}
    return (made,), Truth("kink", pairs=(pair,), from_m=at, to_m=at + 0.05, hidden=hidden)


# Combinations of pairs that couple in a row of blades: the others have grounds between them.
_UNTWISTED = (FOUR_PAIRS, FOUR_PAIRS, ("36", "45"), ("12", "36"), ("36", "78"))


def _untwist(rng: Random, length_m: float) -> Made:
    end = _end(rng)
    pairs = _UNTWISTED[rng.integers(len(_UNTWISTED))]
    long = round(float(rng.uniform(0.015, 0.040)), 3)
    made = {"kind": "untwist", "position": _PLUGS[end], "length_m": long, "pairs": pairs}
    at = 0.0 if end == "A" else length_m
    return (made,), Truth("untwist", end=end, pairs=pairs, from_m=at, to_m=at)


def _water(rng: Random, length_m: float) -> Made:
    if length_m > 20.0 and rng.random() < 0.3:
        made = {"kind": "wet-section", "position": 0.0, "length_m": length_m}
        made |= {"permittivity_ratio": 1.1, "loss_tangent": 0.006}
        return (made,), Truth("water", pairs=FOUR_PAIRS, from_m=0.0, to_m=length_m)
    long = 12.0 if length_m > 20.0 else round(float(rng.uniform(0.5, min(3.0, 0.8 * length_m))), 2)
    at = round(float(rng.uniform(0.0, length_m - long)), 3)
    made = {"kind": "wet-section", "position": at, "length_m": long}
    made |= {"permittivity_ratio": 1.2, "loss_tangent": 0.012}
    return (made,), Truth("water", pairs=FOUR_PAIRS, from_m=at, to_m=at + long)


def _plug(rng: Random, length_m: float) -> Made:
    end = _end(rng)
    made = {"kind": "plug-out-of-window", "position": _PLUGS[end], "scale": float(rng.choice([0.7, 1.5]))}
    at = 0.0 if end == "A" else length_m
    return (made,), Truth("plug", end=end, from_m=at, to_m=at)


DEFECTS: dict[str, Callable[[Random, float], Made]] = {
    GOOD: _good,
    "open": _open,
    "short": _short,
    "reversed": _reversed,
    "crossed": _crossed,
    "miswired": _swapped,
    "split": _split,
    "contact": _contact,
    "crush": _crush,
    "kink": _kink,
    "untwist": _untwist,
    "water": _water,
    "plug": _plug,
}
"""What is done to cords, by the kind of fault that is to be found."""

_LONG = 0.25
_SHARES = [4.0 if kind == GOOD else 1.0 for kind in DEFECTS]


def _hidden_behind_baluns(truth: Truth, conditions: tuple[dict[str, Any], ...], length_m: float) -> str:
    """What cannot be seen without common-mode taps."""
    if truth.kind == "kink":
        return "without the common mode a kink is 8 % of impedance over 50 mm in one pair: roughness"
    if truth.kind == "contact":
        # R in one leg takes away R/(R + 200) of the wave, 0.043 dB an ohm; the pairs of a good cable differ
        # by some percent of its loss, about 0.025 dB/m at 1 MHz.
        db = 0.043 * float(conditions[0]["resistance_ohm"])
        if db < 0.04 + 0.05 * 0.025 * length_m:
            return "without the common mode so little loss is less than good pairs differ by"
    return ""


def draw(number: int, seed: int, *, kind: str | None = None) -> Case:
    """Draw cord `number` of a corpus; the kind of defect too unless it is given."""
    rng = np.random.default_rng([seed, number])
    chosen = str(rng.choice(list(DEFECTS), p=np.array(_SHARES) / sum(_SHARES)))
    chosen = chosen if kind is None else kind
    long = rng.random() < _LONG
    length_m = round(float(rng.uniform(30.0, 90.0) if long else rng.uniform(1.0, 10.0)), 2)
    category = str(rng.choice(["6a", "6a", "6", "5e"]))
    form = str(rng.choice(FORMS))
    conditions, truth = DEFECTS[chosen](rng, length_m)
    if form == "baluns" and not truth.hidden:
        truth = replace(truth, hidden=_hidden_behind_baluns(truth, conditions, length_m))
    made = "permanent-link" if long else "cord"
    return Case(number, int(rng.integers(2**31)), length_m, made, category, form, conditions, truth)


def grid_for(length_m: float) -> np.ndarray:
    """1 to 500 MHz for cords; for longer ones a first frequency and a step that time domain allows."""
    step_hz = 1e6 if length_m <= 15.0 else 0.3125e6
    return np.arange(1, int(500e6 / step_hz) + 1) * step_hz


def matrix_of(case: Case, frequency_hz: np.ndarray) -> SMatrix:
    """The matrix of a cord as it was measured: legs, or modes behind baluns."""
    s = assemble(case.description, case.seed).scatter(frequency_hz)
    return as_measured(s, frequency_hz, case.form)


def as_measured(s: np.ndarray, frequency_hz: np.ndarray, form: str) -> SMatrix:
    """Conductors 1..8 of end A, then of end B -> legs, or the modes that baluns show."""
    pair_of = {contact: pair for pair, contacts in CONTACTS_OF_PAIR.items() for contact in contacts}
    legs = tuple(
        f"{BalancedPort(end, pair_of[contact])}.{contact}" for end in ("A", "B") for contact in range(1, 9)
    )
    single = SMatrix(frequency_hz, s, legs, (50.0,) * 16)
    if form == "contacts":
        return single
    mixed = to_mixed_mode(single)
    keep = [k for k, label in enumerate(mixed.ports) if form == "tapped baluns" or label.endswith("/d")]
    chosen = mixed.s[:, keep][:, :, keep]
    return SMatrix(
        frequency_hz, chosen, tuple(mixed.ports[k] for k in keep), tuple(mixed.z0_ohm[k] for k in keep)
    )


@dataclass(frozen=True)
class Result:
    """What was said of a cord."""

    case: Case
    faults: tuple[Fault, ...]
    said: str
    located: bool | None
    named: bool | None
    error_m: float | None = None
    extra: tuple[str, ...] = ()


def judge(case: Case, faults: Sequence[Fault]) -> Result:
    """Compare what was said with what was done.

    The fault of the right kind counts where there is one, else the first. `located`: within 0.3 m or 5 % of
    the length, or at the right end for what sits in a plug; `named`: the right pairs.
    """
    truth = case.truth
    if not faults:
        return Result(case, (), GOOD, None, None)
    at = next((k for k, fault in enumerate(faults) if fault.kind == truth.kind), 0)
    best = faults[at]
    extra = tuple(fault.kind for k, fault in enumerate(faults) if k != at)
    located, error_m = _located(case, best)
    named = _named(case, best)
    return Result(case, tuple(faults), best.kind, located, named, error_m, extra)


def _located(case: Case, fault: Fault) -> tuple[bool | None, float | None]:
    truth = case.truth
    if truth.from_m is None or truth.to_m is None:
        return None, None
    if truth.end is not None:
        return fault.end == truth.end, None
    if fault.end is not None:
        at = 0.0 if fault.end == "A" else case.length_m
        from_m = to_m = at
    elif fault.from_m is None or fault.to_m is None:
        return False, None
    else:
        from_m, to_m = fault.from_m, fault.to_m
    # The place said against the place done; a stretch is right when both its ends are.
    middle = abs((from_m + to_m) / 2 - (truth.from_m + truth.to_m) / 2)
    ends = max(abs(from_m - truth.from_m), abs(to_m - truth.to_m))
    error = ends if truth.kind == "water" else middle
    return error <= max(0.3, 0.05 * case.length_m), error


def _named(case: Case, fault: Fault) -> bool | None:
    truth = case.truth
    if truth.kind == GOOD or not truth.pairs or truth.kind in ("crush", "water"):
        return None
    if truth.kind == "untwist":
        # Pairs whose blades are not neighbours do not show.
        return len(set(fault.pairs) & set(truth.pairs)) >= 2
    if truth.contacts and truth.kind in ("open", "short", "contact") and case.form == "contacts":
        return set(fault.contacts) == set(truth.contacts)
    return set(fault.pairs) == set(truth.pairs)


def look_at(number: int, seed: int, kind: str | None = None) -> Result:
    """Draw a cord, compute its matrix, ask what is wrong with it."""
    case = draw(number, seed, kind=kind)
    corrected = matrix_of(case, grid_for(case.length_m))
    faults = locate_faults(corrected, to_mixed_mode(corrected), length_m=case.length_m)
    return judge(case, faults)


def run(cords: int, seed: int, *, processes: int = 1) -> list[Result]:
    """Look at a corpus of cords."""
    work = partial(look_at, seed=seed)
    if processes == 1:
        return [work(number) for number in range(cords)]
    with ProcessPoolExecutor(processes) as pool:
        return list(pool.map(work, range(cords), chunksize=4))


def right(result: Result) -> bool:
    """Whether the defect was found, named, located, and nothing else said."""
    return (
        result.said == result.case.truth.kind
        and result.located is not False
        and result.named is not False
        and not result.extra
    )


_COLUMNS = (*DEFECTS, "impedance", "unclear")


def table(results: Iterable[Result]) -> str:
    """The confusion table, what was located and named, and every cord that came out wrong."""
    results = list(results)
    shown = [result for result in results if not result.case.truth.hidden]
    counts = Counter((result.case.truth.kind, result.said) for result in shown)
    width = 6
    lines = ["done \\ said " + "".join(f"{name[:width]:>{width + 1}}" for name in _COLUMNS)
             + "   located   named"]  # fmt: skip
    for kind in DEFECTS:
        own = [result for result in shown if result.case.truth.kind == kind]
        row = "".join(f"{counts[kind, said] or '.':>{width + 1}}" for said in _COLUMNS)
        parts = []
        for value in ("located", "named"):
            told = [getattr(result, value) for result in own if getattr(result, value) is not None]
            parts.append(f"{sum(told)}/{len(told)}" if told else "-")
        lines.append(f"{kind:12}{row}   {parts[0]:>7} {parts[1]:>7}")
    errors = [result.error_m for result in shown if result.error_m is not None and result.located]
    hidden = [result for result in results if result.case.truth.hidden]
    good = sum(right(result) for result in shown)
    lines.append(f"{good} of {len(shown)} cords right in every respect; not visible: {len(hidden)}")
    if errors:
        lines.append(f"error of place: median {np.median(errors):.2f} m, largest {max(errors):.2f} m")
    lines += [f"not visible: {one.case}: {one.case.truth.hidden}; said {one.said}" for one in hidden]
    lines += [f"wrong: {_wrong(one)}" for one in shown if not right(one)]
    return "\n".join(lines)


def _wrong(result: Result) -> str:
    said = "; ".join(fault.words for fault in result.faults) or GOOD
    return f"{result.case}: said {said}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cords", type=int, default=100)
    parser.add_argument("--seed", type=int, default=2027)
    parser.add_argument("--processes", type=int, default=1)
    given = parser.parse_args()
    print(table(run(given.cords, given.seed, processes=given.processes)))  # noqa: T201 - its purpose


if __name__ == "__main__":
    main()
