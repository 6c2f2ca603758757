from __future__ import annotations

import tomllib

from benchsweep.records import Measurement
from benchsweep.report.document import clean
from benchsweep.report.terminal._english import length_words, number, taken_words
from benchsweep.report.terminal._lines import NARROWEST, entry
from benchsweep.report.text import megahertz

__all__ = ["budget_name", "fixture_name", "incident_table", "measurement_table"]


def measurement_table(measurement: Measurement, *, width: int = 80) -> str:
    """Return what a record holds as plain text of at most `width` columns, at least 40.

    The text holds no control characters, whatever the names hold.
    """
    width = max(width, NARROWEST)
    specimen = measurement.specimen
    lines = entry("specimen", [specimen.identifier], width)
    lines += entry("lot", [specimen.lot], width)
    lines += entry("product", [specimen.product], width)
    lines += entry("length", [length_words(specimen.length_m)], width)
    lines += entry("description", [specimen.description], width)
    lines += entry(f"{taken_words(measurement)} at", [measurement.created_at], width)
    lines += entry("origin", [_origin(measurement)], width)
    lines += entry("station", [measurement.station], width)
    lines += entry("operator", [measurement.operator], width)
    for label, texts in (
        ("matrix", _matrix_words(measurement)),
        ("bundle", _bundle_words(measurement)),
        ("analyzer", _analyzer_words(measurement)),
        ("hookups", _hookup_words(measurement)),
        ("calibration", _calibration_words(measurement)),
        ("fixture", [fixture_name(measurement.fixture_toml)]),
        ("verification", [measurement.verification]),
        ("budget", [budget_name(measurement.budget_toml)]),
        ("consistency", _consistency_words(measurement)),
        ("ambient", [f"{name} {value:g}" for name, value in measurement.ambient.items()]),
        ("safety", _safety_words(measurement)),
        ("incidents", measurement.incidents),
        ("software", [", ".join(f"{name} {version}" for name, version in measurement.software.items())]),
    ):
        lines += entry(label, texts, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def incident_table(measurement: Measurement, *, width: int = 80) -> str:
    """Return who confirmed the cautions and what was overcome while measuring, as lines; empty when neither.

    They stand below a verdict, as in `measurement_table`.
    """
    width = max(width, NARROWEST)
    lines = entry("safety", _safety_words(measurement), width)
    return "\n".join(lines + entry("incidents", measurement.incidents, width))


def _origin(measurement: Measurement) -> str:
    known = {"bench": "measured on the bench", "touchstone": "imported from a Touchstone file"}
    words = known.get(measurement.origin, measurement.origin)
    return f"{words}: {measurement.source_file}" if measurement.source_file else words


def _matrix_words(measurement: Measurement) -> list[str]:
    grid = measurement.corrected.frequency_hz
    span = f"{megahertz(float(grid[0]))} to {megahertz(float(grid[-1]))} MHz, {grid.size} points"
    legs = measurement.corrected.ports
    return [f"{len(legs)} legs, {span}", f"{legs[0]} to {legs[-1]}" if legs else ""]


def _bundle_words(measurement: Measurement) -> list[str]:
    cables = measurement.disturbing_cables
    if not cables:
        return []
    words = "disturbing cable" if len(cables) == 1 else "disturbing cables"
    return [f"{words} {', '.join(map(str, cables))}; couplings in {len(measurement.couplings)} matrices"]


def _analyzer_words(measurement: Measurement) -> list[str]:
    texts = []
    if measurement.analyzer is not None:
        analyzer = measurement.analyzer
        texts += [analyzer.idn, f"command family {analyzer.family}, {analyzer.ports} ports"]
    if measurement.settings is not None:
        settings = measurement.settings
        texts.append(
            f"IF bandwidth {settings.if_bandwidth_hz:g} Hz, averages {settings.averages}, "
            f"power {settings.power_dbm:g} dBm"
        )
    return texts


def _hookup_words(measurement: Measurement) -> list[str]:
    hookups = measurement.hookups
    if not hookups:
        return []
    ports = len(hookups[0].sweep.analyzer_ports)
    seconds = sum(raw.sweep.seconds for raw in hookups)
    return [f"{len(hookups)}, {ports} analyzer ports in the first, {seconds:.1f} s of sweeping"]


def _calibration_words(measurement: Measurement) -> list[str]:
    calibration = measurement.calibration
    if calibration is None:
        return ["none applied here"]
    texts = [
        f"{calibration.identifier} of {calibration.created_at}",
        f"kit {calibration.kit}; {calibration.method}",
    ]
    if calibration.residuals_db:
        name, value = max(calibration.residuals_db.items(), key=lambda item: item[1])
        texts.append(f"largest of {len(calibration.residuals_db)} residuals {number(value, 1)} dB ({name})")
    return texts


def _safety_words(measurement: Measurement) -> list[str]:
    safety = measurement.safety
    return [] if safety is None else [f"cautions confirmed by {safety.by} at {safety.at}"]


def _consistency_words(measurement: Measurement) -> list[str]:
    if not measurement.consistency_db:
        return []
    leg, value = max(measurement.consistency_db.items(), key=lambda item: item[1])
    return [f"hookups disagree by at most {number(value, 1)} dB (leg {leg})"]


def fixture_name(toml: str) -> str:
    """Return the name that the fixture definition gives itself, or that there is none."""
    return _name_in(toml) or ("unnamed" if toml else "none")


def budget_name(toml: str) -> str:
    """Return the name that the uncertainty budget gives itself, or that there is none."""
    return _name_in(toml) or ("unnamed" if toml else "none: no uncertainty is stated")


def _name_in(toml: str) -> str:
    try:
        name = tomllib.loads(toml).get("name")
    except tomllib.TOMLDecodeError:
        return ""
    return clean(name) if isinstance(name, str) else ""
