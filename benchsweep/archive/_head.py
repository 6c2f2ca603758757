"""The few things that an index wants to know of a file, without reading its arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchsweep.archive._convert import read_analyzer, read_specimen
from benchsweep.archive.format import Kind, Node, content_digest, kind_in, node_of
from benchsweep.archive.places import Source, open_content
from benchsweep.errors import RecordDamaged
from benchsweep.records import Specimen

__all__ = ["Head", "measured_on_simulated_bench", "read_head"]


@dataclass(frozen=True, slots=True)
class Head:
    """What a file is about. What its kind does not have is empty, or 0.

    Attributes
    ----------
    kind : str
        ``record``, ``series``, ``calibration``, or the kind of a note or grading.
    content_hash : str
        Hash that names the content, 64 hexadecimal digits; empty for kinds that have none.
    created_at : str
        ISO 8601 time in UTC; of a series when it began.
    origin : str
        ``bench`` or ``touchstone``, of a record.
    station, operator : str
        Names.
    specimen : Specimen or None
        The part under test.
    calibration, calibration_created_at, kit : str
        Identifier, time and kit of the calibration that was applied, or of the calibration that the file is.
    reduced_from, reason, reduced_at : str
        See `Measurement`.
    points : int
        Number of frequencies.
    start_hz, stop_hz : float
        First and last of them.
    ports : int
        Number of ports of the corrected matrix of a record; of analyzer ports of a series or calibration.
    hookups : int
        Number of hookups.
    source_file : str
        Name of the imported file.
    size : int
        Length of the file in bytes.
    """

    kind: Kind
    content_hash: str = ""
    created_at: str = ""
    origin: str = ""
    station: str = ""
    operator: str = ""
    specimen: Specimen | None = None
    calibration: str = ""
    calibration_created_at: str = ""
    kit: str = ""
    reduced_from: str = ""
    reason: str = ""
    reduced_at: str = ""
    points: int = 0
    start_hz: float = 0.0
    stop_hz: float = 0.0
    ports: int = 0
    hookups: int = 0
    source_file: str = ""
    size: int = 0


# Kind of file -> path of its frequency grid, path of what its length is the number of ports.
_GRIDS = {
    "record": ("corrected", "z0_ohm"),
    "series": ("grid", ""),
    "series-head": ("grid", ""),
    "calibration": ("terms", "analyzer_ports"),
}


def read_head(source: Source) -> Head:
    """Read what a file is about, whatever its kind; of its arrays only the frequency grid.

    The structure of the file is checked, its large arrays are not.

    Raises
    ------
    RecordDamaged
        No file of ours, truncated or changed.
    RecordNewer
        Written by a later version of the format.
    ArchiveError
        No such file, or it cannot be read.
    """
    with open_content(source, "benchsweep", whole=False) as content:
        kind = kind_in(content)
        if kind is None:
            raise RecordDamaged(
                f"{content.source}: not a benchsweep file", hint="Name a file that benchsweep wrote."
            )
        with node_of(content, kind, whole=False) as root:
            return _head(root, kind, content.size)


def measured_on_simulated_bench(source: Source) -> bool:
    """Tell whether a record was measured on the simulated bench, of its content read no more than that.

    Not part of `read_head`: the head of a file in a store is fetched in one piece, and what the
    analyzer said of itself lies further behind.

    Raises as `read_head`.
    """
    with (
        open_content(source, "benchsweep", whole=False) as content,
        node_of(content, "record", whole=False) as root,
    ):
        analyzer = root.optional("analyzer")
        return analyzer is not None and read_analyzer(analyzer).simulated


def _head(root: Node, kind: Kind, size: int) -> Head:
    def text(node: Node | None, *names: str) -> str:
        return next((node.text(name) for name in names if node is not None and node.has(name)), "")

    calibration = root if kind == "calibration" else root.optional("calibration")
    specimen, hookups = root.optional("specimen"), root.optional("hookups")
    points, start, stop, ports = _grid(root, kind)
    return Head(
        kind=kind,
        content_hash=content_digest(root) if root.has("content_sha256") else "",
        created_at=text(root, "created_at", "started_at", "at", "made_at"),
        origin=text(root, "origin"),
        station=text(root, "station"),
        operator=text(root, "operator", "by"),
        specimen=None if specimen is None else read_specimen(specimen),
        calibration=text(calibration, "identifier"),
        calibration_created_at=text(calibration, "created_at"),
        kit=text(calibration, "kit"),
        reduced_from=text(root, "reduced_from"),
        reason=text(root, "reason"),
        reduced_at=text(root, "reduced_at"),
        points=points,
        start_hz=start,
        stop_hz=stop,
        ports=ports,
        hookups=1 if root.contains("hookup") else 0 if hookups is None else len(hookups.names()),
        source_file=text(root, "source_file"),
        size=size,
    )


def _grid(root: Node, kind: Kind) -> tuple[int, float, float, int]:
    """Return number of points, first and last frequency in Hz, number of ports."""
    if kind not in _GRIDS:
        return 0, 0.0, 0.0, 0
    name, along = _GRIDS[kind]
    node = root.child(name)
    grid = node.array("frequency_hz", np.float64, 1)
    if grid.size == 0:
        raise node.wrong("frequency_hz", "no frequency at all")
    ports = node.length(along) if along else root.child("hookup").length("connected_port")
    return grid.size, float(grid[0]), float(grid[-1]), ports
