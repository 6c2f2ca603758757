"""What a record holds as pandas and xarray objects. Both packages come with ``benchsweep[tables]``."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from benchsweep import archive, mixedmode
from benchsweep.errors import ArchiveError, UsageError
from benchsweep.qualification._export_columns import (
    common_grid,
    matrix_columns,
    raw_columns,
)
from benchsweep.qualification._export_load import load_for_export, verdicts_of_record
from benchsweep.qualification._graded import Qualified
from benchsweep.qualification._notes import record_hash
from benchsweep.qualification._reduction import Evaluation, evaluate
from benchsweep.qualification._verdict_columns import (
    NOTHING_BEFORE,
    VerdictsOfRecord,
    kept_before,
    verdict_columns,
)
from benchsweep.records import FOUR_PAIRS, Measurement, SMatrix, Trace

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

__all__ = ["FrameSubject", "to_pandas", "to_xarray"]

FrameSubject = archive.Source | Measurement | Evaluation | Qualified
"""Path or address of a record or a series (its last sweep), a measurement, or what was made of one."""


def to_pandas(
    subject: FrameSubject, what: Literal["traces", "verdict", "matrix", "mixed", "raw"] = "traces"
) -> pd.DataFrame:
    """Return a record as a table of pandas.

    Parameters
    ----------
    subject
        What is to be shown; corrections of a record that is named by its path count.
    what
        ``traces``: a row for each frequency, index ``frequency_hz`` in Hz; columns by the levels
        ``parameter``, ``end`` (of the receiver; empty where ends cannot differ), ``pairs`` (``12``; disturbed
        and disturbing ``12-36``) and ``unit`` (``dB`` or ``ns``). Losses are positive dB, infinite where
        there is no signal; NaN where a trace has no such point.

        ``verdict``: a row for each row of each verdict of a `Qualified`, which `grade_record` returns;
        columns as in an export.

        ``matrix``, ``mixed``: a row for each S-parameter at each frequency, of the corrected matrix or of its
        modes: ``frequency_hz``, ``out``, ``into`` (labels, categories), complex ``s`` = wave out of `out`
        over wave into `into`, reference impedances ``out_ohm`` and ``into_ohm`` in ohm.

        ``raw``: the same of every hookup as the analyzer gave it: ``hookup``, ``taken_at``, analyzer ports
        ``port_out`` and ``port_into``, what was attached to them ``out`` and ``into``, complex ``s`` and
        ``switch`` (switch term of `port_out` while `port_into` is driven; NaN where not measured).

    Returns
    -------
    DataFrame
        ``attrs`` hold ``specimen``, ``created_at``, ``record``.

    Raises
    ------
    UsageError
        pandas is not installed, nothing was graded, or there are no raw sweeps.
    ArchiveError, CalibrationMismatch, FixtureError

    Examples
    --------
    ``to_pandas("archive/20260301T101500Z-cord.h5")["next"]["A"].min()`` is the smallest NEXT of each pair
    combination at end A.
    """
    pandas = _package("pandas")
    if what == "verdict":
        if not isinstance(subject, Qualified):
            raise UsageError(
                "a verdict needs a requirement: give what "
                '`grade_record(record, load_requirements(["tia-6a-cord"]))` returns, '
                f"not a {type(subject).__name__}",
                hint="`export --what verdict --against tia-6a-cord` writes the same table as a file.",
            )
        frame = pandas.DataFrame(verdict_columns([_verdicts(subject)]))
        measurement, record = subject.evaluation.measurement, str(subject.record)
    elif what == "traces":
        evaluation, record = _evaluated(subject)
        measurement = evaluation.measurement
        grid, values = common_grid(evaluation.traces)
        frame = pandas.DataFrame(
            np.array(values).T.reshape(grid.size, len(values)),
            index=pandas.Index(grid, name="frequency_hz"),
            columns=pandas.MultiIndex.from_tuples(
                [
                    (str(one.parameter), one.end or "", "-".join(one.pairs), one.parameter.unit)
                    for one in evaluation.traces
                ],
                names=["parameter", "end", "pairs", "unit"],
            ),
        )
    else:
        measurement, record = _measured(subject)
        columns = (
            raw_columns(_swept(measurement)) if what == "raw" else matrix_columns(_matrix(measurement, what))
        )
        frame = pandas.DataFrame(_with_complex(columns))
        frame = frame.astype({name: "category" for name in ("out", "into", "taken_at") if name in frame})
    frame.attrs.update(_attributes(measurement, record))
    return frame


def to_xarray(
    subject: FrameSubject, what: Literal["traces", "matrix", "mixed", "raw"] = "traces"
) -> xr.Dataset:
    """Return a record as a data set of xarray.

    Parameters
    ----------
    subject
        As for `to_pandas`.
    what
        ``traces``: a variable for each parameter, ``units`` dB or ns in its attributes, of the dimensions
        ``end`` (of the receiver; only where the ends can differ), ``pair`` (the disturbed one),
        ``other_pair`` (the disturbing one, of skew the other; only of parameters of two pairs) and
        ``frequency_hz``. What does not exist, such as NEXT of a pair with itself, is NaN.

        ``matrix``, ``mixed``: complex ``s`` with the dimensions ``frequency_hz``, ``out``, ``into``: wave out
        of `out` over wave into `into`, by the labels of legs or modes; reference impedances ``out_ohm``,
        ``into_ohm``.

        ``raw``: complex ``s`` with the dimensions ``hookup``, ``frequency_hz``, ``port_out``, ``port_into``
        (analyzer ports) as the analyzer gave it, ``switch_terms`` of the same shape where they were measured;
        coordinates ``attached`` (what was at each port of each hookup) and ``taken_at``. NaN where a hookup
        did not use a port.

    Returns
    -------
    Dataset
        The coordinate ``frequency_hz`` is in Hz; attributes ``specimen``, ``created_at``, ``record``.

    Raises
    ------
    UsageError
        xarray is not installed, or there are no raw sweeps.
    ArchiveError, CalibrationMismatch, FixtureError

    Examples
    --------
    ``to_xarray("archive/20260301T101500Z-cord.h5").next.min(["other_pair", "frequency_hz"])`` is the smallest
    NEXT of each pair at each end.
    """
    xarray = _package("xarray")
    if what == "traces":
        evaluation, record = _evaluated(subject)
        measurement = evaluation.measurement
        variables, coordinates = _trace_variables(evaluation.traces)
    else:
        measurement, record = _measured(subject)
        if what == "raw":
            variables, coordinates = _raw_variables(_swept(measurement))
        else:
            variables, coordinates = _matrix_variables(_matrix(measurement, what))
    coordinates["frequency_hz"] = ("frequency_hz", coordinates["frequency_hz"], {"units": "Hz"})
    found: xr.Dataset = xarray.Dataset(variables, coords=coordinates, attrs=_attributes(measurement, record))
    return found


def _package(name: str) -> Any:
    try:
        return import_module(name)
    except ImportError as error:
        raise UsageError(
            f"{name} is not installed: {error.name or error}", hint="Install benchsweep[tables]."
        ) from error


def _measured(subject: FrameSubject) -> tuple[Measurement, str]:
    if isinstance(subject, Measurement):
        return subject, ""
    if isinstance(subject, Qualified):
        return subject.evaluation.measurement, str(subject.record)
    if isinstance(subject, Evaluation):
        return subject.measurement, ""
    loaded = load_for_export(subject, "matrix")
    return loaded.measurement, loaded.name


def _evaluated(subject: FrameSubject) -> tuple[Evaluation, str]:
    if isinstance(subject, Qualified):
        return subject.evaluation, str(subject.record)
    if isinstance(subject, Evaluation):
        return subject, ""
    measurement, record = _measured(subject)
    return evaluate(measurement), record


def _verdicts(graded: Qualified) -> VerdictsOfRecord:
    """Return what an export would tell of a graded record; where it is not stored, less."""
    try:
        digest = record_hash(graded.record)
    except ArchiveError:
        return verdicts_of_record(graded, "", NOTHING_BEFORE)
    before, _ = kept_before(graded.record, digest, but=graded.grading)
    return verdicts_of_record(graded, digest, before)


def _swept(measurement: Measurement) -> Measurement:
    if not measurement.hookups:
        raise UsageError(
            f"{measurement.specimen.identifier}: there are no raw sweeps", hint="It was imported from a file."
        )
    return measurement


def _matrix(measurement: Measurement, what: str) -> SMatrix:
    if what not in ("matrix", "mixed"):
        raise UsageError(f"there is no {what!r} of a record", hint="Choose traces, matrix, mixed or raw.")
    return mixedmode.to_mixed_mode(measurement.corrected) if what == "mixed" else measurement.corrected


def _attributes(measurement: Measurement, record: str) -> dict[str, str]:
    specimen = measurement.specimen
    return {"specimen": specimen.identifier, "created_at": measurement.created_at, "record": record}


def _with_complex(columns: dict[str, Any]) -> dict[str, Any]:
    found = dict(columns)
    found["s"] = found.pop("re") + 1j * found.pop("im")
    if "switch_re" in found:
        found["switch"] = found.pop("switch_re") + 1j * found.pop("switch_im")
    return found


_Variables = tuple[dict[str, Any], dict[str, Any]]
"""Name -> (dimensions, values, attributes); coordinates."""


def _trace_variables(traces: Sequence[Trace]) -> _Variables:
    grid, values = common_grid(traces)
    pairs = [pair for pair in FOUR_PAIRS if any(pair in trace.pairs for trace in traces)]
    sizes = {"end": 2, "pair": len(pairs), "other_pair": len(pairs), "frequency_hz": grid.size}
    variables: dict[str, Any] = {}
    for trace, value in zip(traces, values, strict=True):
        own = trace.pairs if len(trace.pairs) <= 2 else ()  # a mean over all pairs is of none
        place = (*(["AB".index(trace.end)] if trace.end else []), *map(pairs.index, own))
        dims = (*(["end"] if trace.end else []), *("pair", "other_pair")[: len(own)], "frequency_hz")
        if trace.parameter not in variables:
            empty = np.full([sizes[name] for name in dims], np.nan)
            variables[trace.parameter] = (dims, empty, {"units": trace.parameter.unit})
        variables[trace.parameter][1][place] = value
    coordinates = {"end": ["A", "B"], "pair": pairs, "other_pair": pairs, "frequency_hz": grid}
    return {str(name): parts for name, parts in variables.items()}, coordinates


def _matrix_variables(matrix: SMatrix) -> _Variables:
    ports, z0 = list(matrix.ports), np.array(matrix.z0_ohm, dtype=np.float64)
    coordinates = {
        "frequency_hz": matrix.frequency_hz,
        "out": ports,
        "into": ports,
        "out_ohm": ("out", z0, {"units": "ohm"}),
        "into_ohm": ("into", z0, {"units": "ohm"}),
    }
    return {"s": (("frequency_hz", "out", "into"), matrix.s)}, coordinates


def _raw_variables(measurement: Measurement) -> _Variables:
    hookups = measurement.hookups
    grid = np.unique(np.concatenate([raw.sweep.frequency_hz for raw in hookups]))
    ports = np.array(sorted({port for raw in hookups for port in raw.sweep.analyzer_ports}))
    shape = (len(hookups), grid.size, len(ports), len(ports))
    s, switch = np.full(shape, np.nan + 0j), np.full(shape, np.nan + 0j)
    attached = np.full((len(hookups), len(ports)), "", dtype=object)
    for number, raw in enumerate(hookups):
        at = np.searchsorted(ports, raw.sweep.analyzer_ports)
        place = np.ix_(np.searchsorted(grid, raw.sweep.frequency_hz), at, at)
        s[number][place] = raw.sweep.s
        if raw.sweep.switch_terms is not None:
            switch[number][place] = raw.sweep.switch_terms
        attached[number, at] = [raw.hookup.connections.get(port, "") for port in raw.sweep.analyzer_ports]
    dims = ("hookup", "frequency_hz", "port_out", "port_into")
    variables: dict[str, Any] = {"s": (dims, s)}
    if any(raw.sweep.switch_terms is not None for raw in hookups):
        variables["switch_terms"] = (dims, switch)
    coordinates = {
        "hookup": [raw.hookup.number for raw in hookups],
        "frequency_hz": grid,
        "port_out": ports,
        "port_into": ports,
        "attached": (("hookup", "port_out"), attached.astype(str)),
        "taken_at": ("hookup", [raw.sweep.taken_at for raw in hookups]),
    }
    return variables, coordinates
