"""What is finished of a bulk run, kept on this machine until the whole is done.

One file for each finished chunk: a checksum, then one line of JSON for each record. A file whose sum is
wrong (the machine went down while it was written) counts as not there: its records are done again. Nothing
is written into the archive, which may be read-only or far away.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

import platformdirs

from benchsweep.errors import ArchiveError, UsageError
from benchsweep.qualification.bulk._work import Graded, Item

__all__ = ["Journal", "journal_folder", "journal_trouble"]

_FORGOTTEN_S = 60.0 * 86_400.0


def journal_folder() -> Path:
    """Return where the journals of this machine are."""
    return Path(platformdirs.user_cache_dir("benchsweep", appauthor=False)) / "bulk"


def journal_trouble() -> str:
    """Return in words why nothing can be kept of an interrupted run here; empty where it can."""
    folder = journal_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return ""
    except OSError as error:
        reason = error.strerror or type(error).__name__
        return f"{folder} cannot be written ({reason}): an interrupted run will begin anew"


class Journal:
    """The finished records of one job.

    Where this machine lets nothing be kept (`journal_trouble`) they are in a temporary folder for this once.

    Parameters
    ----------
    key
        Everything that makes the job what it is; another key is another journal.
    afresh
        Forget what an earlier run left.

    Raises
    ------
    UsageError
        The same job runs already.
    """

    def __init__(self, key: Mapping[str, Any], *, afresh: bool = False) -> None:
        text = json.dumps(key, sort_keys=True)
        from filelock import Timeout  # brings asyncio, and a worker needs no lock

        folder = journal_folder() / hashlib.sha256(text.encode()).hexdigest()[:32]
        _forget_old(folder)
        self._passing = False
        try:
            self._open(folder)
        except Timeout:  # which is an OSError, too
            raise UsageError(
                "the same work is being done already by another process of this machine",
                hint="Wait for it, or stop it: it can be taken up again.",
            ) from None
        except OSError:
            self._open_passing()
        if afresh:
            for path in (*self.folder.glob("*.jsonl"), self.folder / "steps"):
                path.unlink(missing_ok=True)
        self._next = 1 + max((int(path.stem) for path in self._files()), default=0)
        # Record -> file and line: the results themselves stay on the disc.
        self._where: dict[Item, tuple[Path, int]] = {}
        for path in self._files():
            self._index(path)

    def _open(self, folder: Path) -> None:
        from filelock import FileLock

        folder.mkdir(parents=True, exist_ok=True)
        self._lock = FileLock(folder / "lock", timeout=0.0)
        self._lock.acquire()
        self.folder = folder

    def _open_passing(self) -> None:
        try:
            self._open(Path(tempfile.mkdtemp(prefix="benchsweep-bulk-")))
        except OSError as error:
            reason = error.strerror or error
            raise ArchiveError(
                f"neither {journal_folder()} nor a temporary folder can be written: {reason}",
                hint="Results of a bulk run wait there: set TMPDIR to a folder that can be written.",
            ) from error
        self._passing = True

    def _files(self) -> list[Path]:
        return sorted(path for path in self.folder.glob("*.jsonl") if path.stem.isdigit())

    def _index(self, path: Path) -> None:
        for number, line in enumerate(_lines(path)):
            self._where[Item(**json.loads(line)["item"])] = (path, number)

    def __len__(self) -> int:
        return len(self._where)

    def __contains__(self, item: Item) -> bool:
        return item in self._where

    def add(self, results: list[Graded]) -> None:
        """Keep what came of a chunk; records that could not be graded are tried again by the next run."""
        kept = [result for result in results if not result.problem]
        if not kept:
            return
        path = self.folder / f"{self._next:08d}.jsonl"
        self._next += 1
        body = "".join(f"{json.dumps(asdict(result))}\n" for result in kept)
        partial = path.with_suffix(".partial")
        try:
            partial.write_text(f"{hashlib.sha256(body.encode()).hexdigest()}\n{body}", encoding="utf-8")
            partial.replace(path)
        except OSError as error:
            raise ArchiveError(
                f"{self.folder}: what was graded cannot be kept until all is: {error.strerror or error}",
                hint="Make room there; the same command goes on from here.",
            ) from error
        for number, result in enumerate(kept):
            self._where[result.item] = (path, number)

    def results(self, items: Iterator[Item]) -> Iterator[Graded]:
        """Yield what came of some finished records, in their order, one file in memory at a time."""
        last: Path | None = None
        lines: list[str] = []
        for item in items:
            path, number = self._where[item]
            if path != last:
                last, lines = path, _lines(path)
            told = json.loads(lines[number])
            told["item"], told["outcomes"] = Item(**told["item"]), tuple(told["outcomes"])
            told["corrections"] = tuple(told["corrections"])
            yield Graded(**told)

    def stepped(self, step: str) -> bool:
        """Tell whether a step of what follows the grading was done by this run or an earlier one."""
        with suppress(OSError):
            return step in (self.folder / "steps").read_text(encoding="utf-8").splitlines()
        return False

    def step(self, step: str) -> None:
        """Keep that a step is done."""
        with (self.folder / "steps").open("a", encoding="utf-8") as file:
            file.write(f"{step}\n")

    def close(self) -> None:
        """Let another process have it; what is finished stays."""
        if self._passing:
            shutil.rmtree(self.folder, ignore_errors=True)
        self._lock.release()

    def drop(self) -> None:
        """Forget everything: the whole is done."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.close()


def _lines(path: Path) -> list[str]:
    """Return the lines of a file; none where its checksum is wrong."""
    with suppress(OSError, UnicodeDecodeError):
        sealed, _, body = path.read_text(encoding="utf-8").partition("\n")
        if hashlib.sha256(body.encode()).hexdigest() == sealed:
            return body.splitlines()
    return []


def _forget_old(keep: Path) -> None:
    """Remove journals that nobody took up again for two months."""
    with suppress(OSError):
        for folder in keep.parent.iterdir():
            if folder != keep and time.time() - folder.stat().st_mtime > _FORGOTTEN_S:
                shutil.rmtree(folder, ignore_errors=True)
