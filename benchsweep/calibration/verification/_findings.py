from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from benchsweep.calibration.verification._compare import Comparison, ErrorLimits
from benchsweep.calibration.verification._drift import Drift, LoadChange, ThruChange
from benchsweep.calibration.verification._limits import simultaneous_quantile

__all__ = ["FINDING_KINDS", "Finding", "FindingKind", "PortReading", "Rules", "find", "level_db"]

FindingKind = Literal["connector", "standard", "kit", "drift", "reciprocity", "artefact", "residual"]
"""What can be wrong: see `find`."""
FINDING_KINDS: tuple[FindingKind, ...] = get_args(FindingKind)

_MOST = 0.75
"""From this part of the ports on something is common to all of them."""
_REFLECTS = 0.05
_ALIKE = 0.3


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is not as it should be: its kind, in words, and the analyzer ports that are meant."""

    kind: FindingKind
    words: str
    ports: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class PortReading:
    """The reflection of an artefact at one analyzer port.

    Parameters
    ----------
    port, artefact
        Where and what.
    expected, measured
        ``(n_freq,)`` complex128.
    expanded
        ``(n_freq,)``: expanded uncertainty of their difference.
    together
        All analyzer ports of the hookup: what is wrong at one of them shows at the others, too.
    """

    port: int
    artefact: str
    expected: NDArray[np.complex128]
    measured: NDArray[np.complex128]
    expanded: NDArray[np.float64]
    together: tuple[int, ...] = ()

    @property
    def ratio(self) -> float:
        """Largest difference over uncertainty."""
        return float(np.max(np.abs(self.measured - self.expected) / np.maximum(self.expanded, 1e-15)))


@dataclass(frozen=True, slots=True)
class Rules:
    """What a station takes.

    Parameters
    ----------
    largest_ratio
        E of a single comparison; with several at once it is widened so that all together are kept by a good
        bench as often as a single one (Sidak, as in NIST/SEMATECH e-Handbook 2.3.7).
    largest_drift_db, largest_drift_ps
        What all through connections may have changed together.
    limits
        Residual errors of a good calibration.
    known_thru
        The calibration knew its thru, which tells it how ports that are not driven reflect. Otherwise that
        comes from the source match of the same port, whose error then counts twice in a thru.
    """

    largest_ratio: float
    largest_drift_db: float
    largest_drift_ps: float
    limits: ErrorLimits
    known_thru: bool = True

    def ratio_for(self, comparisons: int) -> float:
        """Return the largest E of one among so many independent comparisons."""
        return self.largest_ratio * simultaneous_quantile(max(comparisons, 1)) / simultaneous_quantile(1)


def find(
    rules: Rules,
    *,
    readings: Sequence[PortReading],
    comparisons: Sequence[Comparison],
    values: int,
    loads: Sequence[LoadChange],
    thrus: Sequence[ThruChange],
    drift: Drift | None,
) -> tuple[Finding, ...]:
    """Name what is wrong, most likely cause first.

    `values` is how many values the comparisons looked at in all: S-parameters times frequencies.

    - ``connector``: a load or through connection, measured again, is off at single ports.
    - ``drift``: all through connections have changed alike.
    - ``reciprocity``: a through connection differs in its two directions.
    - ``standard``: artefacts are off at single ports though the load there is as it was, or reflections have
      the wrong sign: a standard was exchanged.
    - ``kit``: artefacts are off at all ports alike, though the standards come back to what the kit says.
    - ``artefact``: a comparison failed and none of these explains it.
    """
    connectors = [*_connectors(rules, loads, thrus)]
    drifted = _drift(rules, drift)
    found = [*connectors, *drifted, *_reciprocity(rules, thrus)]
    limit = rules.ratio_for(values)
    known = {port for finding in connectors for port in finding.ports}
    # Drift moves all readings, a bad connector all of its hookup: neither says anything of standards.
    telling = [one for one in readings if not (drifted or known & {one.port, *one.together})]
    at_ports = _at_ports(telling, limit)
    found += at_ports
    failed = [one for one in comparisons if one.ratio > limit]
    if failed and not (at_ports or connectors or drifted):
        found.append(_plain(failed))
    return tuple(found)


def level_db(value: float) -> float:
    """Return an amplitude as level in dB, -400 at the least so that it stays a number."""
    return float(20.0 * np.log10(max(value, 1e-20)))


def _connectors(rules: Rules, loads: Sequence[LoadChange], thrus: Sequence[ThruChange]) -> Iterable[Finding]:
    widened = rules.ratio_for(max(len(loads), 1))
    bad = {one.port: one for one in loads if one.reflection > widened * rules.limits.directivity}
    if len(loads) > 1 and len(bad) >= _MOST * len(loads):
        worst = max(bad.values(), key=lambda one: one.reflection)
        yield Finding(
            "standard",
            f"the load reads differently at {'all' if len(bad) == len(loads) else 'nearly all'} ports than "
            f"when the bench was calibrated ({level_db(worst.reflection):.1f} dB off at port {worst.port}): "
            "it is not the same load, or the calibration took another standard for it",
            tuple(bad),
        )
        return
    for port, one in bad.items():
        when = (
            "is worse now than during the calibration: it has loosened since"
            if one.series_ohm > 0.0
            else "was worse during the calibration than now: it was loose when a standard was measured"
        )
        yield Finding(
            "connector",
            f"connector at port {port}: the load reads {level_db(one.reflection):.1f} dB off, as "
            f"{one.series_ohm:+.2f} ohm in series would; the contact {when}",
            (port,),
        )
    match = rules.limits.match * (1.0 if rules.known_thru else np.sqrt(2.0))
    largest = widened * float(np.hypot(rules.limits.directivity, match))
    for thru in thrus:
        for port, reflection in zip(thru.ports, thru.reflection, strict=True):
            if reflection > largest and not bad.keys() & set(thru.ports):
                yield Finding(
                    "connector",
                    f"connector at port {port}: the thru between ports {thru.ports[0]} and {thru.ports[1]} "
                    f"reflects {level_db(reflection):.1f} dB more than defined, the load does not: a contact "
                    "of the thru is loose or worn, or was when the bench was calibrated",
                    (port,),
                )


def _drift(rules: Rules, drift: Drift | None) -> list[Finding]:
    if drift is None:
        return []
    parts = []
    if abs(drift.gain_db) > rules.largest_drift_db + drift.gain_uncertainty_db:
        parts.append(f"{drift.gain_db:+.3f} dB{_rate(drift, drift.gain_db, 'dB')}")
    if abs(drift.delay_ps) > rules.largest_drift_ps + drift.delay_uncertainty_ps:
        parts.append(f"{drift.delay_ps:+.2f} ps{_rate(drift, drift.delay_ps, 'ps')}")
    if not parts:
        return []
    return [
        Finding(
            "drift",
            f"drift since the calibration: all through connections have changed by {' and '.join(parts)}; "
            f"allowed are {rules.largest_drift_db:g} dB and {rules.largest_drift_ps:g} ps (temperature, "
            "cables)",
        )
    ]


def _rate(drift: Drift, change: float, unit: str) -> str:
    rate = drift.per_hour(change)
    return "" if rate is None else f" ({rate:+.2g} {unit}/h)"


def _reciprocity(rules: Rules, thrus: Sequence[ThruChange]) -> Iterable[Finding]:
    largest = rules.ratio_for(max(len(thrus), 1)) * rules.limits.tracking
    for thru in thrus:
        if thru.reciprocity > largest:
            yield Finding(
                "reciprocity",
                f"the thru between ports {thru.ports[0]} and {thru.ports[1]} is not the same both ways: "
                f"{level_db(thru.reciprocity):.1f} dB of difference; a receiver or source path has changed",
                thru.ports,
            )


def _at_ports(readings: Sequence[PortReading], limit: float) -> list[Finding]:
    by_port: dict[int, list[PortReading]] = {}
    for reading in readings:
        by_port.setdefault(reading.port, []).append(reading)
    bad = {port: items for port, items in by_port.items() if max(one.ratio for one in items) > limit}
    if not bad:
        return []
    if len(by_port) > 1 and len(bad) >= _MOST * len(by_port):
        return [_common(bad, by_port)]
    return [_alone(port, items) for port, items in bad.items()]


def _common(bad: Mapping[int, Sequence[PortReading]], every: Mapping[int, Sequence[PortReading]]) -> Finding:
    signs = [sign for items in bad.values() if (sign := _scale(items)) is not None]
    ports = tuple(bad)
    if signs and float(np.median(signs)) < 0.0:
        return Finding(
            "standard",
            "reflections have the wrong sign at all ports: open and short were exchanged when the bench was "
            "calibrated",
            ports,
        )
    worst = max((one for items in bad.values() for one in items), key=lambda one: one.ratio)
    off = float(np.max(np.abs(worst.measured - worst.expected)))
    alike = _alike([one for items in every.values() for one in items])
    told = "by the same amount" if alike else "by different amounts"
    return Finding(
        "kit",
        f"check standards are off at {len(bad)} of {len(every)} ports {told} (up to {level_db(off):.1f} dB, "
        f"{worst.artefact} at port {worst.port}) though the standards themselves come back to what the kit "
        "says: the kit does not describe the standards that were used (wrong kit), or one of them is another",
        ports,
    )


def _alone(port: int, items: Sequence[PortReading]) -> Finding:
    sign = _scale(items)
    if sign is not None and sign < 0.0:
        return Finding(
            "standard",
            f"reflections have the wrong sign at port {port}: open and short were exchanged there when the "
            "bench was calibrated",
            (port,),
        )
    worst = max(items, key=lambda one: one.ratio)
    off = float(np.max(np.abs(worst.measured - worst.expected)))
    return Finding(
        "standard",
        f"port {port} alone reads {worst.artefact} {level_db(off):.1f} dB off, {worst.ratio:.1f} times the "
        "uncertainty, though the load comes back there: a standard was exchanged at this port or made no "
        "good contact when the bench was calibrated",
        (port,),
    )


def _scale(items: Sequence[PortReading]) -> float | None:
    """Return the real factor by which what reflects is read, least squares; None when nothing reflects."""
    expected = np.concatenate([one.expected for one in items])
    measured = np.concatenate([one.measured for one in items])
    power = float(np.sum(np.abs(expected) ** 2))
    if power < _REFLECTS**2 * expected.size:
        return None
    return float(np.sum(np.conj(expected) * measured).real / power)


def _alike(readings: Sequence[PortReading]) -> bool:
    """Tell whether ports that read the same artefact are off alike: scatter below a part of the mean."""
    by_artefact: dict[str, list[NDArray[np.complex128]]] = {}
    for one in readings:
        by_artefact.setdefault(one.artefact, []).append(one.measured - one.expected)
    means, scatter = 0.0, 0.0
    for differences in by_artefact.values():
        stack = np.stack(differences)
        mean = stack.mean(axis=0)
        means += float(np.sum(np.abs(mean) ** 2))
        scatter += float(np.mean(np.sum(np.abs(stack - mean) ** 2, axis=1)))
    return scatter < _ALIKE * means


def _plain(failed: Sequence[Comparison]) -> Finding:
    worst = max(failed, key=lambda one: one.ratio)
    several = "" if len(failed) == 1 else f" ({len(failed)} comparisons in all)"
    places = " and ".join(map(str, worst.places))
    return Finding(
        "artefact",
        f"{worst.artefact} at place {places}: {worst.kind} from {worst.into} to {worst.out} is "
        f"{level_db(worst.difference):.1f} dB off at {worst.frequency_hz / 1e6:.6g} MHz, {worst.ratio:.1f} "
        f"times the uncertainty{several}: check the artefact, its contacts and the crosstalk of the fixture",
    )
