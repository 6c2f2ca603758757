"""Turn a map of contacts into findings in the words of a technician."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchsweep.records import CONTACTS_OF_PAIR, FOUR_PAIRS, WiringFinding

__all__ = ["PAIR_OF_CONTACT", "contact_words", "describe_map", "listed", "pair_words", "pairs_of", "unclear"]

PAIR_OF_CONTACT: Mapping[int, str] = {
    contact: pair for pair, contacts in CONTACTS_OF_PAIR.items() for contact in contacts
}


def listed(items: Iterable[str]) -> str:
    """Return ``a, b and c``."""
    texts = list(items)
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def pair_words(pair: str) -> str:
    """Return ``1-2`` for ``12``."""
    return f"{pair[0]}-{pair[1]}"


def contact_words(contact: int) -> str:
    """Return ``contact 4 (pair 4-5)``."""
    return f"contact {contact} (pair {pair_words(PAIR_OF_CONTACT[contact])})"


def pairs_of(contacts: Iterable[int]) -> tuple[str, ...]:
    """Return the pairs of `contacts` in the usual order."""
    wanted = {PAIR_OF_CONTACT[contact] for contact in contacts}
    return tuple(pair for pair in FOUR_PAIRS if pair in wanted)


def unclear(words: str, contacts: Iterable[int] = ()) -> WiringFinding:
    """Return the finding that says what could not be told."""
    chosen = tuple(sorted(contacts))
    return WiringFinding("unclear", chosen, pairs_of(chosen), None, words)


def describe_map(leads_to: Mapping[int, int]) -> list[WiringFinding]:
    """Name what is wrong in a map contact at end A -> contact at end B (connected contacts only).

    Whole pairs that changed place are crossed pairs, a pair whose two conductors changed place is reversed,
    and every other contact that leads to a wrong one is miswired.
    """
    image: dict[str, str] = {}
    turned: set[str] = set()
    for pair, (plus, minus) in CONTACTS_OF_PAIR.items():
        ends = (leads_to.get(plus), leads_to.get(minus))
        for other, legs in CONTACTS_OF_PAIR.items():
            if set(ends) == set(legs):
                image[pair] = other
                if ends != legs:
                    turned.add(pair)
    findings = [_reversed(pair) for pair in FOUR_PAIRS if pair in turned and image[pair] == pair]
    findings += _crossed(image, turned)
    wrong = [
        contact
        for contact, end in sorted(leads_to.items())
        if end != contact and PAIR_OF_CONTACT[contact] not in image
    ]
    if wrong:
        first, *others = wrong
        words = (
            f"miswired: contact {first} at end A leads to contact {leads_to[first]} at end B"
            + "".join(f", contact {contact} to contact {leads_to[contact]}" for contact in others)
            + "; wire the conductors straight through"
        )
        findings.append(WiringFinding("miswired", tuple(wrong), pairs_of(wrong), None, words))
    return findings


def _reversed(pair: str) -> WiringFinding:
    plus, minus = CONTACTS_OF_PAIR[pair]
    words = (
        f"reversed pair {pair_words(pair)}: contact {plus} at end A leads to contact {minus} at end B and "
        f"contact {minus} to contact {plus}; exchange the two conductors at one end"
    )
    return WiringFinding("reversed", (plus, minus), (pair,), None, words)


def _crossed(image: Mapping[str, str], turned: set[str]) -> list[WiringFinding]:
    findings = []
    left = [pair for pair in FOUR_PAIRS if image.get(pair, pair) != pair]
    while left:
        group = [left.pop(0)]
        while (following := image.get(group[-1])) in left:
            left.remove(following)
            group.append(following)
        moves = [
            f"pair {pair_words(pair)} of end A leads to pair {pair_words(image[pair])} of end B"
            + (" with its conductors exchanged" if pair in turned else "")
            for pair in group
        ]
        named = listed(pair_words(pair) for pair in FOUR_PAIRS if pair in group)
        contacts = sorted(contact for pair in group for contact in CONTACTS_OF_PAIR[pair])
        words = f"crossed pairs {named}: {', '.join(moves)}; exchange the pairs at one end"
        findings.append(WiringFinding("crossed", tuple(contacts), pairs_of(contacts), None, words))
    return findings
