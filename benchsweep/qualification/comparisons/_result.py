"""What a tester told: read from its file by a mapping, from a Touchstone file, or typed in."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchsweep import testers
from benchsweep.errors import BenchsweepError, DataFileError, UsageError
from benchsweep.qualification._records import touchstone_measurement
from benchsweep.qualification._reduction import evaluate
from benchsweep.records import FieldResult, FieldTrace, Specimen

__all__ = ["TOUCHSTONE", "ToldResult", "read_kept", "read_told"]

TOUCHSTONE = "touchstone"
"""What stands in place of a mapping for a Touchstone file."""
_TOUCHSTONE = re.compile(r".*\.(s\d+p|ts)", re.IGNORECASE)
_SIXTEEN = (
    "A tester's file has 16 ports, contacts 1 to 8 at end A, then at end B, or comments that name its legs."
)
_CHANNEL = "what the tester measured"


@dataclass(frozen=True, slots=True, eq=False)
class ToldResult:
    """A tester's result with what it can be read again from.

    Parameters
    ----------
    result
        As read.
    content
        The bytes of its file; None where it was typed in.
    mapping_text
        The mapping; empty for others.
    typed
        The numbers as they were typed in.
    """

    result: FieldResult
    content: bytes | None = None
    mapping_text: str = ""
    typed: tuple[str, ...] = ()


def read_told(
    file: Path | None, mapping: str | None, told: Sequence[str], *, length_m: float | None = None
) -> ToldResult:
    """Read what a tester told.

    Parameters
    ----------
    file
        CSV, or Touchstone by its suffix (``.s16p``, ``.ts``); None: `told`.
    mapping
        Of a CSV file: a name or a path.
    told
        Numbers typed in, see `testers.typed_points`.
    length_m
        Of the channel, for a Touchstone file.

    Raises
    ------
    UsageError
        Both or none of file and numbers; a CSV file without a mapping, a Touchstone file with one; a number
        that is none.
    DataFileError
        The file cannot be read.
    UnknownName, DefinitionError
        There is no such mapping, or it is wrong.
    """
    if (file is None) == (not told):
        raise UsageError(
            "give either a file of the tester or numbers read off it",
            hint="Name the file, or use --told 'next A 36-45 margin 3.2 at 233.5 MHz' once or more.",
        )
    if file is None:
        if mapping is not None:
            raise UsageError(
                "a mapping is for a file; numbers typed in need none", hint="Leave --mapping out."
            )
        return ToldResult(testers.typed_points(told), typed=tuple(told))
    content = _content(file)
    if _TOUCHSTONE.fullmatch(file.name):
        if mapping is not None:
            raise UsageError(
                f"{file}: a Touchstone file needs no mapping", hint="Leave --mapping out: its ports say all."
            )
        return ToldResult(_touchstone(file.name, content, length_m), content)
    if mapping is None:
        raise UsageError(
            f"{file}: what its columns mean is not known",
            hint="Name a mapping with --mapping, see `benchsweep compare mappings`.",
        )
    text = testers.mapping_text(mapping)
    result = testers.read_results(file, testers.load_mapping(mapping), content=content)
    return ToldResult(result, content, text)


def read_kept(
    name: str,
    content: bytes | None,
    mapping_text: str,
    typed: Sequence[str],
    *,
    length_m: float | None = None,
) -> FieldResult:
    """Read again what was kept of a result; raises as `read_told`.

    Parameters
    ----------
    name
        What the file was called.
    """
    if content is None:
        return testers.typed_points(typed)
    if mapping_text:
        return testers.read_results(name, testers.read_mapping(mapping_text), content=content)
    return _touchstone(name, content, length_m)


def _touchstone(name: str, content: bytes, length_m: float | None) -> FieldResult:
    with tempfile.TemporaryDirectory() as folder:
        # The number of ports stands in the suffix of the name.
        path = Path(folder) / Path(name).name
        path.write_bytes(content)
        try:
            measurement, legs = touchstone_measurement(path, Specimen(_CHANNEL, length_m))
        except BenchsweepError as error:
            # The file that the person named, not its copy; and no option that only `import` has.
            hint = _SIXTEEN if "--port-map" in error.hint else error.hint
            message = error.message.replace(str(path), path.name)
            raise DataFileError(message, hint=hint.replace(str(path), path.name)) from None
    traces: list[FieldTrace] = []
    silent = 0
    for trace in evaluate(measurement).traces:
        signal = np.isfinite(trace.value)
        silent += int((~signal).sum())
        if signal.any():
            grid, value = trace.frequency_hz[signal], trace.value[signal]
            traces.append(FieldTrace(trace.parameter, trace.end, trace.pairs, "value", grid, value))
    notes = [f"read as a Touchstone file of the legs {', '.join(legs)}"]
    if silent:
        notes.append(f"{silent} points without any signal were left out")
    return FieldResult(
        traces=tuple(traces),
        source=Path(name).name,
        digest=hashlib.sha256(content).hexdigest(),
        mapping=TOUCHSTONE,
        notes=tuple(notes),
    )


def _content(file: Path) -> bytes:
    try:
        if not file.is_file():
            raise UsageError(f"{file}: not a file", hint="Name the file that the tester wrote.")
        return file.read_bytes()
    except OSError as error:
        raise UsageError(f"{file}: cannot be read: {error}", hint="Look at path and rights.") from error
