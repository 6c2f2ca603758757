"""Mangle files of the archive in many ways and read them, as a process of its own.

    python mangling.py SOURCES FOLDER FIRST LAST

SOURCES is a folder of sound files. Each number makes one mangled file, the same on every run. A line of JSON
is printed before each file is read and one after: what every reader made of it, seconds, and the largest
memory of the process. Whatever is no named error is told as ``wrong``. A crash of a library ends the process;
the last line tells with which file.
"""

from __future__ import annotations

import hashlib
import json
import random
import resource
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from benchsweep import archive
from benchsweep.archive.format._catalogue import decoded
from benchsweep.archive.format._catalogue_seal import CatalogueSeal, gaps, padded
from benchsweep.archive.format._seal import BLOCK, kind_of, seal_block, sealed
from benchsweep.errors import ArchiveError

MEMORY = 3 << 30
"""Address space that the readers may take besides."""


# ------------------------------------------------------------------------------- the seal made right again


def base_of(raw: bytes) -> int:
    """Where the HDF5 file begins."""
    return next(
        (at for at in (1 << n for n in range(9, 24)) if raw[at : at + 8] == b"\x89HDF\r\n\x1a\n"), BLOCK
    )


def resealed(kind: Any, raw: bytes, original: bytes) -> bytes:
    """Return `raw` with a seal that is right, of the version of `original`."""
    lines = original[:BLOCK].decode("ascii").splitlines()
    if lines[0].endswith(" 2"):
        base = int(lines[2].split()[-1])
        return resealed_catalogue(kind, raw, bytes(raw[BLOCK:base]), base)
    if "not in that sum" not in lines[3]:
        return b"".join(map(bytes, sealed(kind, raw[BLOCK:])))
    from benchsweep.archive.format._seal import Span

    words = lines[3].split()
    apart = Span(int(words[-1]), int(words[-5]))
    digest = hashlib.sha256(raw[BLOCK : apart.start] + raw[apart.end :]).hexdigest()
    return seal_block(kind, len(raw) - BLOCK, digest, apart) + raw[BLOCK:]


def resealed_catalogue(kind: Any, raw: bytes, catalogue: bytes, base: int) -> bytes:
    """Return `raw` with another catalogue and the sums made anew, of the arrays too where they can be."""
    try:
        whole = json.loads(catalogue)
        for entry in whole["numbers"].values():
            count = int(np.prod(entry[1], dtype=object)) * np.dtype(entry[0]).itemsize
            if 0 <= entry[2] and entry[2] + count <= len(raw):
                entry[3] = hashlib.sha256(raw[entry[2] : entry[2] + count]).hexdigest()
        catalogue = json.dumps(whole, separators=(",", ":")).encode("ascii")
        spans = decoded(catalogue).spans()
        if spans and not base <= spans[0].start <= spans[-1].end <= len(raw):
            spans = []
    except Exception:  # noqa: BLE001 - it is mangled: any sum will do
        spans = []
    front = padded(catalogue, base)[: base - BLOCK]
    digest = hashlib.sha256()
    for gap in gaps(spans, base, len(raw)):
        digest.update(raw[gap.start : gap.end])
    seal = CatalogueSeal(kind, len(raw), base, hashlib.sha256(front).hexdigest(), digest.hexdigest())
    return seal.block() + front + raw[base:]


# --------------------------------------------------------------------------------------- ways to mangle it


def bits(rng: random.Random, raw: bytearray, _: list[bytes], start: int) -> bytearray:
    for _ in range(rng.choice([1, 1, 2, 8, 64])):
        raw[rng.randrange(start, len(raw))] ^= 1 << rng.randrange(8)
    return raw


def cut(rng: random.Random, raw: bytearray, _: list[bytes], __: int) -> bytearray:
    return raw[: rng.choice([0, 1, 511, 512, 513, rng.randrange(len(raw)), len(raw) - 1])]


def spliced(rng: random.Random, raw: bytearray, others: list[bytes], start: int) -> bytearray:
    other = rng.choice(others)
    length = rng.choice([8, 64, 512, 4096])
    there, here = rng.randrange(len(other)), rng.randrange(start, len(raw))
    piece = other[there : there + length]
    raw[here : here + (len(piece) if rng.random() < 0.7 else rng.randrange(length))] = piece
    return raw


def zeroed(rng: random.Random, raw: bytearray, _: list[bytes], start: int) -> bytearray:
    page = rng.choice([16, 512, 4096])
    here = rng.randrange(start, len(raw)) // page * page
    here = max(here, start)
    size = len(raw[here : here + page])
    raw[here : here + size] = bytes([rng.choice([0, 0, 0xFF])]) * size
    return raw


JUNK: list[Any] = [
    *(None, True, 0, -1, 1, 2**31, 2**63, 10**25, 0.5, 1e308, [], [[]], {}, [1] * 1000),
    *("", "x" * 5000, "\0", "A:12.1", "<c16", "<f99", "|i0", "é\ud800", "2026-99-99T00:00:00Z"),
    *({"float64": value} for value in ("7ff0000000000000", "00", "", "x", 5)),
    *(["<f8", shape, 600, ""] for shape in ([10**9, 10**9], [-1], [True], [10**10], "ab", [10**5], [2, 2])),
    ["<c16", [2, 2, 2], 0, ""],
]


def in_catalogue(rng: random.Random, raw: bytearray, kind: str) -> bytes:
    """Mangle what the JSON says, one to three times."""
    base = base_of(bytes(raw))
    text = bytes(raw[BLOCK:base])
    if rng.random() < 0.2:
        text = bytes(rng.choice([bits, zeroed])(rng, bytearray(text), [], 0))
        return resealed_catalogue(kind, bytes(raw), text, base)
    if rng.random() < 0.05:
        text = rng.choice(
            [b"[" * (base - BLOCK - 1), b'{"a":' * 100, b"9" * (base - BLOCK - 1), b"NaN", b"\xff"]
        )
        return resealed_catalogue(kind, bytes(raw), text, base)
    whole = json.loads(text)
    for _ in range(rng.randint(1, 3)):
        change(rng, whole)
    return resealed_catalogue(kind, bytes(raw), json.dumps(whole, separators=(",", ":")).encode(), base)


def change(rng: random.Random, whole: Any) -> None:
    item: Any = whole
    while True:
        keys = list(item) if isinstance(item, dict) else list(range(len(item)))
        if not keys:
            return
        key = rng.choice(keys)
        if isinstance(item[key], dict | list) and item[key] and rng.random() < 0.85:
            item = item[key]
            continue
        break
    how = rng.randrange(5)
    if how == 0:
        del item[key]
    elif how == 1 and isinstance(item, dict):
        item[
            rng.choice(["/", "/x", "", "//", "/hookups/9999999999", "/hookups/-1", "/corrected/s/s", "x"])
        ] = item.pop(key)
    elif how == 2 and isinstance(item, dict):
        item[key] = item[rng.choice(keys)]
    elif how == 3 and isinstance(item[key], int):
        item[key] += rng.choice([-1, 1, 7, 10**6])
    else:
        item[key] = rng.choice(JUNK)


def in_hdf5(rng: random.Random, path: Path) -> None:
    """Mangle the content through the library, one to three times."""
    with h5py.File(path, "r+") as file:
        for _ in range(rng.randint(1, 3)):
            names: list[str] = ["/"]
            file.visit(names.append)
            name = rng.choice(names)
            item = file[name]
            try:
                if name == "/" or rng.random() < 0.35:
                    attributes(rng, item)
                else:
                    rng.choice(CHANGES)(rng, file, name, item)
            except (ValueError, TypeError, RuntimeError, KeyError, OSError, OverflowError):
                continue  # not every change fits every item


def attributes(rng: random.Random, item: Any) -> None:
    names = list(item.attrs)
    name = rng.choice(names) if names else "x"
    how = rng.randrange(6)
    if how == 0 and names:
        del item.attrs[name]
        return
    values: list[Any] = [
        *("", "x", "A:12.1", "2026-13-41T00:00:00Z", b"bytes", ["a", "b"], np.array(["a"], dtype="S1")),
        *(0, -1, 2**62, 0.0, np.nan, np.inf, np.float32(1), np.int8(1), True),
        *([1.0, 2.0], np.zeros(2000), h5py.Empty("f8")),
    ]
    item.attrs[name if how else f"new {rng.random()}"] = rng.choice(values)


def gone(_: random.Random, file: Any, name: str, __: Any) -> None:
    del file[name]


def other_values(rng: random.Random, file: Any, name: str, item: Any) -> None:
    shape = getattr(item, "shape", (3,)) or ()
    dtype = getattr(item, "dtype", np.dtype("f8"))
    del file[name]
    shapes = [
        shape,
        (),
        (0,),
        (1,),
        (3, 3),
        (*shape, 1),
        shape[:-1],
        tuple(n + 1 for n in shape),
        (0,) * len(shape),
    ]
    types = [dtype, "f8", "c16", "f4", "i8", "i1", "u8", "S5", "V7", ">f8", h5py.string_dtype(), "c8", "b1"]
    types += [h5py.vlen_dtype("f8"), h5py.enum_dtype({"a": 1}), h5py.ref_dtype]
    values = [0, 1, -1] if rng.random() < 0.5 else [None]
    options: dict[str, Any] = {}
    if rng.random() < 0.2:
        options = {"chunks": True, "compression": "gzip", "shuffle": True}
    wanted = rng.choice(shapes)
    made = file.create_dataset(name, wanted, rng.choice(types), **(options if wanted and all(wanted) else {}))
    if values != [None] and made.dtype.kind in "fiuc":  # others end in a crash of h5py that writes them
        made[...] = rng.choice(values)


def same_shape(rng: random.Random, _: Any, __: str, item: Any) -> None:
    if not isinstance(item, h5py.Dataset):
        raise TypeError
    if item.dtype.kind == "O":
        item[...] = rng.choice(["", "x", "A:12.1", "A:12.1\0", "é", "9" * 400])
    else:
        item[...] = rng.choice([0, -1, 1, np.nan, np.inf, 1e300, 2**62])


def huge(rng: random.Random, file: Any, name: str, _: Any) -> None:
    del file[name]
    shape = rng.choice(
        [(10**6, 10**4, 10**4), (10**12,), (2**31,), (2**20, 2**20), (10**5, 4, 4), (1 << 26,)]
    )
    how = rng.randrange(3)
    if how == 0:
        file.create_dataset(name, shape, rng.choice(["f8", "c16", h5py.string_dtype()]))
    elif how == 1:  # a small file that unpacks to much
        file.create_dataset(name, shape, "f8", chunks=tuple(min(n, 64) for n in shape), compression="gzip")
    else:
        file[name] = h5py.Empty("c16")


def linked(rng: random.Random, file: Any, name: str, _: Any) -> None:
    others: list[str] = ["/"]
    file.visit(others.append)
    target = rng.choice(others)
    how = rng.randrange(4)
    del file[name]
    if how == 0:
        file[name] = h5py.SoftLink(rng.choice([f"/{target}", f"/{name}", "/nowhere"]))
    elif how == 1:
        file[name] = h5py.ExternalLink(rng.choice(["/etc/hostname", "/dev/zero", file.filename, "none"]), "/")
    elif how == 2:
        file[name] = file[target]  # a second hard link, perhaps to a group above: a circle
    else:
        file.create_dataset(name, (3,), "f8", external=[(rng.choice(["/dev/zero", "/etc/hostname"]), 0, 24)])


def many(rng: random.Random, file: Any, name: str, item: Any) -> None:
    group = item if isinstance(item, h5py.Group) else item.parent
    if rng.random() < 0.5:
        for n in range(300):
            group.create_group(f"{n:05d}")
    else:
        file.require_group(f"{group.name}/{'/'.join('d' * 400)}")


def moved(rng: random.Random, file: Any, name: str, _: Any) -> None:
    file.move(
        name, rng.choice(["x", "/hookups/9", "/hookups/x", "/hookups/-1", "/corrected/x", f"{name}x", "/é"])
    )


CHANGES: list[Callable[..., None]] = [
    gone,
    other_values,
    other_values,
    same_shape,
    same_shape,
    huge,
    linked,
    many,
    moved,
]
MANGLERS = {"bits": bits, "cut": cut, "spliced": spliced, "zeroed": zeroed}
WAYS = (
    *MANGLERS,
    *("sealed bits", "sealed spliced", "sealed zeroed"),
    *("hdf5", "hdf5", "catalogue", "kind"),
)


def mangled(number: int, sources: list[Path], work: Path) -> tuple[Path, str]:
    """Make the file of that number; return it and in words how it came about."""
    rng = random.Random(number)
    source, way = rng.choice(sources), WAYS[number % len(WAYS)]
    original = source.read_bytes()
    kind, base = kind_of(source), base_of(original)
    path = work / f"{number}.h5"
    if way == "catalogue" and base == BLOCK:
        way = "hdf5"
    raw = bytearray(original)
    if way == "catalogue":
        raw = bytearray(in_catalogue(rng, raw, str(kind)))
    elif way == "kind":
        kind = kind_of(rng.choice(sources))
        raw = bytearray(resealed(kind, original, original))
    elif way == "hdf5":
        path.write_bytes(original)
        in_hdf5(rng, path)
        raw = bytearray(path.read_bytes())
    else:
        others = [other.read_bytes() for other in sources]
        raw = MANGLERS[way.split()[-1]](rng, raw, others, base if way.startswith("sealed") else 0)
    if way.startswith(("sealed", "hdf5")):
        raw = bytearray(resealed(kind, bytes(raw), original))
    path.write_bytes(raw)
    return path, f"{number}: {way} of {source.name}"


# ---------------------------------------------------------------------------------------------- reading it


def read_series_whole(path: Path) -> None:
    with archive.open_series(path) as reader:
        for _ in reader.sweeps():
            pass
        reader.events()


def read_as_hookup(path: Path) -> None:
    """As a hookup of an unfinished job: one that cannot be read is none."""
    folder = path.parent / "journal"
    folder.mkdir(exist_ok=True)
    (folder / "hookup-001.h5").write_bytes(path.read_bytes())
    with archive.Journal(folder, {"job": "7"}, afresh=False) as journal:
        dict(journal.finished())


READERS: dict[str, tuple[Callable[[Path], object], ...]] = {
    "record": (
        archive.read_record,
        archive.check_record,
        archive.read_reduced,
        archive.read_head,
        archive.content_hash,
    ),
    "calibration": (archive.read_calibration, archive.read_head),
    "series": (archive.check_series, read_series_whole, archive.read_series_head, archive.read_head),
    "comment": (archive.read_note, archive.read_head),
    "correction": (archive.read_note, archive.read_head),
    "grading": (archive.read_grading, archive.read_head),
    "hookup": (read_as_hookup,),
}


def judged(path: Path, reader: Callable[[Path], object]) -> str:
    try:
        reader(path)
    except ArchiveError as error:
        good = str(path) in error.message or reader is read_as_hookup
        if "\n" in str(error) or not error.hint or not good or not str(error).isprintable():
            return f"wrong: {type(error).__name__} says {error.message!r}, hint {error.hint!r}"
        return type(error).__name__
    except BaseException:  # noqa: BLE001 - everything else is what is looked for
        return "wrong: " + traceback.format_exc()
    return "read"


def say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main() -> None:
    sources, work = sorted(Path(sys.argv[1]).glob("*.h5")), Path(sys.argv[2])
    taken = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY, taken + MEMORY))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for number in range(int(sys.argv[3]), int(sys.argv[4])):
        path, words = mangled(number, sources, work)
        say(number=number, words=words)
        kinds = {str(kind_of(path)), "record"} & set(READERS)
        began = time.perf_counter()
        found = {
            f"{kind} {ask.__name__}": judged(path, ask) for kind in sorted(kinds) for ask in READERS[kind]
        }
        seconds = time.perf_counter() - began
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        say(number=number, words=words, found=found, seconds=seconds, mb=grown)
        path.unlink()


if __name__ == "__main__":
    main()
