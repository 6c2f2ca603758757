"""What an unfinished job remembers besides its hookups: confirmation, incidents, what it was archived as."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
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
    """

    safety: SafetyConfirmation | None = None
    incidents: tuple[str, ...] = ()
    created_at: str = ""
    sweeps: tuple[str, ...] = ()


def notes_to_bytes(notes: JobNotes, job: Mapping[str, str]) -> bytes:
    """Return `notes` of `job` as JSON with a checksum."""
    content: dict[str, Any] = {"job": dict(job), "notes": asdict(notes)}
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
        )
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
