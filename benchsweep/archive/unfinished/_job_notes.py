"""What an unfinished job remembers besides its hookups: confirmation, incidents, ambient, its archiving."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from benchsweep.records import SafetyConfirmation

__all__ = ["JobNotes", "notes_from_bytes", "notes_to_bytes"]


@dataclass(frozen=True, slots=True)
class JobNotes:
    """Beside the hookups of an unfinished job.

    Parameters
    ----------
    safety
        The confirmation of the cautions before the first hookup.
    incidents
        What went wrong and was overcome, in order, over all interruptions.
    created_at
        Time of creation under which the result is being archived; empty before.
    sweeps
        Times of the sweeps that the result is made of; empty before.
    ambient
        Ambient readings that were told, by name with unit (``temperature_degc``), over all interruptions.
    """

    safety: SafetyConfirmation | None = None
    incidents: tuple[str, ...] = ()
    created_at: str = ""
    sweeps: tuple[str, ...] = ()
    ambient: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        object.__setattr__(self, "ambient", MappingProxyType(dict(self.ambient)))


def notes_to_bytes(notes: JobNotes, job: Mapping[str, str]) -> bytes:
    """Return `notes` of `job` as JSON with a checksum."""
    safety = notes.safety
    content: dict[str, Any] = {
        "job": dict(job),
        "notes": {
            "safety": None
            if safety is None
            else {"by": safety.by, "at": safety.at, "cautions": safety.cautions},
            "incidents": notes.incidents,
            "created_at": notes.created_at,
            "sweeps": notes.sweeps,
            "ambient": dict(notes.ambient),
        },
    }
    text = json.dumps(content, sort_keys=True)
    return json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest(), "content": text}).encode()


def notes_from_bytes(data: bytes) -> tuple[dict[str, str], JobNotes] | None:
    """Return job and notes; None when they are damaged."""
    try:
        outer = json.loads(data)
        text = outer["content"]
        if hashlib.sha256(text.encode()).hexdigest() != outer["sha256"]:
            return None
        content = json.loads(text)
        job, notes = content["job"], content["notes"]
        safety = notes["safety"]
        return job, JobNotes(
            None
            if safety is None
            else SafetyConfirmation(safety["by"], safety["at"], tuple(safety["cautions"])),
            tuple(notes["incidents"]),
            notes["created_at"],
            tuple(notes["sweeps"]),
            # Notes of older programs have none.
            {str(name): float(value) for name, value in notes.get("ambient", {}).items()},
        )
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
