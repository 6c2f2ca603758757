from __future__ import annotations

import os
import sys
import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from benchsweep.cli._app import app
from benchsweep.errors import BenchsweepError, InstrumentError

__all__ = ["main"]

_BUG = 70
_INTERRUPTED = 130


def main() -> NoReturn:
    """Run the command line and exit with the code that the outcome asks for; a crash is never 1."""
    _give_streams()
    try:
        app()
    except SystemExit as stop:
        if stop.code == _INTERRUPTED:
            _to_stderr("interrupted: what was finished is kept; the same command continues from there")
        raise
    except BenchsweepError as error:
        _to_stderr(f"benchsweep: {error.message}")
        if error.hint:
            _to_stderr(f"  {error.hint}")
        if isinstance(error, InstrumentError) and error.messages:
            _keep_messages(error)
        _leave(error.exit_code)
    except KeyboardInterrupt:
        _to_stderr("interrupted: what was finished is kept; the same command continues from there")
        _leave(_INTERRUPTED)
    except Exception as error:  # noqa: BLE001 - the last door: whatever comes here is a bug and must say so
        _to_stderr(f"benchsweep: a bug: {type(error).__name__}: {error}")
        _to_stderr(f"  Please report it with the output of `benchsweep info` and {_write_traceback()}")
        _leave(_BUG)
    _leave(0)


def _give_streams() -> None:
    """Stand in for streams that the caller has closed (`>&-`), which Python leaves at None."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123 - for good


def _leave(code: int) -> NoReturn:
    sys.exit(code)


def _to_stderr(line: str) -> None:
    sys.stderr.write(line + "\n")


def _keep_messages(error: InstrumentError) -> None:
    """Write the last messages on the link to a file and say where; whatever goes wrong changes nothing."""
    try:
        from benchsweep.definitions import data_folder

        folder = data_folder() / "logs"
        folder.mkdir(parents=True, exist_ok=True)
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ-")
        handle, name = tempfile.mkstemp(prefix=stamp, suffix="-messages.txt", dir=folder)
        # An instrument may have sent anything; what no encoding knows is spelled out.
        with open(handle, "w", encoding="utf-8", errors="backslashreplace") as file:  # noqa: PTH123
            file.write(f"{type(error).__name__}: {error.message}\n\n")
            file.writelines(f"{message}\n" for message in error.messages)
        _to_stderr(f"  The last {len(error.messages)} messages on the link are in {name}")
    except (OSError, ValueError, RuntimeError):
        return


def _write_traceback() -> str:
    try:
        handle, name = tempfile.mkstemp(prefix="benchsweep-bug-", suffix=".txt")
        with open(handle, "w", encoding="utf-8") as file:  # noqa: PTH123 - an open descriptor, not a path
            traceback.print_exc(file=file)
    except OSError:
        return "what you did."
    return f"the file {Path(name)}"
