from __future__ import annotations

from benchsweep.cabling._conductor_map import map_conductors, measured_contacts
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling._pair_map import estimate_length, map_pairs
from benchsweep.cabling._split import find_split_pairs
from benchsweep.cabling._words import describe_map, listed, pair_words, unclear
from benchsweep.records import CONTACTS_OF_PAIR, SMatrix, WiringFinding, WiringReport

__all__ = ["check_wiring"]

# Up to here the waves of the two modes of a pair arrive together: f times length, in Hz m.
_HIGHEST_HZ_M = 100e6
_ASSUMED_LENGTH_M = 100.0


def check_wiring(
    single_ended: SMatrix | None, mixed: SMatrix | ModeLosses, *, length_m: float | None = None
) -> WiringReport:
    """Tell which contact leads to which, and name opens, shorts, reversed, crossed, split and miswired pairs.

    Parameters
    ----------
    single_ended
        Matrix at the legs (``A:12.1`` …); None or without legs when only differential data exist.
    mixed
        The same specimen in mixed mode.
    length_m
        Nominal length; estimated from the delay when not given.

    Returns
    -------
    WiringReport
        `checked` is False when the data cannot tell all of it; a finding of kind ``unclear`` says why.

    Notes
    -----
    From single-ended data the conductors are matched by the best assignment on |S| between the ends at the
    lowest frequency, which must be at most 100 MHz m over the length: above, the differential and common
    waves of a pair arrive so far apart that its two conductors cannot be told apart. There, and from
    differential data, the pairs are matched and their polarity read from the phase carried to 0 Hz.
    """
    losses = ModeLosses.of(mixed)
    length = length_m if length_m is not None else estimate_length(losses)
    lowest_hz = float(losses.frequency_hz[0])
    low = lowest_hz * (_ASSUMED_LENGTH_M if length is None else length) <= 1.001 * _HIGHEST_HZ_M
    legs = single_ended is not None and any(measured_contacts(single_ended, end) for end in ("A", "B"))
    if single_ended is not None and legs:
        lacking = [end for end in ("A", "B") if not measured_contacts(single_ended, end)]
    else:
        lacking = [end for end in ("A", "B") if not losses.pairs("A" if end == "A" else "B")]
    if lacking:
        words = f"end {listed(lacking)} was not measured, so the wiring cannot be told"
        return WiringReport((None,) * 8, (unclear(words),), checked=False)
    if single_ended is not None and legs and low:
        leads_to, findings = _from_conductors(single_ended, losses, length)
    else:
        pairs = map_pairs(losses, length_m, low=low)
        leads_to, findings = pairs.leads_to, pairs.findings
        if legs:
            findings.append(_too_high(lowest_hz, length))
    return _report(leads_to, findings, losses)


def _from_conductors(
    single_ended: SMatrix, losses: ModeLosses, length_m: float | None
) -> tuple[dict[int, int], list[WiringFinding]]:
    conductors = map_conductors(single_ended, length_m)
    leads_to, doubtful = conductors.leads_to, conductors.doubtful
    if doubtful:
        # A common mode that reflects makes the conductors of a pair look alike; the pair can still be told.
        by_pairs = map_pairs(losses, length_m, low=True).leads_to
        for contacts in CONTACTS_OF_PAIR.values():
            if all(contact in doubtful and contact in by_pairs for contact in contacts):
                leads_to |= {contact: by_pairs[contact] for contact in contacts}
    left = [finding for contact, finding in doubtful.items() if contact not in leads_to]
    return leads_to, [*conductors.faults, *describe_map(leads_to), *left]


def _too_high(lowest_hz: float, length_m: float | None) -> WiringFinding:
    known = f"{length_m:.3g} m" if length_m is not None else "an unknown length"
    most = _HIGHEST_HZ_M / (length_m or _ASSUMED_LENGTH_M) / 1e6
    return unclear(
        f"single conductors cannot be told apart: the sweep begins at {lowest_hz / 1e6:g} MHz, too high for "
        f"{known}; begin at {most:.2g} MHz or lower"
    )


def _report(leads_to: dict[int, int], findings: list[WiringFinding], losses: ModeLosses) -> WiringReport:
    if not any(finding.kind in ("short", "crossed", "miswired", "open") for finding in findings):
        findings += find_split_pairs(losses)
    told = set(leads_to).union(*(finding.contacts for finding in findings))
    lacking = [pair for pair, contacts in CONTACTS_OF_PAIR.items() if not told.issuperset(contacts)]
    if lacking and not any(finding.kind == "unclear" and not finding.contacts for finding in findings):
        contacts = [contact for pair in lacking for contact in CONTACTS_OF_PAIR[pair]]
        named = listed(pair_words(pair) for pair in lacking)
        findings.append(unclear(f"pair {named} was not measured at both ends: not checked", contacts))
    checked = not any(finding.kind == "unclear" for finding in findings)
    return WiringReport(tuple(leads_to.get(i) for i in range(1, 9)), tuple(findings), checked=checked)
