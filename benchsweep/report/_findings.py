"""What was found out about a specimen besides its verdicts, made ready for the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchsweep.records import (
    AlienShare,
    CableConstants,
    DistanceKind,
    DistanceTrace,
    Parameter,
)
from benchsweep.report._words import PARAMETER_WORDS, megahertz, number, pairs_words
from benchsweep.report.content._findings import BestCategory, Findings, LengthRule

__all__ = [
    "BestCategory",
    "Findings",
    "LengthRule",
    "alien_tables",
    "cable_rows",
    "distance_facts",
    "length_rows",
    "strongest_places",
]

_KINDS: tuple[DistanceKind, ...] = ("reflection", "crosstalk", "impedance")
_VELOCITY_WORDS = {
    "measured": "from the measured delay and the length",
    "given": "given by a person",
    "common-practice": "common practice in the trade, not measured: distances are as uncertain as that",
}


def distance_facts(profiles: Sequence[DistanceTrace]) -> list[tuple[str, str]]:
    """Return label and words of what the distances rest on: velocity, resolution, window, correction."""
    facts = []
    velocities: dict[str, dict[str, float]] = {}
    for trace in profiles:
        if len(trace.pairs) == 1:
            velocities.setdefault(trace.velocity_standing, {})[trace.pairs[0]] = trace.velocity_fraction
    for standing, found in velocities.items():
        told = ", ".join(f"{pair} {number(fraction, 4)}" for pair, fraction in found.items())
        facts.append(("velocity over light", f"{told}; {_VELOCITY_WORDS.get(standing, standing)}"))
    kinds: dict[str, list[str]] = {}
    for kind in _KINDS:
        seen = [trace for trace in profiles if trace.kind == kind]
        if seen:
            windows = ", ".join(dict.fromkeys(trace.window for trace in seen))
            words = f"{number(max(trace.resolution_m for trace in seen))} m, window {windows}"
            kinds.setdefault(words, []).append(kind)
        freed = [trace.loss_corrected_m for trace in seen if trace.loss_corrected_m > 0.0]
        if freed:
            facts.append(("loss on the way", f"taken out of {kind} up to {number(min(freed), 1)} m"))
    for words, which in kinds.items():
        facts.append(("resolution", words if len(kinds) == 1 else f"{', '.join(which)}: {words}"))
    return facts + _notes(profiles)


def _notes(profiles: Sequence[DistanceTrace]) -> list[tuple[str, str]]:
    """Return each note once, with the traces that it is about unless it is about all of its kind."""
    found = []
    for kind in _KINDS:
        seen = [trace for trace in profiles if trace.kind == kind]
        for note in dict.fromkeys(trace.note for trace in seen if trace.note):
            about = [f"{pairs_words(trace.pairs)} from {trace.end}" for trace in seen if trace.note == note]
            named = "" if len(about) == len(seen) else f" {', '.join(about)}"
            found.append(("note", f"{kind}{named}: {note}"))
    return found


def strongest_places(
    profiles: Sequence[DistanceTrace], length_m: float | None = None
) -> list[tuple[str, list[tuple[str, ...]]]]:
    """Return, for reflections and for crosstalk, a row for each pair or combination.

    Its cells: the pairs, then for each end the strongest value seen from there in dB and how far it is:
    within the length, where it is known. What comes back from the very end is seen around it, as wide as the
    resolution; its place is the end. What is farther away is no part of the specimen.
    """
    told = []
    for kind in ("reflection", "crosstalk"):
        seen = {(trace.pairs, trace.end): trace for trace in profiles if trace.kind == kind}
        rows = []
        for pairs in dict.fromkeys(pairs for pairs, _ in seen):
            cells = [pairs_words(pairs)]
            for end in ("A", "B"):
                trace = seen.get((pairs, end))
                cells += ["-", "-"] if trace is None else _strongest(trace, length_m)
            rows.append(tuple(cells))
        if rows:
            told.append((kind, rows))
    return told


def _strongest(trace: DistanceTrace, length_m: float | None) -> list[str]:
    length_m = float(trace.distance_m[-1]) if length_m is None else length_m
    size = np.where(trace.distance_m <= length_m + trace.resolution_m, np.abs(trace.value), -1.0)
    at = int(np.argmax(size))
    return [_loss(float(trace.value[at]), trace.kind), number(min(float(trace.distance_m[at]), length_m))]


def _loss(value: float, kind: str) -> str:
    if value == 0.0:
        return number(np.inf)
    loss = number(-20.0 * float(np.log10(abs(value))), 1)
    if kind == "crosstalk":
        return loss
    return f"{loss} {'higher' if value > 0.0 else 'lower'}"


def length_rows(findings: Findings) -> list[tuple[str, str, str, str]]:
    """Return requirement, longest length, standing, and how the measured length compares."""
    measured = findings.length_m
    rows = []
    for rule in findings.length_rules:
        if measured is None:
            words = "the length is not known"
        elif measured > rule.maximum_m:
            words = f"longer by {number(measured - rule.maximum_m, 1)} m"
        else:
            words = f"shorter by {number(rule.maximum_m - measured, 1)} m"
        rows.append((rule.requirement, f"{rule.maximum_m:g} m", rule.standing, words))
    return rows


def cable_rows(constants: Sequence[CableConstants]) -> list[tuple[str, ...]]:
    """Return the constants of each end and pair as cells, in the order of the columns on the page."""
    return [
        (
            item.end,
            item.pair,
            number(item.mean_impedance_ohm),
            f"{megahertz(item.mean_band_hz[0])} to {megahertz(item.mean_band_hz[1])}",
            number(item.fit_coefficients[0]),
            number(item.velocity_fraction, 4),
            number(None if item.delay_ns_per_100m is None else float(item.delay_ns_per_100m[-1]), 1),
            number(item.capacitance_nf_per_100m, 3),
            number(item.low_frequency_capacitance_nf_per_100m, 3),
            item.route,
        )
        for item in constants
    ]


@dataclass(frozen=True)
class _Disturber:
    cable: int
    mean: float
    strongest: AlienShare
    pair: str


def alien_tables(shares: Sequence[AlienShare]) -> list[dict[str, Any]]:
    """Return for each alien power sum its disturbing cables, the one that matters most first.

    A cable is placed by its mean part of the disturbing power, over frequency, pairs and ends.
    """
    tables = []
    for parameter in (Parameter.PS_ANEXT, Parameter.PS_AACR_F):
        seen = [share for share in shares if share.parameter is parameter]
        whole = [share for share in seen if share.disturbing_pair is None]
        rows: list[_Disturber] = []
        for cable in sorted({share.cable for share in whole}):
            of_cable = [share for share in whole if share.cable == cable]
            of_pairs = [s for s in seen if s.cable == cable and s.disturbing_pair is not None]
            strongest = max(of_cable, key=lambda share: share.share)
            pair = max(of_pairs, key=lambda share: share.band_share, default=None)
            rows.append(
                _Disturber(
                    cable=cable,
                    mean=float(np.mean([share.band_share for share in of_cable])),
                    strongest=strongest,
                    pair=pair.disturbing_pair or "" if pair is not None else "",
                )
            )
        if rows:
            rows.sort(key=lambda row: -row.mean)
            tables.append({"name": PARAMETER_WORDS[parameter], "rows": rows})
    return tables
