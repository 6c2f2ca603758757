"""Archives at an address that fsspec knows, such as an S3-compatible store: reached, errors put in words."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    ArchiveUnreachable,
    BenchsweepError,
    RecordMissing,
)

__all__ = ["beginning", "filesystem", "is_url", "local_path", "remote_errors"]

# Two letters at least before the colon: one is a drive of Windows. `a::b://` chains two file systems.
_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+(://|::)")
_LOCAL = re.compile(r"(file|local)://", re.IGNORECASE)
# Which extra of ours brings the package that an address needs; fsspec names the package of any other.
_EXTRAS = {"s3": "s3", "s3a": "s3"}

# A store that vanished must end the command, not hang it: each attempt waits this long for the next bytes.
_CONNECT_SECONDS = 5
_READ_SECONDS = 15
# Attempts of the client library, and of fsspec around them: 2 x 2 waits are a minute at the longest.
_ATTEMPTS = 2
# What client libraries call "nobody answers" and "not allowed": classes of theirs that are no OSError.
_UNREACHABLE = re.compile(
    r"Connect|Timeout|Endpoint|Disconnected|ClientOSError|ResponseStream|IncompleteRead"
)
_NOT_ALLOWED = re.compile(r"Credential|Forbidden|Unauthori[sz]ed")


def is_url(source: Path | str) -> bool:
    """Tell whether `source` is an address that fsspec opens, and not the path of a file or folder here.

    Examples
    --------
    >>> is_url("s3://bucket/2026"), is_url("file:///srv/archive"), is_url("archive"), is_url("C:/archive")
    (True, True, False, False)
    """
    return isinstance(source, str) and _URL.match(source) is not None


def local_path(source: Path | str) -> Path | None:
    """Return `source` as a path of this machine; None when it is somewhere else.

    Examples
    --------
    >>> local_path("s3://bucket/2026") is None
    True
    """
    if isinstance(source, Path):
        return source
    if _LOCAL.match(source):
        from fsspec.implementations.local import LocalFileSystem

        return Path(LocalFileSystem._strip_protocol(source))  # noqa: SLF001 - the only name it has
    return None if is_url(source) else Path(source)


def filesystem(url: str) -> tuple[Any, str]:
    """Return the file system that serves `url` and the path of `url` in it; nothing is asked of it yet.

    Where the store is and who may read it is configured as its client library wants it; for ``s3://`` by the
    environment: ``FSSPEC_S3_ENDPOINT_URL`` (or ``AWS_ENDPOINT_URL``), ``AWS_ACCESS_KEY_ID``,
    ``AWS_SECRET_ACCESS_KEY``, ``AWS_PROFILE`` …

    Raises
    ------
    ArchiveError
        No such kind of address, or a package is missing for it; the hint names what to install.
    """
    with remote_errors(url, "opening"):
        from fsspec.core import url_to_fs

        protocol = _protocol(url)
        found, path = url_to_fs(url, **_options(protocol))
        if protocol in _EXTRAS:
            found.retries = _ATTEMPTS
    return found, str(path)


def beginning(url: str, length: int) -> bytes:
    """Return the first `length` bytes of what is stored at `url`, fewer when there are not so many.

    Raises
    ------
    ArchiveLocked, ArchiveUnreachable, ArchiveError
    """
    system, path = filesystem(url)
    with remote_errors(url, "reading"):
        found: bytes = system.cat_file(path, start=0, end=length)
    return found


def _protocol(url: str) -> str:
    return re.split(r"://|::", url, maxsplit=1)[0].lower()


def _options(protocol: str) -> dict[str, Any]:
    from fsspec.config import conf

    if protocol not in _EXTRAS:
        return {}
    waits = {"connect_timeout": _CONNECT_SECONDS, "read_timeout": _READ_SECONDS}
    ours = {**waits, "retries": {"total_max_attempts": _ATTEMPTS, "mode": "standard"}}
    # What a person configured counts, each key by itself; a key given here would hide all of theirs.
    theirs = conf.get("s3", {}).get("config_kwargs", {})
    return {"config_kwargs": {**ours, **theirs}}


@contextmanager
def remote_errors(source: str, doing: str) -> Iterator[None]:
    """Turn whatever a file system of fsspec raises into errors of ours; `doing` says what was tried.

    Each file system has exceptions of its own besides those of the operating system, so nothing but calls of
    the file system belongs inside.

    Raises
    ------
    ArchiveLocked
        No permission, or no credentials.
    ArchiveUnreachable
        Nobody answers.
    RecordMissing
        What was to be read is not there.
    ArchiveError
        Anything else: nothing of that name, no such kind of address, a package is missing.
    """
    try:
        yield
    except BenchsweepError:
        raise
    except ImportError as error:
        extra = _EXTRAS.get(_protocol(source))
        wanted = f"Install it: pip install 'benchsweep[{extra}]'" if extra else _first_line(error)
        raise ArchiveError(
            f"{source}: a package is missing that opens such an address", hint=wanted
        ) from error
    except Exception as error:
        raise _in_words(source, doing, error) from error


def _in_words(source: str, doing: str, error: Exception) -> ArchiveError:
    name, reason = type(error).__name__, _first_line(error)
    if isinstance(error, PermissionError) or _NOT_ALLOWED.search(name):
        return ArchiveLocked(
            f"{source}: {doing} is not permitted: {reason}",
            hint="Give credentials that may read there, for S3 by AWS_ACCESS_KEY_ID and "
            "AWS_SECRET_ACCESS_KEY, or by AWS_PROFILE.",
        )
    if isinstance(error, FileNotFoundError):
        # A slip of who named a record; a whole archive that is not there may be a store that was lost.
        missing = RecordMissing if doing == "reading" else ArchiveError
        return missing(f"{source}: {doing} failed: there is nothing of that name", hint="Check the address.")
    if isinstance(error, ValueError) and "rotocol" in reason:
        return ArchiveError(
            f"{source}: no kind of address that is known: {reason}",
            hint="Name a folder, or an address such as s3://bucket/prefix.",
        )
    if isinstance(error, (ConnectionError, TimeoutError)) or _UNREACHABLE.search(name):
        at = _endpoint()
        return ArchiveUnreachable(
            f"{source}: {doing} failed: the store does not answer: {reason}",
            hint=f"Check the network and the address of the store{at}; nothing was changed there.",
        )
    return ArchiveError(f"{source}: {doing} failed: {reason}", hint="Check the address and the store.")


def _endpoint() -> str:
    names = ("FSSPEC_S3_ENDPOINT_URL", "AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL")
    return next((f" ({name} is {os.environ[name]})" for name in names if os.environ.get(name)), "")


def _first_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__
