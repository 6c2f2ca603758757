"""One run at a time on an instrument, on this computer."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager

from benchsweep.definitions import data_folder
from benchsweep.errors import UsageError

__all__ = ["alone_with"]


@contextmanager
def alone_with(address: str, *, what: str = "analyzer", called: str = "") -> Iterator[None]:
    """Hold the instrument at `address` for this run; another run on this computer is refused meanwhile.

    `called` names it to people, where `address` is none but something else that tells instruments apart.

    The lock is a file in the person's data folder, freed when the process ends, however it ends. Where the
    folder cannot be written nothing is held: that must not keep a bench from measuring.

    Raises
    ------
    UsageError
        Another run has it.
    """
    from filelock import FileLock, Timeout

    spelled = address.strip().upper().replace("TCPIP0::", "TCPIP::")
    name = hashlib.sha256(spelled.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    folder = data_folder() / "locks"
    lock = FileLock(folder / f"{name}.lock")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock.acquire(blocking=False)
    except Timeout as error:  # itself an OSError, so it comes first
        raise UsageError(
            f"another run on this computer is using the {what} {called or f'at {address}'}",
            hint="Wait until it ends, or stop it.",
        ) from error
    except OSError:
        pass  # not held, then: see above
    try:
        yield
    finally:
        lock.release()  # harmless when it is not held
