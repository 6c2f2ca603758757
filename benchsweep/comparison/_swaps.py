"""Whether a tester's numbers fit the channel clearly better under other names: pairs, ends, combinations.

All 24 ways to name four pairs are held against the bench jointly, over every parameter and both ends, each
with the ends as they are and exchanged, with disturbed and disturbing pair exchanged, and with other pairs at
one end only; then the same for each parameter alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from benchsweep.comparison._evidence import Evidence
from benchsweep.comparison._names import Key, bench_key, listed, name_of
from benchsweep.comparison._namings import Naming, all_namings
from benchsweep.records import FOUR_PAIRS, End, Suspicion

__all__ = ["invisible_swaps", "swap_suspicions"]

FEWEST_TELLING = 4
"""So many numbers must tell two namings apart …"""

FEWEST_TRACES = 2
"""… from so many traces: every exchange concerns at least two."""

CLEAR = 0.75
"""Share of the telling numbers that must speak for another naming.

A good tester gives none of them, one with that naming all. Beyond the middle there is room for a tester that
has exchanged names and is worse than allowed.
"""


_ALL = all_namings()


@dataclass(frozen=True, slots=True)
class Weighed:
    """Votes between two namings: telling numbers, those for the second one, traces that they come from."""

    telling: int
    second: int
    traces: int

    @property
    def can_tell(self) -> bool:
        """Whether such an exchange would be noticed at all."""
        return self.telling >= FEWEST_TELLING and self.traces >= FEWEST_TRACES

    @property
    def clearly_second(self) -> bool:
        """Whether the second one is meant."""
        return self.can_tell and self.second >= CLEAR * self.telling


def weigh(evidence: Evidence, one: Naming, other: Naming, among: Sequence[int]) -> Weighed:
    """Return the votes between two namings over some of the numbers."""
    telling = second = 0
    traces: set[Key] = set()
    firsts, others = _real_names(evidence, one), _real_names(evidence, other)
    for at in among:
        first, other_name = firsts[at], others[at]
        if first is None or other_name is None or first == other_name:
            continue
        told, of_them = evidence.votes(at, first, other_name)
        telling, second = telling + told, second + of_them
        if told:
            traces.add(evidence.numbers[at].key)
    return Weighed(telling, second, len(traces))


def _real_names(evidence: Evidence, naming: Naming) -> tuple[Key | None, ...]:
    """Return the bench's name of all numbers under a naming; None where it has no such trace."""
    if naming not in evidence.renamed:
        names = []
        for at, one in enumerate(evidence.numbers):
            wanted = naming.of(one.key)
            name = bench_key(wanted, evidence.there) if wanted is not None else None
            names.append(name if name is not None and evidence.has(at, name) else None)
        evidence.renamed[naming] = tuple(names)
    return evidence.renamed[naming]


def _best(evidence: Evidence, among: Sequence[int]) -> Naming:
    """Return the naming that fits best; of those that fit as well as the numbers can tell the simplest.

    Unless it is the told one, it fits clearly better than that.
    """

    def cost(naming: Naming) -> float:
        names = _real_names(evidence, naming)
        return sum(evidence.cost(at, names[at] or evidence.numbers[at].key) for at in among)

    best = min(_ALL, key=cost)
    as_good = [naming for naming in _ALL if not weigh(evidence, naming, best, among).clearly_second]
    told = _ALL[0]
    if told in as_good:
        return told
    return next(naming for naming in as_good if weigh(evidence, told, naming, among).clearly_second)


def swap_suspicions(evidence: Evidence) -> tuple[Suspicion, ...]:
    """Return what names are exchanged: never on a tester within its allowed errors."""
    everything = range(len(evidence.numbers))
    meant = _best(evidence, everything)
    if meant != _ALL[0]:
        return _only_exchange(evidence) or (_suspicion(evidence, meant, everything, ""),)
    found: list[Suspicion] = []
    for parameter in dict.fromkeys(one.key[0] for one in evidence.numbers):
        among = [at for at in everything if evidence.numbers[at].key[0] is parameter]
        meant = _best(evidence, among)
        if meant != _ALL[0]:
            only = _only_exchange(evidence, among)
            found += only or (_suspicion(evidence, meant, among, f" of {parameter.term}"),)
        else:
            found += _single_exchanges(evidence, among)
    return tuple(found)


def _suspicion(evidence: Evidence, meant: Naming, among: Sequence[int], of_what: str) -> Suspicion:
    votes = weigh(evidence, _ALL[0], meant, among)
    alike = [
        naming.words
        for naming in _ALL
        if naming not in (_ALL[0], meant)
        and naming.weight <= meant.weight + 4
        and not weigh(evidence, naming, meant, among).can_tell
    ]
    words = (
        f"the numbers{of_what} fit the bench with {meant.words}: of {votes.telling} points at which these "
        f"names and the told ones differ by more than a tester's errors, {votes.second} lie nearer to these"
    )
    if alike:
        words += f"; it cannot be told from {' or '.join(alike[:3])}"
        words += f" and {len(alike) - 3} more ways" if len(alike) > 3 else ""
    words += ". Look how the tester was connected and how its names are mapped, and measure again"
    kind = "pairs-swapped" if meant.pairs or not meant.ends else "ends-swapped"
    one_end: End | None = None
    if meant.at_a != meant.at_b:
        one_end = "A" if meant.at_a != FOUR_PAIRS else "B"
    return Suspicion(
        "ends-swapped" if kind == "ends-swapped" else "pairs-swapped", words + ".", meant.pairs, one_end
    )


def _only_exchange(evidence: Evidence, among: Sequence[int] = ()) -> tuple[Suspicion, ...]:
    """Return the one exchange of two traces that explains all of some numbers; empty: none does."""
    among = among or range(len(evidence.numbers))
    wrong = [at for at in among if evidence.cost(at, evidence.numbers[at].key) > 1.0]
    if len(wrong) != 2 or evidence.numbers[wrong[0]].key[0] is not evidence.numbers[wrong[1]].key[0]:
        return ()
    return tuple(_single_exchanges(evidence, wrong))


def _single_exchanges(evidence: Evidence, among: Sequence[int]) -> list[Suspicion]:
    """Return two traces of one parameter that have each other's name, such as two columns of a file."""
    found = []
    for one, other in combinations(among, 2):
        first, second = evidence.numbers[one].key, evidence.numbers[other].key
        if first == second or not (evidence.has(one, second) and evidence.has(other, first)):
            continue
        there, back = evidence.votes(one, first, second), evidence.votes(other, second, first)
        if min(there[0], back[0]) < FEWEST_TELLING:
            continue
        if (
            there[1] >= CLEAR * there[0]
            and back[1] >= CLEAR * back[0]
            and _fits(evidence, one, second, other, first)
        ):
            words = (
                f"{name_of(first)} and {name_of(second)} have each other's numbers: so say {there[1]} of "
                f"{there[0]} and {back[1]} of {back[0]} points at which the two differ by more than a "
                f"tester's errors. Look how the names of the file are mapped."
            )
            pairs = tuple(p for p in FOUR_PAIRS if p in first[2] + second[2])
            kind = "pairs-swapped" if first[2] != second[2] else "ends-swapped"
            found.append(
                Suspicion("pairs-swapped" if kind == "pairs-swapped" else "ends-swapped", words, pairs)
            )
    return found


def _fits(evidence: Evidence, one: int, name: Key, other: int, another: Key) -> bool:
    return evidence.cost(one, name) <= 1.0 and evidence.cost(other, another) <= 1.0


def invisible_swaps(evidence: Evidence) -> tuple[Suspicion, ...]:
    """Say which exchanges would not be noticed in these numbers, because the channel is nearly alike.

    Nothing is suspected: `hinders` is False.
    """
    everything = range(len(evidence.numbers))
    whole = [naming for naming in _ALL[1:] if naming.at_a == naming.at_b and not naming.turned]
    hidden = [naming for naming in whole if not weigh(evidence, _ALL[0], naming, everything).can_tell]
    found = []
    pairs = [naming for naming in hidden if naming.at_a != FOUR_PAIRS and not naming.ends]
    if pairs:
        which = tuple(p for p in FOUR_PAIRS if any(p in naming.pairs for naming in pairs))
        found.append(
            Suspicion("pairs-swapped", _hidden(naming.words for naming in pairs), which, hinders=False)
        )
    if any(naming.ends and naming.at_a == FOUR_PAIRS for naming in hidden):
        found.append(Suspicion("ends-swapped", _hidden(("ends A and B exchanged",)), hinders=False))
    return tuple(found)


def _hidden(words: Iterable[str]) -> str:
    all_words = list(words)
    some = (
        listed(all_words[:3])
        if len(all_words) <= 3
        else f"{', '.join(all_words[:3])} and {len(all_words) - 3} more"
    )
    return (
        f"not noticed if they were: {some}. In what the tester told the channel is so nearly alike under "
        f"these names that a tester's errors hide the difference."
    )
