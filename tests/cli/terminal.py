"""A pseudo-terminal in which a command runs and a test types."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
import time
from types import TracebackType
from typing import Self

_LONGEST_WAIT_S = 100.0


def _take_terminal() -> None:
    # Whoever runs the tests in the background of a shell has SIGINT ignored, and so would the program.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Terminal:
    """Runs ``benchsweep ...`` with keyboard and stderr in a terminal of its own; stdout is piped."""

    def __init__(self, *arguments: object) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "benchsweep", *map(str, arguments)],
            stdin=theirs,
            stdout=subprocess.PIPE,
            stderr=theirs,
            env=os.environ | {"COLUMNS": "200", "LINES": "50"},
            start_new_session=True,
            # Keys such as Ctrl-C reach the program only in its controlling terminal.
            preexec_fn=_take_terminal,  # noqa: PLW1509 - a single call of the system
        )
        os.close(theirs)
        self.seen = ""
        self._read_upto = 0

    def until(self, pattern: str) -> str:
        """Wait for `pattern`; return what came since the last call, up to its end."""
        deadline = time.monotonic() + _LONGEST_WAIT_S
        while not (found := re.search(pattern, self.seen[self._read_upto :])):
            if not self._more(deadline):
                raise AssertionError(f"{pattern!r} never came; seen: {self.seen}")
        text = self.seen[self._read_upto : self._read_upto + found.end()]
        self._read_upto += found.end()
        return text

    def type(self, line: str) -> None:
        os.write(self._ours, line.encode() + b"\n")

    def press(self, key: bytes) -> None:
        os.write(self._ours, key)

    def end(self) -> int:
        """Read what is left and return the exit code."""
        while self._more(time.monotonic() + _LONGEST_WAIT_S):
            pass
        return self.process.wait(timeout=_LONGEST_WAIT_S)

    @property
    def out(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.read().decode()

    def _more(self, deadline: float) -> bool:
        ready, _, _ = select.select([self._ours], [], [], max(deadline - time.monotonic(), 0.0))
        try:
            chunk = os.read(self._ours, 65536) if ready else b""
        except OSError:  # the other side is closed
            return False
        self.seen += chunk.decode(errors="replace").replace("\r\n", "\n")
        return bool(chunk)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(timeout=_LONGEST_WAIT_S)
        if self.process.stdout is not None:
            self.process.stdout.close()
        os.close(self._ours)
