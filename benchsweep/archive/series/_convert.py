"""Parts of a series to trees of groups and back; knows the layout, not HDF5."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import cast, get_args

import numpy as np

from benchsweep.archive._convert import (
    analyzer_block,
    calibration_tree,
    read_analyzer,
    read_calibration_node,
    read_safety,
    read_settings,
    read_software,
    read_specimen,
    read_state,
    read_terminations,
    safety_block,
    settings_block,
    software_block,
    specimen_block,
    table_block,
)
from benchsweep.archive.format import Block, Node
from benchsweep.records import (
    EventKind,
    Hookup,
    RawSweep,
    SeriesEnding,
    SeriesEvent,
    SeriesHead,
    SeriesSweep,
)

__all__ = [
    "ending_tree",
    "events_block",
    "head_tree",
    "read_ending_node",
    "read_events",
    "read_head_node",
    "read_sweep_node",
    "sweep_tree",
]


def head_tree(head: SeriesHead) -> dict[str, Block]:
    """Return the groups of what all sweeps share."""
    connections = head.hookup.connections
    tree = {
        "/": Block(
            {
                "started_at": head.started_at,
                "station": head.station,
                "operator": head.operator,
                "description": head.description,
            }
        ),
        "/specimen": specimen_block(head.specimen),
        "/hookup": Block(
            {"number": int(head.hookup.number)},
            {
                "connected_port": np.array(list(connections), dtype=np.int64),
                "connected_to": tuple(connections.values()),
                "terminated_port": tuple(head.hookup.terminations),
                "terminated_by": tuple(head.hookup.terminations.values()),
            },
        ),
        "/grid": Block(data={"frequency_hz": head.frequency_hz}),
        "/analyzer": analyzer_block(head.analyzer),
        "/settings": settings_block(head.settings),
        "/fixture": Block(data={"toml": head.fixture_toml}),
        "/software": software_block(head.software),
    }
    if head.safety is not None:
        tree["/safety"] = safety_block(head.safety)
    if head.calibration is not None:
        tree |= calibration_tree(head.calibration, "/calibration")
    return tree


def read_head_node(root: Node) -> SeriesHead:
    """Read what `head_tree` describes."""
    hookup, safety, calibration = root.child("hookup"), root.optional("safety"), root.optional("calibration")
    ports = hookup.array("connected_port", np.int64, 1).tolist()
    return SeriesHead(
        specimen=read_specimen(root.child("specimen")),
        started_at=root.text("started_at"),
        station=root.text("station"),
        operator=root.text("operator"),
        description=root.text("description"),
        hookup=Hookup(
            hookup.whole("number"),
            dict(zip(ports, hookup.texts("connected_to"), strict=True)),
            read_terminations(hookup),
        ),
        frequency_hz=root.child("grid").array("frequency_hz", np.float64, 1),
        analyzer=read_analyzer(root.child("analyzer")),
        settings=read_settings(root.child("settings")),
        calibration=None if calibration is None else read_calibration_node(calibration),
        fixture_toml=root.child("fixture").long_text("toml"),
        safety=None if safety is None else read_safety(safety),
        software=read_software(root.child("software")),
    )


def sweep_tree(sweep: SeriesSweep, series: str) -> dict[str, Block]:
    """Return the groups of one sweep of the series whose head has that content hash."""
    raw = sweep.sweep
    return {
        "/": Block(
            {
                "series": series,
                "number": int(sweep.number),
                "taken_at": raw.taken_at,
                "seconds": float(raw.seconds),
            },
            {
                "s": raw.s,
                "state_question": tuple(raw.state),
                "state_answer": tuple(raw.state.values()),
            },
        ),
        "/ambient": table_block(sweep.ambient, "name", "value"),
        "/events": events_block(sweep.events),
    }


def read_sweep_node(root: Node, head: SeriesHead) -> SeriesSweep:
    """Read what `sweep_tree` describes; it says itself to which series it belongs."""
    ports = head.hookup.analyzer_ports
    return SeriesSweep(
        number=root.whole("number"),
        sweep=RawSweep(
            frequency_hz=head.frequency_hz,
            s=root.array("s", np.complex128, 3),
            analyzer_ports=ports,
            taken_at=root.text("taken_at"),
            seconds=root.number("seconds"),
            state=read_state(root),
        ),
        ambient=root.table("ambient", "name", "value"),
        events=read_events(root.child("events")),
    )


def ending_tree(ending: SeriesEnding, series: str, after: int) -> dict[str, Block]:
    """Return the groups of how a series ended after the sweep of number `after`."""
    return {
        "/": Block(
            {"series": series, "after": int(after), "ended_at": ending.ended_at, "ending": ending.reason}
        ),
        "/events": events_block(ending.events),
    }


def read_ending_node(root: Node) -> SeriesEnding:
    """Read what `ending_tree` describes."""
    return SeriesEnding(root.text("ended_at"), root.text("ending"), read_events(root.child("events")))


def events_block(events: Sequence[SeriesEvent], before: Sequence[int] | None = None) -> Block:
    """Return the group of `events`, with the number of the sweep that came next where one file has many."""
    seconds = [math.nan if event.seconds is None else float(event.seconds) for event in events]
    block = Block(
        data={
            "at": tuple(event.at for event in events),
            "kind": tuple(event.kind for event in events),
            "words": tuple(event.words for event in events),
            "seconds": np.array(seconds, dtype=np.float64),
        }
    )
    if before is not None:
        block.data["before"] = np.array(before, dtype=np.int64)
    return block


def read_events(node: Node) -> tuple[SeriesEvent, ...]:
    """Read what `events_block` describes."""
    kinds = node.texts("kind")
    unknown = [kind for kind in kinds if kind not in get_args(EventKind)]
    if unknown:
        raise node.wrong("kind", f"{unknown[0][:40]!r} is none of {', '.join(get_args(EventKind))}")
    seconds = node.array("seconds", np.float64, 1).tolist()
    return tuple(
        SeriesEvent(at, cast(EventKind, kind), words, None if math.isnan(length) else length)
        for at, kind, words, length in zip(node.texts("at"), kinds, node.texts("words"), seconds, strict=True)
    )
