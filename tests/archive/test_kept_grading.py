"""Gradings: verdicts become columns and come back as they were, to the bit."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.archive import (
    grading_of,
    join_gradings,
    kept_verdicts,
    read_grading,
    verdicts_of,
    write_grading,
)
from benchsweep.archive.format._layout import layout
from benchsweep.archive.format._tree import to_bytes
from benchsweep.archive.notes._grading_files import grading_tree
from benchsweep.errors import ArchiveError, RecordDamaged
from benchsweep.records import (
    Grading,
    Outcome,
    Parameter,
    RequirementText,
    RowColumns,
    Verdict,
    VerdictColumns,
    VerdictRow,
    WiringFinding,
    WiringReport,
)

AT = "2026-03-01T12:30:05+00:00"
README = Path(__file__).resolve().parents[2] / "README.md"
TEXTS = (
    RequirementText("tia-6a-cord", "2018", ('schema = 1\nname = "tia-6a-cord"\n# naïve\n', "the base")),
    RequirementText("my own", "ed. 2", ("x = 1\n",)),
)
WIRED = WiringReport((1, 2, 3, 4, 5, 6, 7, 8), ())
MISWIRED = WiringReport(
    (2, 1, None, 4, 5, 6, 7, 8),
    (
        WiringFinding("reversed", (1, 2), ("12",), None, "contacts 1 and 2 are exchanged"),
        WiringFinding("open", (3,), ("36",), "B", "contact 3 leads nowhere"),
    ),
)
ROW = VerdictRow(
    Parameter.NEXT, "A", ("12", "36"), 3.25, 1e8, 48.5, 45.25, 0.29, Outcome.PASS, "published", "", 0.29, 0.2
)
VERDICT = Verdict(
    "archive/x.h5", "cord 7", "tia-6a-cord", "simple", 2.0, Outcome.PASS, (ROW,), WIRED, ("a note",), "b2"
)
UNDECIDED = Verdict(
    "",
    "cord 8",
    "my own",
    "guard-band 0.83",
    None,
    Outcome.UNDECIDED,
    (
        replace(ROW, worst_margin_db=None, frequency_hz=None, value=None, limit=None, note="not measured"),
        replace(ROW, parameter=Parameter.SKEW, end=None, pairs=("12", "78"), standing="from-memory"),
        VerdictRow(
            *(Parameter.TCL, "B", ("45",), -math.inf, 5e6, math.inf, 1e-300, None),
            *(Outcome.CONDITIONAL_FAIL, "common-practice", "", math.inf, None, -0.0),
        ),
    ),
    MISWIRED,
    ("doubt", "a note", "doubt"),
    "",
    ("doubt",),
)
BARE = Verdict("y.h5", "", "my own", "simple", 0.5, Outcome.FAIL, ())
ALL = ((f"{1:064x}", VERDICT), (f"{2:064x}", UNDECIDED), (f"{1:064x}", BARE))


def made(graded: Sequence[tuple[str, Verdict]] = ALL) -> Grading:
    told = {"length_m": "2.0", "budget_toml": "schema = 1\n"}
    return grading_of(graded, TEXTS, made_at=AT, by="R. Example", software={"numpy": "2"}, told=told)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One stored grading, never to be changed."""
    return write_grading(made(), tmp_path_factory.mktemp("graded"))


def same_columns(build: SimpleNamespace, one: Grading, other: Grading) -> None:
    for part in fields(Grading):
        mine, theirs = getattr(one, part.name), getattr(other, part.name)
        assert build.same(mine, theirs) or mine == theirs, part.name


def test_verdicts_come_back_from_the_disc(build: SimpleNamespace, kept: Path) -> None:
    back = read_grading(kept)
    same_columns(build, back, made())
    assert build.same(verdicts_of(back), (VERDICT, UNDECIDED, BARE))
    assert build.same(verdicts_of(back, [2, 0]), (BARE, VERDICT))
    assert len(back) == 3


finite = st.floats(allow_nan=False)
maybe = st.none() | finite
words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=4)
rows = st.builds(
    VerdictRow,
    parameter=st.sampled_from(Parameter),
    end=st.sampled_from(["A", "B", None]),
    pairs=st.lists(st.sampled_from(["12", "36", "45", "78"]), min_size=1, max_size=4).map(tuple),
    worst_margin_db=maybe,
    frequency_hz=maybe,
    value=maybe,
    limit=maybe,
    expanded_uncertainty=maybe,
    outcome=st.sampled_from(Outcome),
    standing=st.sampled_from(["published", "from-memory"]),
    note=words,
    uncertainty_low=maybe,
    uncertainty_high=maybe,
    guard_band=maybe,
)
findings = st.builds(
    WiringFinding,
    kind=st.sampled_from(["open", "short", "split", "unclear"]),
    contacts=st.lists(st.integers(1, 8), max_size=3).map(tuple),
    pairs=st.lists(st.sampled_from(["12", "36"]), max_size=2).map(tuple),
    end=st.sampled_from(["A", "B", None]),
    words=words,
)
wirings = st.builds(
    WiringReport,
    contact_at_b=st.lists(st.none() | st.integers(1, 8), min_size=8, max_size=8).map(tuple),
    findings=st.lists(findings, max_size=2).map(tuple),
    checked=st.booleans(),
)
verdicts = st.builds(
    Verdict,
    record=words,
    specimen=words,
    requirement=st.sampled_from([text.name for text in TEXTS]),
    decision_rule=words,
    length_m=maybe,
    outcome=st.sampled_from(Outcome),
    rows=st.lists(rows, max_size=4).map(tuple),
    wiring=st.none() | wirings,
    notes=st.lists(words, max_size=3).map(tuple),
    budget=words,
    doubts=st.lists(words, max_size=2).map(tuple),
)


@settings(max_examples=25, deadline=None)
@given(graded=st.lists(st.tuples(words, verdicts), max_size=5), cut=st.integers(0, 5))
def test_any_verdicts_come_back_from_columns_and_from_joined_ones(
    build: SimpleNamespace, graded: list[tuple[str, Verdict]], cut: int
) -> None:
    wanted = tuple(verdict for _, verdict in graded)
    whole = made(graded)
    assert build.same(verdicts_of(whole), wanted)
    parts = [made(graded[:cut]), made(graded[cut:])]
    joined = join_gradings(parts)
    assert build.same(verdicts_of(joined), wanted)
    columns = joined.verdicts.record.tolist()
    assert [joined.words[place] for place in columns] == [record for record, _ in graded]
    assert joined.told == whole.told


def test_outcomes_are_stored_in_the_documented_order(kept: Path) -> None:
    (item,) = [item for item in layout("grading") if item.path == "/rows/outcome"]
    named = dict(re.findall(r"(\d) ([a-z-]+)", item.meaning))
    assert [named[str(place)] for place in range(5)] == [str(outcome) for outcome in Outcome]
    with h5py.File(kept) as file:
        assert file["/verdicts/outcome"][:].tolist() == [0, 4, 3]


def test_h5py_alone_finds_the_worst_margin_of_a_verdict(kept: Path) -> None:
    with h5py.File(kept) as file:
        texts = file["words/text"].asstr()[:]
        counts = file["verdicts/rows"][:]
        first = int(counts[:1].sum())
        margins = file["rows/worst_margin_db"][first : first + counts[1]]
        assert texts[file["verdicts/specimen"][1]] == "cord 8"
        assert np.nanmin(margins) == -math.inf
        of = np.flatnonzero(file["definitions/requirement"][:] == 0)
        assert file["definitions/toml"].asstr()[of].tolist() == list(TEXTS[0].files)


def test_columns_of_nothing_but_none_are_left_out(build: SimpleNamespace, tmp_path: Path) -> None:
    row = replace(ROW, expanded_uncertainty=None, uncertainty_low=None, uncertainty_high=None)
    path = write_grading(made([("x", replace(VERDICT, rows=(row, row)))]), tmp_path)
    with h5py.File(path) as file:
        assert set(file["rows"]) == {
            *("trace", "outcome", "note"),
            *("worst_margin_db", "frequency_hz", "value", "limit"),
        }
    assert build.same(verdicts_of(read_grading(path))[0].rows, (row, row))


def test_a_grading_of_many_is_compact(tmp_path: Path) -> None:
    """One row takes 73 bytes: eight numbers of 8, two of 4, one of 1; texts are stored once."""
    long = replace(VERDICT, rows=(replace(ROW, guard_band=0.2),) * 60, notes=("a note " * 30,))
    graded = [(f"{place:064x}", replace(long, record=f"archive/{place}.h5")) for place in range(200)]
    path = write_grading(made(graded), tmp_path)
    assert path.parent == tmp_path / "gradings"
    assert path.stat().st_size < 200 * 60 * 73 + 200 * 300 + 100_000


def test_those_of_one_record_are_found_by_its_hash(build: SimpleNamespace, tmp_path: Path) -> None:
    one, two = f"{1:064x}", f"{2:064x}"
    own = write_grading(made(ALL[:1]), tmp_path)
    assert own.relative_to(tmp_path).as_posix() == (
        "gradings/00/0000000000000000-20260301T123005Z-tia-6a-cord-my-own.h5"
    )
    write_grading(replace(made(), made_at="2026-02-01T00:00:00+00:00"), tmp_path)
    found = kept_verdicts(tmp_path, one)
    assert [kept.made_at[:7] for kept in found] == ["2026-02", "2026-02", "2026-03"]
    assert build.same(tuple(kept.verdict for kept in found), (VERDICT, BARE, VERDICT))
    assert (found[1].edition, found[1].by, found[2].grading) == ("ed. 2", "R. Example", own)
    assert [kept.verdict for kept in kept_verdicts(tmp_path, two)] == [UNDECIDED]
    assert kept_verdicts(tmp_path, f"{3:064x}") == ()
    assert kept_verdicts(tmp_path / "nowhere", one) == ()


def test_a_flipped_byte_anywhere_is_found(kept: Path, tmp_path: Path) -> None:
    whole = kept.read_bytes()
    rng = np.random.default_rng(6)
    path = tmp_path / "x.h5"
    for place in rng.choice(len(whole), 100, replace=False):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        with pytest.raises(ArchiveError):
            read_grading(path)


def test_texts_of_requirements_must_be_there_and_differ_in_name() -> None:
    with pytest.raises(ValueError, match="the text of the requirement my own is missing"):
        grading_of(ALL, TEXTS[:1], made_at=AT)
    with pytest.raises(ValueError, match="two requirements of one name"):
        grading_of(ALL, (*TEXTS, replace(TEXTS[0], files=("other",))), made_at=AT)
    other = grading_of(ALL[:1], (replace(TEXTS[0], files=("other",)),), made_at=AT)
    with pytest.raises(ValueError, match="two requirements of one name"):
        join_gradings([made(), other])
    with pytest.raises(ValueError, match="no grading"):
        join_gradings([])


def _with(grading: Grading, **changes: object) -> Grading:
    content = {part.name: getattr(grading, part.name) for part in fields(Grading)}
    for name, value in changes.items():
        holder, _, column = name.partition("__")
        content[holder] = replace(content[holder], **{column: value}) if column else value
    return Grading(**content)


@pytest.mark.parametrize(
    "changes",
    [
        {"verdicts__record": [0, 1, 99]},
        {"verdicts__wiring": [0, 1, 2]},
        {"verdicts__wiring": [0, 1, -2]},
        {"verdicts__outcome": [0, 1, 5]},
        {"verdicts__rows": [1, 3, 1]},
        {"verdicts__rows": [-1, 5, 0]},
        {"verdicts__notes": [0, 0, 0]},
        {"rows__trace": [0, 0, 0, -1]},
        {"rows__note": [0, 0, 0, 9999]},
        {"rows__outcome": [0, 0, 0, -1]},
        {"rows__limit": [1.0]},
        {"notes": [0]},
        {"doubts": [-1]},
    ],
    ids=repr,
)
def test_columns_that_do_not_fit_together_are_refused(changes: dict[str, object]) -> None:
    grading = made()
    assert _with(grading, made_at=AT).made_at == AT
    with pytest.raises(ValueError, match=r"grading|shape"):
        _with(grading, **changes)


def test_columns_cannot_be_changed() -> None:
    grading = made()
    columns = [getattr(grading.rows, part.name) for part in fields(RowColumns)]
    columns += [getattr(grading.verdicts, part.name) for part in fields(VerdictColumns)]
    for column in (*columns, grading.notes, grading.doubts):
        with pytest.raises(ValueError, match="read-only"):
            column[:] = 0


def replaced(values: object, value: object) -> object:
    """The same with another first entry, as an array or a tuple."""
    if isinstance(values, np.ndarray):
        return np.array([value, *values[1:]], dtype=values.dtype)
    return (value, *values[1:])  # type: ignore[index]


@pytest.mark.parametrize(
    ("group", "name", "value", "words"),
    [
        ("/rows", "trace", 99, "points at nothing"),
        ("/verdicts", "rows", 7, "do not fit together"),
        ("/verdicts", "outcome", 6, "points at nothing"),
        ("/traces", "parameter", "nonsense", "not a valid Parameter"),
        ("/traces", "end", "C", "no end"),
        ("/findings", "contacts", "x", "invalid literal"),
    ],
)
def test_sealed_nonsense_is_a_named_error(
    group: str, name: str, value: object, words: str, tmp_path: Path
) -> None:
    tree = grading_tree(made())
    tree[group].data[name] = replaced(tree[group].data[name], value)  # type: ignore[assignment]
    path = tmp_path / "x.h5"
    path.write_bytes(b"".join(to_bytes("grading", tree)))
    with pytest.raises(RecordDamaged, match=words):
        read_grading(path)


def test_all_that_is_written_is_documented(tmp_path: Path) -> None:
    full = replace(ROW, guard_band=0.1)
    path = write_grading(made([("x", replace(UNDECIDED, rows=(full,)))]), tmp_path)
    found = set()

    def visit(_: str, item: h5py.Group | h5py.Dataset) -> None:
        if isinstance(item, h5py.Dataset):
            text = h5py.check_string_dtype(item.dtype) is not None
            kind = "text" if text else str(item.dtype)
            found.add((item.name, kind, item.ndim, item.attrs["unit"], item.attrs["meaning"]))
        else:
            found.update(f"{item.name}@{key}" for key in item.attrs if key != "attributes_sha256")

    with h5py.File(path) as file:
        visit("/", file)
        file.visititems(visit)
    assert found == {
        item.path
        if "@" in item.path
        else (item.path, item.type, item.shape.count(",") + 1, item.unit, item.meaning)
        for item in layout("grading")
    }


@pytest.mark.skipif(not README.is_file(), reason="the README is not part of a wheel")
def test_the_readme_tells_every_item_of_notes_and_gradings() -> None:
    text = README.read_text(encoding="utf-8")
    rows = set(re.findall(r"^\| `(/[^`]*)` \| (.*?) \| (.*?) \| (.*?) \| (.*?) \|$", text, re.MULTILINE))
    items = (*layout("comment"), *layout("correction"), *layout("grading"))
    missing = {
        item.path for item in items if (item.path, item.shape, item.type, item.unit, item.meaning) not in rows
    }
    # What stands in the table of the record already is said once.
    assert missing <= {item.path for item in layout("record")}, sorted(missing)
