"""A small archive with everything in it, and the same questions answered by reading every file."""

from __future__ import annotations

import fnmatch
import os
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive import Selection
from benchsweep.records import (
    Comment,
    Correction,
    Measurement,
    Note,
    Outcome,
    Parameter,
    RequirementText,
    SMatrix,
    Specimen,
    Verdict,
    VerdictRow,
    corrections_in_force,
)

LEGS = ("A:12.1", "A:12.2")
REQUIREMENTS = ("tia-6a-cord", "tia-6-cord", "iso-ea-channel")
GRADED = (Parameter.NEXT, Parameter.RETURN_LOSS, Parameter.DELAY)
WORST_FIRST = ("fail", "conditional-fail", "undecided", "conditional-pass", "pass")


def small(identifier: str, created_at: str, **changes: object) -> Measurement:
    """A measurement of two points, as an import leaves it."""
    specimen = Specimen(identifier, 2.0, "green", lot=str(changes.pop("lot", "")))
    matrix = SMatrix([1e6, 2e6], np.full((2, 2, 2), 0.1 + 0.0j), LEGS, (50.0, 50.0))
    content = {"origin": "touchstone", "station": "", "operator": "M. Lindqvist", "source_file": "x.s2p"}
    return Measurement(specimen=specimen, created_at=created_at, corrected=matrix, **(content | changes))


def verdict(requirement: str, rows: dict[Parameter, tuple[Outcome, float | None]]) -> Verdict:
    made = [
        VerdictRow(
            parameter=parameter,
            end=None if parameter is Parameter.DELAY else "A",
            pairs=("12",) if parameter is not Parameter.NEXT else ("12", "36"),
            worst_margin_db=margin,
            frequency_hz=1e6,
            value=40.0,
            limit=38.0,
            expanded_uncertainty=None,
            outcome=outcome,
            standing="from-memory",
        )
        for parameter, (outcome, margin) in rows.items()
    ]
    whole = next((o for o in WORST_FIRST if o in {str(row.outcome) for row in made}), "pass")
    return Verdict("x.h5", "x", requirement, "simple", 2.0, Outcome(whole), tuple(made))


def keep(root: Path, made_at: str, *graded: tuple[str, Verdict]) -> Path:
    """Store a grading of these records."""
    names = sorted({of.requirement for _, of in graded})
    texts = [RequirementText(name, f"edition of {name}", ("schema = 1\n",)) for name in names]
    return archive.write_grading(archive.grading_of(graded, texts, made_at=made_at), root)


@dataclass(frozen=True)
class Plain:
    """What reading every file tells of one record."""

    name: str
    content_hash: str
    moment: datetime
    values: dict[str, object]
    withdrawn: bool
    superseded: bool
    newest: dict[str, tuple[str, Verdict]]
    again: str


def files_below(root: Path) -> Iterator[Path]:
    for folder, below, names in os.walk(root):
        below[:] = [name for name in below if not name.startswith(".") and name != "unfinished"]
        yield from (Path(folder) / name for name in names if name.endswith(".h5") and name[0] != ".")


def plain_archive(root: Path) -> list[Plain]:
    """Read everything, without an index: slow and simple."""
    records, notes, verdicts = {}, [], []
    for path in sorted(files_below(root)):
        kind = archive.read_head(path).kind
        if kind in ("comment", "correction"):
            notes.append(archive.read_note(path))
        elif kind == "grading":
            grading = archive.read_grading(path)
            hashes = [grading.words[place] for place in grading.verdicts.record]
            judged = archive.verdicts_of(grading)
            verdicts += [(grading.made_at, *pair) for pair in zip(hashes, judged, strict=True)]
        else:
            records[path.relative_to(root).as_posix()] = (
                archive.content_hash(path),
                archive.read_record(path),
            )
    notes.sort(key=lambda note: note.at)
    force = {h: corrections_in_force([n for n in notes if n.record == h]) for h, _ in records.values()}
    sources = {
        record.reduced_from
        for h, record in records.values()
        if record.reduced_from and not force[h].withdrawn
    }
    found = []
    for name, (h, record) in records.items():
        here, specimen = force[h], record.specimen
        values = {
            "specimen": here.value("identifier", specimen.identifier),
            "lot": here.value("lot", specimen.lot),
            "length_m": here.value("length_m", specimen.length_m),
            "operator": here.value("operator", record.operator),
            "station": record.station,
            "origin": record.origin,
        }
        newest = {of.requirement: (at, of) for at, to, of in sorted(verdicts, key=lambda v: v[0]) if to == h}
        # When a length was corrected, or whether the record is to be used was said: no verdict holds after.
        again = max((n.at for n in notes if n.record == h and _weighty(n)), default="")
        moment = datetime.fromisoformat(record.created_at)
        found.append(Plain(name, h, moment, values, here.withdrawn is not None, h in sources, newest, again))
    return sorted(found, key=lambda one: (one.moment, one.name))


def plain_find(records: list[Plain], wanted: Selection) -> list[str]:
    """Return the names of those that fit."""
    return [one.name for one in records if _fits(one, wanted)]


def _fits(one: Plain, wanted: Selection) -> bool:
    for name in ("specimen", "lot", "operator", "station", "origin"):
        wish = getattr(wanted, name)
        value = str(one.values[name])
        everything = wish in (None, ()) or (not wish and name in ("specimen", "origin"))
        if not everything and not _one_of(value, wish):
            return False
    stamp = one.moment.astimezone(UTC).isoformat()
    # Dates are compared as text, which is right for these: they are all in UTC and of one form.
    if (wanted.since and stamp < wanted.since) or (
        wanted.until and stamp[: len(wanted.until)] > wanted.until
    ):
        return False
    if (one.withdrawn and not wanted.withdrawn) or (one.superseded and not wanted.superseded):
        return False
    return not wanted.graded or any(
        _judged(of, wanted, outdated=made_at < one.again) for made_at, of in one.newest.values()
    )


def _weighty(note: Note) -> bool:
    return isinstance(note, Correction) and ("length_m" in note.changes or note.withdrawn is not None)


def _one_of(value: str, wish: str | tuple[str, ...]) -> bool:
    patterns = (wish,) if isinstance(wish, str) else wish
    return any(value == pattern or fnmatch.fnmatchcase(value, pattern) for pattern in patterns)


def _judged(of: Verdict, wanted: Selection, *, outdated: bool) -> bool:
    if outdated and (wanted.outcome or wanted.margin_below_db is not None):
        return False
    if wanted.requirement and not _one_of(of.requirement, wanted.requirement):
        return False
    parameters = (wanted.parameter,) if isinstance(wanted.parameter, str) else wanted.parameter
    return any(_judged_so(of, wanted, parameter) for parameter in parameters or ("",))


def _judged_so(of: Verdict, wanted: Selection, parameter: str) -> bool:
    rows = [row for row in of.rows if not parameter or row.parameter == parameter]
    if parameter and not rows:
        return False
    if wanted.outcome:
        outcomes = {str(row.outcome) for row in rows} if parameter else {str(of.outcome)}
        if not _one_of(next(word for word in WORST_FIRST if word in outcomes), wanted.outcome):
            return False
    margins = [row.worst_margin_db for row in rows if row.parameter is not Parameter.DELAY]
    margins = [margin for margin in margins if margin is not None]
    return wanted.margin_below_db is None or (bool(margins) and min(margins) < wanted.margin_below_db)


class Maker:
    """Makes an archive and changes it, always in the same way for the same seed."""

    def __init__(self, root: Path, seed: int) -> None:
        self.root = root
        self.random = random.Random(seed)
        self.hashes: list[str] = []
        self.clock = datetime(2026, 1, 1, tzinfo=UTC)

    def time(self) -> str:
        self.clock += timedelta(hours=self.random.randint(1, 400), seconds=self.random.randint(0, 3599))
        return self.clock.strftime("%Y-%m-%dT%H:%M:%SZ")

    def record(self) -> Path:
        pick = self.random.choice
        folder = self.root / pick(("", "", "2025", "2026/spring"))
        again = self.hashes and self.random.random() < 0.2
        path = archive.write_record(
            small(
                pick(("reel-07", "reel-7[b]", "cord 2 m", "Kabel Ü", "REEL-07")),
                self.time(),
                lot=pick(("", "L-1", "L-2")),
                operator=pick(("Anna", "B. Ober", "")),
                station=pick(("bench-1", "bench-2")),
                origin=pick(("bench", "touchstone")),
                reduced_from=pick(self.hashes) if again else "",
                reason="another calibration" if again else "",
            ),
            folder,
        )
        self.hashes.append(archive.content_hash(path))
        return path

    def note(self) -> Path:
        subject, kind = self.random.choice(self.hashes), self.random.random()
        if kind < 0.3:
            return archive.write_note(Comment(subject, "R. Lind", self.time(), "look again"), self.root)
        changes = self.random.choice(
            ({"identifier": "reel-08"}, {"lot": "L-3", "operator": ""}, {"length_m": None}, {})
        )
        withdrawn = self.random.choice((None, True, True, False))
        note = Correction(subject, "R. Lind", self.time(), "mistyped", changes, withdrawn)
        return archive.write_note(note, self.root)

    def grading(self) -> Path:
        graded = []
        for subject in self.random.sample(self.hashes, min(4, len(self.hashes))):
            for requirement in self.random.sample(REQUIREMENTS, 2):
                rows = {
                    parameter: (
                        self.random.choice(tuple(Outcome)),
                        self.random.choice((None, self.random.uniform(-3, 6))),
                    )
                    for parameter in self.random.sample(GRADED, 2)
                }
                graded.append((subject, verdict(requirement, rows)))
        return keep(self.root, self.time(), *graded)

    def fill(self, records: int, notes: int, gradings: int) -> None:
        for _ in range(records):
            self.record()
        for _ in range(notes):
            self.note()
        for _ in range(gradings):
            self.grading()

    def selection(self) -> Selection:
        pick = self.random.choice
        wishes: dict[str, object] = {
            "specimen": pick(("reel-*", "reel-07", "[!r]*", "reel-7[b]", "*Ü", ("reel-0?", "cord 2 m"))),
            "lot": pick(("L-1", "L-*", "", ("L-1", ""), ("L-3", "[!L]*", "L-2"), ())),
            "operator": pick(("Anna", "?. *", "*", ("Anna", "B*"))),
            "station": pick(("bench-1", "bench-[1-9]")),
            "origin": pick(("bench", "touchstone")),
            "since": pick(("2026", "2026-02", "2026-03-01", "2026-06")),
            "until": pick(("2026", "2026-05", "2026-04-30")),
            "requirement": pick(("tia-*", "tia-6a-cord", "iso-ea-channel", ("iso-*", "tia-6-cord"))),
            "outcome": pick(("pass", "fail", "undecided", ("fail", "conditional-fail"))),
            "parameter": pick(("next", "return_loss", "tcl", ("next", "tcl"))),
            "margin_below_db": pick((0.0, 1.5, -1.0)),
            "superseded": True,
            "withdrawn": True,
        }
        names = self.random.sample(sorted(wishes), self.random.randint(0, 4))
        return Selection(**{name: wishes[name] for name in names})


@pytest.fixture(autouse=True)
def quick_disc(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is stored need not survive a power cut here: the disc is the slowest part by far."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.fixture
def maker(tmp_path: Path) -> Maker:
    return Maker(tmp_path / "archive", 7)


@pytest.fixture
def index_files(own_home: Path) -> Path:
    """The folder of the indexes of this test."""
    return own_home / "xdg_cache_home" / "benchsweep" / "index"
