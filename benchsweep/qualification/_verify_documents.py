"""What ``verify --json`` prints, and the same in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from benchsweep import fixture
from benchsweep.calibration.verification import Comparison, ewma_signals, history_limits, level_db
from benchsweep.qualification._station import Station
from benchsweep.qualification._verification import Verification
from benchsweep.qualification._verified import history_file, read_verifications
from benchsweep.qualification._verify_history import Followed, series_of
from benchsweep.qualification._wear import counters_of, renew_ports

__all__ = ["history_document", "matings_document", "renew", "verification_document"]


def verification_document(found: Verification) -> dict[str, Any]:
    """Return ``benchsweep.verification/1``. Levels of differences and uncertainties are in dB, k = 2."""
    solved, drift = found.calibration, found.drift
    created = datetime.fromisoformat(solved.created_at)
    age = (datetime.fromisoformat(found.created_at) - created).total_seconds() / 3600.0
    return {
        "schema": "benchsweep.verification/1",
        "station": found.station,
        "created_at": found.created_at,
        "decision": found.decision,
        "findings": [
            {"kind": one.kind, "words": one.words, "ports": list(one.ports)} for one in found.findings
        ],
        "warnings": list(found.warnings),
        "calibration": {"created_at": solved.created_at, "kit": solved.kit, "age_hours": round(age, 4)},
        "uncertainty_from": found.against,
        "largest_ratio_allowed": found.largest_ratio,
        "comparisons": [_comparison(one) for one in found.comparisons],
        "loads": [
            {
                "port": one.port,
                "difference_db": level_db(one.reflection),
                "series_ohm": one.series_ohm,
            }
            for one in found.loads
        ],
        "thrus": [
            {
                "ports": list(one.ports),
                "gain_db": one.gain_db,
                "delay_ps": one.delay_ps,
                "phase_deg": one.phase_deg,
                "reflection_db": [level_db(value) for value in one.reflection],
                "reciprocity_db": level_db(one.reciprocity),
            }
            for one in found.thrus
        ],
        "drift": None
        if drift is None
        else {
            "hours": drift.hours,
            "gain_db": drift.gain_db,
            "gain_uncertainty_db": drift.gain_uncertainty_db,
            "gain_db_per_hour": drift.per_hour(drift.gain_db),
            "delay_ps": drift.delay_ps,
            "delay_uncertainty_ps": drift.delay_uncertainty_ps,
            "delay_ps_per_hour": drift.per_hour(drift.delay_ps),
        },
        "residuals": [
            {
                "port": one.port,
                "directivity_db": level_db(one.directivity),
                "source_match_db": level_db(one.source_match),
                "tracking_db": level_db(one.tracking),
                "line_floor_db": level_db(one.floor),
            }
            for one in found.residuals
        ],
        "followed": [_followed(one) for one in found.followed],
    }


def _comparison(one: Comparison) -> dict[str, Any]:
    return {
        "artefact": one.artefact,
        "places": list(one.places),
        "kind": one.kind,
        "out": one.out,
        "into": one.into,
        "frequency_hz": one.frequency_hz,
        "difference_db": level_db(one.difference),
        "artefact_uncertainty_db": level_db(one.artefact_uncertainty),
        "bench_uncertainty_db": level_db(one.bench_uncertainty),
        "ratio": one.ratio,
        "largest_difference_db": level_db(one.largest_difference),
        "fraction_above": one.fraction_above,
    }


def _followed(one: Followed) -> dict[str, Any]:
    limits = one.limits
    return {
        "name": one.name,
        "value": one.value,
        "uncertainty": one.uncertainty,
        "low": None if limits is None else limits.low,
        "high": None if limits is None else limits.high,
        "basis": None if limits is None else limits.basis,
        "within": None if limits is None else limits.holds(one.value),
        "ewma_signal": one.ewma_signal,
    }


def history_document(station: Station, *, folder: Path | None = None) -> dict[str, Any]:
    """Return ``benchsweep.verification-history/1``: every verification and the limits for the next one.

    Raises
    ------
    ArchiveError
        The history is damaged; the message names the line.
    """
    place = folder if folder is not None else station.calibration_folder()
    entries = read_verifications(place, station.name)
    known = {
        name: float(uncertainty)
        for entry in entries
        for name, (_, uncertainty) in entry.get("values", {}).items()
    }
    return {
        "schema": "benchsweep.verification-history/1",
        "station": station.name,
        "file": str(history_file(place, station.name)),
        "verifications": [{key: _plain(entry[key]) for key in _SHOWN if key in entry} for entry in entries],
        "series": [_series(name, values, known[name]) for name, values in series_of(entries).items()],
    }


_SHOWN = ("at", "calibration", "decision", "words", "artefacts", "largest_ratio", "drift")


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _series(name: str, values: Sequence[float], uncertainty: float) -> Mapping[str, Any]:
    limits = history_limits(values, definition=0.0, uncertainty=uncertainty)
    return {
        "name": name,
        "values": list(values),
        "basis": limits.basis,
        "low": limits.low,
        "high": limits.high,
        "mean": limits.mean if limits.basis == "history" else None,
        "standard_deviation": limits.standard_deviation if limits.basis == "history" else None,
        "ewma_signals": list(ewma_signals(values)),
    }


def renew(station: Station, ports: Sequence[str]) -> None:
    """Begin to count matings anew at fixture ports whose contacts were renewed: numbers, or ``all``.

    Raises
    ------
    UsageError
        No such port.
    UnknownName, DefinitionError, ArchiveError
    """
    definition = fixture.load_fixture(station.fixture.name)
    renew_ports(station, definition, ports, _ports(definition))


def matings_document(station: Station) -> dict[str, Any]:
    """Return ``benchsweep.matings/1``: how often each fixture port was mated since it was renewed.

    Raises
    ------
    UnknownName, DefinitionError, ArchiveError
    """
    definition = fixture.load_fixture(station.fixture.name)
    counters = counters_of(station, definition)
    counts, renewals = counters.counts(), counters.renewals()
    return {
        "schema": "benchsweep.matings/1",
        "station": station.name,
        "fixture": definition.name,
        "file": str(counters.path),
        "warn_at": station.wear.warn_at,
        "stop_at": station.wear.stop_at,
        "ports": [
            {"port": port, "matings": counts.get(port, 0), "renewed_at": renewals.get(port)}
            for port in _ports(definition)
        ],
    }


_EVERY_PORT = 10_000


def _ports(definition: fixture.Fixture) -> tuple[int, ...]:
    return tuple(sorted(port for slot in definition.slots(_EVERY_PORT) for port in slot))
