from __future__ import annotations

import errno
import os
import signal
import sys
import tempfile
import threading
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from benchsweep.cli._app import app
from benchsweep.cli._output import say, silence
from benchsweep.errors import ArchiveError, BenchsweepError, InstrumentError

__all__ = ["main"]

_BUG = 70
_INTERRUPTED = 130
_TERMINATED = 128 + signal.SIGTERM
# What a path can be that nothing can be stored under: wherever it is looked at first, it is no bug.
_NO_NAME = (errno.ENAMETOOLONG, errno.ELOOP)


def main() -> NoReturn:
    """Run the command line and exit with the code that the outcome asks for; a crash is never 1."""
    _give_streams()
    asked = _stop_when_asked()
    try:
        app()
    except SystemExit as stop:
        if stop.code == _INTERRUPTED:
            _tell_interrupted()
            _leave(asked[-1] if asked else _INTERRUPTED)
        if _reader_left(stop):
            silence(1)
            silence(2)
            _leave(_meant_code(stop))
        raise
    except BenchsweepError as error:
        say(f"benchsweep: {error.message}")
        if error.hint:
            say(f"  {error.hint}")
        if isinstance(error, InstrumentError) and error.messages:
            _keep_messages(error)
        _leave(error.exit_code)
    except KeyboardInterrupt:
        _tell_interrupted()
        _leave(asked[-1] if asked else _INTERRUPTED)
    except Exception as error:  # noqa: BLE001 - the last door: whatever comes here is a bug and must say so
        _tell_unforeseen(error)
    _leave(0)


def _tell_unforeseen(error: Exception) -> NoReturn:
    if isinstance(error, OSError) and error.errno in _NO_NAME:
        say(f"benchsweep: {str(error.filename)[:80]}: {error.strerror}")
        say("  No file or folder can have this name here: check the path.")
        _leave(ArchiveError.exit_code)
    say(f"benchsweep: a bug: {type(error).__name__}: {error}")
    say(f"  Please report it with the output of `benchsweep info` and {_write_traceback()}")
    _leave(_BUG)


def _stop_when_asked() -> list[int]:
    """Let SIGTERM end a command as Ctrl-C does, all put away; the list has its exit code then.

    A service manager or a batch system that has its own way with the signal keeps it.
    """
    asked: list[int] = []

    def stop(*_: object) -> None:
        if not asked:  # once: what is put away takes a moment, and must come to its end
            asked.append(_TERMINATED)
            raise KeyboardInterrupt

    main_thread = threading.current_thread() is threading.main_thread()
    if main_thread and signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:
        signal.signal(signal.SIGTERM, stop)
    return asked


def _tell_interrupted() -> None:
    say("interrupted: what was finished is kept; the same command continues from there")


def _give_streams() -> None:
    """Stand in for streams that the caller has closed (`>&-`), which Python leaves at None."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123 - for good


def _leave(code: int) -> NoReturn:
    sys.exit(code)


def _chain(error: BaseException) -> Iterator[BaseException]:
    """Give an exception and all during whose handling it came up."""
    while True:
        yield error
        if error.__context__ is None:
            return
        error = error.__context__


def _reader_left(stop: SystemExit) -> bool:
    """Tell whether help or a usage error could not be written because its reader had gone."""
    return any(isinstance(error, BrokenPipeError) for error in _chain(stop))


def _meant_code(stop: SystemExit) -> int:
    """Return the exit code of what was to be told: that of a usage error, 0 for help."""
    codes = (getattr(error, "exit_code", 0) for error in _chain(stop))
    return next((code for code in codes if code), 0)


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
        say(f"  The last {len(error.messages)} messages on the link are in {name}")
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
