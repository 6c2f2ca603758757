"""What is done with records that exist: grade them again, import one from a file."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from benchsweep import archive, fixture, limits, mixedmode
from benchsweep.qualification._graded import Qualified, grade_all
from benchsweep.qualification._notes import notes_about
from benchsweep.qualification._now import utc_now
from benchsweep.qualification._reduction import evaluate, software_versions
from benchsweep.qualification._uncertainty import uncertainty_model, with_budget
from benchsweep.records import Measurement, Specimen

__all__ = [
    "check_decision_rule",
    "decision_rules",
    "grade_record",
    "import_touchstone",
    "touchstone_measurement",
]


def check_decision_rule(rule: str) -> str:
    """Return the decision rule that `rule` names, as verdicts spell it.

    Raises
    ------
    UsageError
    """
    return str(limits.Decision.parse(rule))


def decision_rules() -> tuple[str, ...]:
    """Return the names of the decision rules."""
    return limits.DECISION_RULES


def grade_record(
    path: archive.Source,
    requirements: Sequence[limits.Requirement],
    *,
    length_m: float | None = None,
    decision_rule: str = "simple",
    budget: str | None = None,
    conditions: limits.Conditions | None = None,
    by_pattern: Collection[str] = (),
) -> Qualified:
    """Read a record, check it, grade it as corrected against each requirement; the record is not changed.

    Parameters
    ----------
    length_m
        Overrides the length noted in the record, and a corrected one.
    budget
        Names an uncertainty budget that is used instead of the record's own.
    conditions
        Temperature and construction of the specimen; a temperature that is not told is that of the record.
    by_pattern
        Names of the requirements that a pattern chose; see `grade_all`.

    Raises
    ------
    ArchiveError, UsageError, LimitNotDefined, DefinitionError
    """
    measurement = with_budget(archive.read_record(path), budget)
    evaluation = evaluate(measurement, length_m=length_m, notes=notes_about(path))
    graded = grade_all(
        evaluation,
        requirements,
        record=str(path),
        decision_rule=decision_rule,
        conditions=conditions,
        by_pattern=by_pattern,
    )
    return Qualified(path, evaluation, graded)


def import_touchstone(
    path: Path,
    specimen: Specimen,
    *,
    port_map: str | None,
    folder: Path,
    operator: str = "",
    budget: str | None = None,
    ambient: Mapping[str, float] = MappingProxyType({}),
) -> tuple[Path, tuple[str, ...]]:
    """Make a record of a Touchstone file measured elsewhere, single-ended or mixed-mode.

    Mixed modes become legs, each with the polarity that the file tells. Without a port map the legs are those
    that comments of the file name, as exported files do, or those of the shipped map for 16 ports.

    Where the port map names legs of disturbing cables (``3.A:12.1``), the record is that of a bundle.

    Parameters
    ----------
    budget
        Names the uncertainty budget of the bench that measured it; None: none is kept.
    ambient
        Readings by name, such as ``temperature_degc``.

    Returns
    -------
    record
        Its path.
    legs
        The legs that the file was read as holding, in its order.

    Raises
    ------
    DataFileError, FixtureError, UnknownName, DefinitionError, ArchiveError
    """
    measurement, legs = touchstone_measurement(path, specimen, port_map=port_map, operator=operator)
    measurement = replace(with_budget(measurement, budget), ambient=dict(ambient))
    uncertainty_model(measurement)  # a budget for another kind of contacts is refused now, not when graded
    archive.make_folder(folder)
    return archive.write_record(measurement, folder), legs


def touchstone_measurement(
    path: Path, specimen: Specimen, *, port_map: str | None = None, operator: str = ""
) -> tuple[Measurement, tuple[str, ...]]:
    """Return what a Touchstone file holds as a measurement, and its legs; see `import_touchstone`.

    Raises
    ------
    DataFileError, FixtureError, UnknownName, DefinitionError
    """
    mapping = None if port_map is None else fixture.load_port_map(port_map)
    labels, text = fixture.touchstone_legs(path, mapping)
    if mixedmode.is_mixed_mode(text):
        matrix = mixedmode.mixed_mode_legs(path, text, labels)
    else:
        matrix = fixture.read_touchstone(path, mapping)
    corrected, couplings = fixture.split_bundle(matrix)
    measurement = Measurement(
        specimen=specimen,
        created_at=utc_now(),
        origin="touchstone",
        station="",
        operator=operator,
        corrected=corrected,
        couplings=couplings,
        software=software_versions(),
        source_file=path.name,
    )
    return measurement, matrix.ports
