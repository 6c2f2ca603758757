"""Records to trees of groups and back; knows the layout, not HDF5."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, cast, get_args

import numpy as np
from numpy.typing import NDArray

from benchsweep.archive.format import Block, Node, Scalar
from benchsweep.records import (
    AnalyzerIdentity,
    Calibration,
    ErrorTerms,
    Hookup,
    Measurement,
    Probe,
    Quantity,
    RawHookup,
    RawSweep,
    SafetyConfirmation,
    SMatrix,
    Spacing,
    Specimen,
    StandardTerm,
    SweepSegment,
    SweepSettings,
)

__all__ = [
    "analyzer_block",
    "as_float",
    "calibration_tree",
    "given",
    "hookup_tree",
    "measurement_tree",
    "numbered",
    "read_analyzer",
    "read_calibration_node",
    "read_hookup_node",
    "read_job",
    "read_measurement_node",
    "read_safety",
    "read_settings",
    "read_software",
    "read_specimen",
    "read_state",
    "read_terminations",
    "safety_block",
    "settings_block",
    "software_block",
    "specimen_block",
    "table_block",
]

_TERMS = ("directivity", "source_match", "load_match", "reflection_tracking")
_STANDARD_COMPLEX = ("nominal", *_TERMS, "transmission_tracking")
_STANDARD_REAL = ("real", "imaginary")


def measurement_tree(measurement: Measurement) -> dict[str, Block]:
    """Return the groups of a record."""
    tree = {
        "/": Block(
            {
                "created_at": measurement.created_at,
                "origin": measurement.origin,
                "station": measurement.station,
                "operator": measurement.operator,
                "source_file": measurement.source_file,
                "verification": measurement.verification,
                "reduced_from": measurement.reduced_from,
                "reason": measurement.reason,
                # Absent from all others, as from records of before there was such a thing.
                **({"reduced_at": measurement.reduced_at} if measurement.reduced_at else {}),
            }
        ),
        "/specimen": specimen_block(measurement.specimen),
        "/corrected": _matrix_block(measurement.corrected),
        "/fixture": Block(data={"toml": measurement.fixture_toml}),
        "/budget": Block(data={"toml": measurement.budget_toml}),
        "/consistency": _consistency_block(measurement),
        "/ambient": table_block(measurement.ambient, "name", "value"),
        "/software": software_block(measurement.software),
    }
    if measurement.safety is not None:
        tree["/safety"] = safety_block(measurement.safety)
    tree["/incidents"] = Block(data={"text": measurement.incidents})
    if measurement.analyzer is not None:
        tree["/analyzer"] = analyzer_block(measurement.analyzer)
    if measurement.settings is not None:
        tree["/sweep"] = settings_block(measurement.settings)
    if measurement.calibration is not None:
        tree |= calibration_tree(measurement.calibration, "/calibration")
    tree["/hookups"] = Block()
    for place, hookup in enumerate(measurement.hookups, start=1):
        # Named by place, so that the order comes back whatever the numbers are.
        tree |= hookup_tree(hookup, f"/hookups/{place:03d}")
    if measurement.couplings:
        tree["/couplings"] = Block()
    for place, coupling in enumerate(measurement.couplings, start=1):
        tree[f"/couplings/{place:03d}"] = _matrix_block(coupling)
    return tree


def _matrix_block(matrix: SMatrix) -> Block:
    return Block(
        data={
            "frequency_hz": matrix.frequency_hz,
            "ports": matrix.ports,
            "z0_ohm": np.array(matrix.z0_ohm, dtype=np.float64),
            "s": matrix.s,
        }
    )


def _read_matrix(node: Node) -> SMatrix:
    return SMatrix(
        node.array("frequency_hz", np.float64, 1),
        node.array("s", np.complex128, 3),
        node.texts("ports"),
        tuple(node.array("z0_ohm", np.float64, 1).tolist()),
    )


def _consistency_block(measurement: Measurement) -> Block:
    table = table_block(measurement.consistency_db, "leg", "residual_db")
    return Block(table.attributes, {**table.data, "note": measurement.assembly_notes})


def read_measurement_node(root: Node, *, reduced: bool = False) -> Measurement:
    """Read what `measurement_tree` describes; when `reduced` without the raw sweeps and the error terms."""
    analyzer, sweep, calibration = (root.optional(name) for name in ("analyzer", "sweep", "calibration"))
    safety = root.optional("safety")
    return Measurement(
        specimen=read_specimen(root.child("specimen")),
        created_at=root.text("created_at"),
        origin=root.text("origin"),
        station=root.text("station"),
        operator=root.text("operator"),
        corrected=_read_matrix(root.child("corrected")),
        hookups=tuple(read_hookup_node(node, reduced=reduced) for node in numbered(root.child("hookups"))),
        calibration=None if calibration is None else read_calibration_node(calibration, reduced=reduced),
        analyzer=None if analyzer is None else read_analyzer(analyzer),
        settings=None if sweep is None else read_settings(sweep),
        fixture_toml=root.child("fixture").long_text("toml"),
        consistency_db=root.table("consistency", "leg", "residual_db"),
        assembly_notes=root.child("consistency").texts("note"),
        ambient=root.table("ambient", "name", "value"),
        software=read_software(root.child("software")),
        source_file=root.text("source_file"),
        safety=None if safety is None else read_safety(safety),
        incidents=root.child("incidents").texts("text"),
        budget_toml=root.child("budget").long_text("toml"),
        verification=root.text("verification"),
        # Only records of a bundle have such a group.
        couplings=tuple(_read_matrix(node) for node in numbered(root.optional("couplings"))),
        reduced_from=root.text("reduced_from"),
        reason=root.text("reason"),
        reduced_at=root.text("reduced_at") if root.has("reduced_at") else "",
    )


def numbered(group: Node | None) -> list[Node]:
    """Return the numbered groups in a group, in their order; none where there is no group."""
    return [] if group is None else sorted(group.children(), key=lambda node: int(node.name))


def calibration_tree(calibration: Calibration, at: str = "") -> dict[str, Block]:
    """Return the groups of a calibration below the path `at`."""
    terms = calibration.terms
    arrays: dict[str, NDArray[Any]] = {name: getattr(terms, name) for name in _TERMS}
    return {
        at or "/": Block(
            {
                "identifier": calibration.identifier,
                "created_at": calibration.created_at,
                "idn": calibration.idn,
                "kit": calibration.kit,
                "method": calibration.method,
                "reached": calibration.reached,
            }
        ),
        f"{at}/settings": settings_block(calibration.settings),
        f"{at}/terms": Block(
            data={
                "frequency_hz": terms.frequency_hz,
                "analyzer_ports": np.array(terms.analyzer_ports, dtype=np.int64),
                **arrays,
                "transmission_tracking": terms.transmission_tracking,
            }
        ),
        f"{at}/residuals": table_block(calibration.residuals_db, "name", "value_db"),
        f"{at}/standards": _standard_terms_block(calibration.standard_terms, terms.frequency_hz.size),
    }


def _standard_terms_block(terms: Sequence[StandardTerm], n_freq: int) -> Block:
    """Return the group of what is known of the standards: one row of each array for each term."""
    arrays = {
        name: np.array([getattr(term, name) for term in terms], dtype=kind).reshape(len(terms), n_freq)
        for names, kind in ((_STANDARD_COMPLEX, np.complex128), (_STANDARD_REAL, np.float64))
        for name in names
    }
    return Block(
        data={
            "standard": tuple(term.standard for term in terms),
            "quantity": tuple(term.quantity for term in terms),
            "same_piece": np.array([term.same_piece for term in terms], dtype=np.int64),
            **arrays,
        }
    )


def _read_standard_terms(node: Node | None) -> tuple[StandardTerm, ...]:
    if node is None:  # as in calibrations of the first days
        return ()
    quantities = node.texts("quantity")
    wrong = sorted(set(quantities) - set(get_args(Quantity)))
    if wrong:
        raise node.wrong("quantity", f"{wrong[0]!r} is no quantity of a standard")
    rows = {name: node.array(name, np.complex128, 2) for name in _STANDARD_COMPLEX}
    rows |= {name: node.array(name, np.float64, 2) for name in _STANDARD_REAL}
    return tuple(
        StandardTerm(
            standard=standard,
            quantity=cast("Quantity", quantity),
            same_piece=bool(same_piece),
            **{name: array[at] for name, array in rows.items()},
        )
        for at, (standard, quantity, same_piece) in enumerate(
            zip(
                node.texts("standard"),
                quantities,
                node.array("same_piece", np.int64, 1).tolist(),
                strict=True,
            )
        )
    )


def read_calibration_node(node: Node, *, reduced: bool = False) -> Calibration:
    """Read what `calibration_tree` describes; when `reduced` with error terms of no points."""
    return Calibration(
        identifier=node.text("identifier"),
        created_at=node.text("created_at"),
        idn=node.text("idn"),
        kit=node.text("kit"),
        method=node.text("method"),
        settings=read_settings(node.child("settings")),
        terms=_read_terms(node.child("terms"), reduced=reduced),
        residuals_db=node.table("residuals", "name", "value_db"),
        reached=node.text("reached"),
        standard_terms=_read_standard_terms(node.optional("standards")),
    )


def _read_terms(node: Node, *, reduced: bool) -> ErrorTerms:
    ports = tuple(node.array("analyzer_ports", np.int64, 1).tolist())
    n = len(ports)
    if reduced:
        none = np.empty((0, n), dtype=np.complex128)
        tracking = np.empty((0, n, n), dtype=np.complex128)
        return ErrorTerms(np.empty(0), ports, transmission_tracking=tracking, **dict.fromkeys(_TERMS, none))
    return ErrorTerms(
        frequency_hz=node.array("frequency_hz", np.float64, 1),
        analyzer_ports=ports,
        transmission_tracking=node.array("transmission_tracking", np.complex128, 3),
        **{name: node.array(name, np.complex128, 2) for name in _TERMS},
    )


def hookup_tree(raw: RawHookup, at: str = "", job: Mapping[str, str] | None = None) -> dict[str, Block]:
    """Return the groups of a finished hookup below the path `at`, with the job it belongs to if given."""
    sweep, connections = raw.sweep, raw.hookup.connections
    tree = {
        at or "/": Block(
            {"number": int(raw.hookup.number), "taken_at": sweep.taken_at, "seconds": float(sweep.seconds)},
            {
                "connected_port": np.array(list(connections), dtype=np.int64),
                "connected_to": tuple(connections.values()),
                "terminated_port": tuple(raw.hookup.terminations),
                "terminated_by": tuple(raw.hookup.terminations.values()),
                "analyzer_ports": np.array(sweep.analyzer_ports, dtype=np.int64),
                "frequency_hz": sweep.frequency_hz,
                "s": sweep.s,
                **({} if sweep.switch_terms is None else {"switch_terms": sweep.switch_terms}),
                "state_question": tuple(sweep.state),
                "state_answer": tuple(sweep.state.values()),
            },
        )
    }
    if job is not None:
        tree["/job"] = Block(data={"name": tuple(job), "value": tuple(job.values())})
    return tree


def read_hookup_node(node: Node, *, reduced: bool = False) -> RawHookup:
    """Read what `hookup_tree` describes; when `reduced` with a sweep of no points."""
    ports = node.array("connected_port", np.int64, 1).tolist()
    analyzer_ports = tuple(node.array("analyzer_ports", np.int64, 1).tolist())
    none = np.empty((0, len(analyzer_ports), len(analyzer_ports)), dtype=np.complex128)
    return RawHookup(
        Hookup(
            node.whole("number"),
            dict(zip(ports, node.texts("connected_to"), strict=True)),
            read_terminations(node),
        ),
        RawSweep(
            frequency_hz=np.empty(0) if reduced else node.array("frequency_hz", np.float64, 1),
            s=none if reduced else node.array("s", np.complex128, 3),
            analyzer_ports=analyzer_ports,
            taken_at=node.text("taken_at"),
            seconds=node.number("seconds"),
            state=read_state(node),
            # Not measured, as in records of the first days.
            switch_terms=None
            if not node.contains("switch_terms")
            else none
            if reduced
            else node.array("switch_terms", np.complex128, 3),
        ),
    )


def read_terminations(node: Node) -> dict[str, str]:
    """Return balanced port -> name of the terminator on it, of a hookup."""
    return dict(zip(node.texts("terminated_port"), node.texts("terminated_by"), strict=True))


def read_job(root: Node) -> dict[str, str]:
    """Read the job that a stored hookup belongs to."""
    job = root.child("job")
    return dict(zip(job.texts("name"), job.texts("value"), strict=True))


def analyzer_block(identity: AnalyzerIdentity) -> Block:
    """Return the group of an analyzer."""
    return Block(
        {"idn": identity.idn, "family": identity.family, "ports": int(identity.ports)},
        {
            "evidence_probe": tuple(probe.probe for probe in identity.evidence),
            "evidence_answer": tuple(probe.answer for probe in identity.evidence),
            "limit_name": tuple(identity.limits),
            "limit_value": np.array(list(identity.limits.values()), dtype=np.float64),
            "lacks": identity.lacks,
        },
    )


def read_analyzer(node: Node) -> AnalyzerIdentity:
    """Read what `analyzer_block` describes."""
    asked, answered = node.texts("evidence_probe"), node.texts("evidence_answer")
    evidence = tuple(Probe(*both) for both in zip(asked, answered, strict=True))
    values = node.array("limit_value", np.float64, 1).tolist()
    limits = dict(zip(node.texts("limit_name"), values, strict=True))
    return AnalyzerIdentity(
        node.text("idn"),
        node.text("family"),
        node.whole("ports"),
        evidence,
        limits,
        node.texts("lacks"),
    )


def specimen_block(specimen: Specimen) -> Block:
    """Return the group of a specimen."""
    length = given(length_m=as_float(specimen.length_m))
    words = {"identifier": specimen.identifier, "description": specimen.description, "lot": specimen.lot}
    # Absent where nobody told it, as in all files from before.
    product = {"product": specimen.product} if specimen.product else {}
    return Block({**words, **product, **length})


def read_specimen(node: Node) -> Specimen:
    """Read what `specimen_block` describes."""
    length = node.number("length_m") if node.has("length_m") else None
    product = node.text("product") if node.has("product") else ""
    return Specimen(node.text("identifier"), length, node.text("description"), node.text("lot"), product)


def software_block(software: Mapping[str, str]) -> Block:
    """Return the group of the software that took part."""
    return Block(data={"name": tuple(software), "version": tuple(software.values())})


def read_software(node: Node) -> dict[str, str]:
    """Read what `software_block` describes."""
    return dict(zip(node.texts("name"), node.texts("version"), strict=True))


def safety_block(safety: SafetyConfirmation) -> Block:
    """Return the group of the confirmed cautions."""
    return Block({"by": safety.by, "at": safety.at}, {"cautions": safety.cautions})


def read_safety(node: Node) -> SafetyConfirmation:
    """Read what `safety_block` describes."""
    return SafetyConfirmation(node.text("by"), node.text("at"), node.texts("cautions"))


def read_state(node: Node) -> dict[str, str]:
    """Return question -> answer of the settings of the analyzer."""
    return dict(zip(node.texts("state_question"), node.texts("state_answer"), strict=True))


def settings_block(settings: SweepSettings) -> Block:
    """Return the group of sweep settings."""
    segments = settings.segments
    bandwidths = [math.nan if s.if_bandwidth_hz is None else float(s.if_bandwidth_hz) for s in segments]
    return Block(
        {
            **given(
                start_hz=as_float(settings.start_hz),
                stop_hz=as_float(settings.stop_hz),
                points=None if settings.points is None else int(settings.points),
            ),
            "if_bandwidth_hz": float(settings.if_bandwidth_hz),
            "averages": int(settings.averages),
            "power_dbm": float(settings.power_dbm),
            "spacing": settings.spacing,
        },
        {
            "segment_start_hz": np.array([s.start_hz for s in segments], dtype=np.float64),
            "segment_stop_hz": np.array([s.stop_hz for s in segments], dtype=np.float64),
            "segment_points": np.array([s.points for s in segments], dtype=np.int64),
            "segment_if_bandwidth_hz": np.array(bandwidths, dtype=np.float64),
        },
    )


def read_settings(node: Node) -> SweepSettings:
    """Read what `settings_block` describes."""
    return SweepSettings(
        start_hz=node.number("start_hz") if node.has("start_hz") else None,
        stop_hz=node.number("stop_hz") if node.has("stop_hz") else None,
        points=node.whole("points") if node.has("points") else None,
        if_bandwidth_hz=node.number("if_bandwidth_hz"),
        averages=node.whole("averages"),
        power_dbm=node.number("power_dbm"),
        spacing=_read_spacing(node),
        segments=_read_segments(node),
    )


def _read_spacing(node: Node) -> Spacing:
    spacing = node.text("spacing")
    if spacing not in get_args(Spacing):
        raise node.wrong("@spacing", f"{spacing[:40]!r} is none of {', '.join(get_args(Spacing))}")
    return cast(Spacing, spacing)


def _read_segments(node: Node) -> tuple[SweepSegment, ...]:
    columns = (
        node.array("segment_start_hz", np.float64, 1).tolist(),
        node.array("segment_stop_hz", np.float64, 1).tolist(),
        node.array("segment_points", np.int64, 1).tolist(),
        node.array("segment_if_bandwidth_hz", np.float64, 1).tolist(),
    )
    return tuple(
        SweepSegment(start, stop, points, None if math.isnan(bandwidth) else bandwidth)
        for start, stop, points, bandwidth in zip(*columns, strict=True)
    )


def table_block(values: Mapping[str, float], key: str, value: str) -> Block:
    """Return a group of two data sets: names and numbers."""
    return Block(data={key: tuple(values), value: np.array(list(values.values()), dtype=np.float64)})


def given(**attributes: Scalar | None) -> dict[str, Scalar]:
    """Return the attributes that have a value."""
    return {key: value for key, value in attributes.items() if value is not None}


def as_float(value: float | None) -> float | None:
    """Return a number as HDF5 is to store it."""
    return None if value is None else float(value)
