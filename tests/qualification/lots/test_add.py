"""Records become results of reels; what does not belong there is refused with words."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.definitions import list_definitions
from benchsweep.errors import LotRefused, UnknownName, UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification import (
    add_record,
    check_reel,
    correct,
    exclude_reel,
    exit_code_of_lot,
    lot_document,
    read_lot,
    replan_lot,
)
from benchsweep.records import LotState, Parameter
from tests.qualification.lots.reels import BY, GRID, loss_limit_db, names, opened, record_of

# The sample of 8 reels with the seed of `opened`: first by `printf "the seed\nR00n" | sha256sum`.
SAMPLE = ("R001", "R006")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    opened(tmp_path / "archive")
    return tmp_path / "archive"


def counts(state: LotState) -> tuple[int, int, int]:
    return len(state.missing), len(state.nonconforming), len(state.undecided)


def test_the_sample_is_that_of_the_seed(folder: Path) -> None:
    assert read_lot(folder, "26-118").state.sample == SAMPLE


def test_the_margin_is_that_of_the_published_limit(folder: Path) -> None:
    view, added = add_record(folder, "26-118", record_of(folder, "R001", loss=0.95), by=BY)
    assert added.result.conforms is True
    worst = added.result.margin_of(Parameter.INSERTION_LOSS)
    assert worst is not None
    # 5 % of the limit, least where the limit is least.
    assert worst.margin == pytest.approx(0.05 * loss_limit_db(GRID).min(), abs=1e-6)
    assert counts(view.state) == (1, 0, 0)
    assert exit_code_of_lot(view) == 3
    assert view.state == read_lot(folder, "26-118").state


def test_half_the_length_is_brought_to_100_m(folder: Path) -> None:
    half = record_of(folder, "R001", loss=0.475, length_m=50.0)
    _, added = add_record(folder, "26-118", half, by=BY)
    worst = added.result.margin_of(Parameter.INSERTION_LOSS)
    assert worst is not None
    assert worst.margin == pytest.approx(0.05 * loss_limit_db(GRID).min(), abs=1e-6)


def test_a_warm_reel_is_brought_to_20_degc_with_the_construction_of_the_lot(folder: Path) -> None:
    # Unscreened, 0.4 % per kelvin from 20 to 40 degC (TIA-568-C.2, 6.4.7): at 30 degC 4 % more.
    warm = record_of(folder, "R001", loss=0.95 * 1.04, temperature_degc=30.0)
    _, added = add_record(folder, "26-118", warm, by=BY)
    worst = added.result.margin_of(Parameter.INSERTION_LOSS)
    assert worst is not None
    assert worst.margin == pytest.approx(0.05 * loss_limit_db(GRID).min(), abs=1e-6)


def test_a_bad_reel_makes_a_lot_that_will_not_be_accepted(folder: Path) -> None:
    view, added = add_record(folder, "26-118", record_of(folder, "R001", loss=1.05), by=BY)
    assert added.result.conforms is False
    assert view.state.nonconforming == ("R001",)
    assert exit_code_of_lot(view) == 1


def test_the_verdict_is_kept_once_in_the_archive_of_the_lot(folder: Path) -> None:
    deep = archive.write_record(archive.read_record(record_of(folder, "R001")), folder / "March")
    add_record(folder, "26-118", deep, by=BY)
    (kept,) = archive.kept_verdicts(folder, archive.content_hash(deep))
    assert kept.verdict.requirement == "tia-6-cable"
    assert kept.by == BY
    assert read_lot(folder, "26-118").state.counting["R001"].path == f"March/{deep.name}"


REFUSED: dict[str, tuple[Callable[[Path], Any], str]] = {
    "no such lot": (lambda f: add_record(f, "26-119", record_of(f, "R001"), by=BY), "no lot 26-119"),
    "another product": (
        lambda f: add_record(f, "26-118", record_of(f, "R001", product="C5-24"), by=BY),
        "of the product C5-24; the lot 26-118 is of C6-23",
    ),
    "no product": (
        lambda f: add_record(f, "26-118", record_of(f, "R001", product=""), by=BY),
        "of no product",
    ),
    "another lot": (
        lambda f: add_record(f, "26-118", record_of(f, "R001", lot="26-117"), by=BY),
        "of the lot 26-117, not of 26-118",
    ),
    "no reel of the lot": (
        lambda f: add_record(f, "26-118", record_of(f, "R099"), by=BY),
        "no reel R099",
    ),
    "not drawn": (lambda f: add_record(f, "26-118", record_of(f, "R002"), by=BY), "R002 was not drawn"),
    "no length": (
        lambda f: add_record(f, "26-118", record_of(f, "R001", length_m=None), by=BY),
        "does not tell its length",
    ),
    "no temperature": (
        lambda f: add_record(f, "26-118", record_of(f, "R001", temperature_degc=None), by=BY),
        "does not tell its temperature",
    ),
    "nobody": (lambda f: add_record(f, "26-118", record_of(f, "R001"), by=" "), "who adds the record"),
    "a retest of nothing": (
        lambda f: add_record(f, "26-118", record_of(f, "R001"), by=BY, retest_reason="loose"),
        "no result that could be replaced",
    ),
    "outside": (
        lambda f: add_record(f, "26-118", record_of(f.parent / "other", "R001"), by=BY),
        "does not lie in the archive",
    ),
    "withdrawn": (
        lambda f: add_record(f, "26-118", withdrawn(record_of(f, "R001")), by=BY),
        "was withdrawn by R. Lind",
    ),
    "measuring another product": (
        lambda f: check_reel(f, "26-118", "R001", product="C5-24"),
        "of the product C5-24",
    ),
    "measuring what was not drawn": (
        lambda f: check_reel(f, "26-118", "R002", product="C6-23"),
        "R002 was not drawn",
    ),
    "excluding for no reason": (
        lambda f: exclude_reel(f, "26-118", "R001", by=BY, reason=" "),
        "the reason is empty",
    ),
    "the same plan": (
        lambda f: replan_lot(f, "26-118", by=BY, reason="to see", aql_percent=6.5),
        "this is the plan in force",
    ),
    "replanning to reduced": (
        lambda f: replan_lot(f, "26-118", by=BY, reason="x", aql_percent=6.5, severity="reduced"),
        "reduced inspection is not possible",
    ),
}


def withdrawn(record: Path) -> Path:
    correct(record, {}, by=BY, reason="a loose connector", withdrawn=True)
    return record


@pytest.mark.parametrize(("act", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refusals_name_what_is_wrong_and_change_nothing(
    folder: Path, act: Callable[[Path], Any], words: str
) -> None:
    before = read_lot(folder, "26-118").digest
    with pytest.raises((LotRefused, UnknownName, UsageError)) as refused:
        act(folder)
    assert words in refused.value.message
    assert refused.value.exit_code == 2
    assert refused.value.hint
    assert read_lot(folder, "26-118").digest == before


def test_a_second_result_needs_a_reason_and_then_counts(folder: Path) -> None:
    add_record(folder, "26-118", record_of(folder, "R001", loss=1.05), by=BY)
    again = record_of(folder, "R001", loss=0.95, at=1)
    with pytest.raises(LotRefused, match="has a result already"):
        add_record(folder, "26-118", again, by=BY)
    view, _ = add_record(folder, "26-118", again, by=BY, retest_reason="a connector was loose")
    assert counts(view.state) == (1, 0, 0)
    assert len(view.state.added) == 2
    with pytest.raises(LotRefused, match="in the lot already"):
        add_record(folder, "26-118", again, by=BY, retest_reason="once more")


def test_an_excluded_reel_makes_room_for_the_next_and_is_not_taken(folder: Path) -> None:
    order = read_lot(folder, "26-118").state.order
    view = exclude_reel(folder, "26-118", "R001", by=BY, reason="crushed by the fork lift")
    assert view.state.sample == (order[1], order[2])
    with pytest.raises(LotRefused, match="crushed by the fork lift"):
        add_record(folder, "26-118", record_of(folder, "R001"), by=BY)


def test_a_corrected_record_counts_as_corrected(folder: Path) -> None:
    record = record_of(folder, "X", product="C5-24", length_m=90.0, temperature_degc=None)
    changes = {"identifier": "R001", "product": "C6-23", "length_m": 100.0, "ambient.temperature_degc": 20.0}
    correct(record, changes, by=BY, reason="the label of another reel")
    _, added = add_record(folder, "26-118", record, by=BY)
    assert (added.reel, added.result.length_m, added.result.conforms) == ("R001", 100.0, True)


def own_requirement(text: Callable[[str], str] = lambda text: text) -> None:
    """Put a requirement `own-cable` in force in the working folder."""
    shipped = list_definitions("requirements")["tia-6-cable"].read_text(encoding="utf-8")
    Path("requirements").mkdir(exist_ok=True)
    own = shipped.replace('name = "tia-6-cable"', 'name = "own-cable"')
    assert own != shipped
    Path("requirements/own-cable.toml").write_text(text(own), encoding="utf-8")


def test_another_text_of_the_requirement_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "archive"
    own_requirement()
    opened(folder, requirement=load_requirement("own-cable"))
    record = record_of(folder, "R001")
    own_requirement(lambda text: text + "\n# tidied\n")
    with pytest.raises(LotRefused, match="own-cable has another text now"):
        add_record(folder, "26-118", record, by=BY)
    with pytest.raises(LotRefused, match="another text now"):
        check_reel(folder, "26-118", "R001", product="C6-23")
    assert "another text" in read_lot(folder, "26-118").doubts[0]
    own_requirement()
    assert add_record(folder, "26-118", record, by=BY)[1].result.conforms


def test_a_requirement_that_cannot_be_found_again_is_refused(tmp_path: Path) -> None:
    own_requirement()
    Path("requirements/own-cable.toml").rename("mine.toml")
    with pytest.raises(LotRefused, match="could not be found again"):
        opened(tmp_path / "archive", requirement=load_requirement("mine.toml"))


def test_a_requirement_for_something_else_than_cable_is_doubted(tmp_path: Path) -> None:
    view = opened(tmp_path / "archive", requirement=load_requirement("tia-6-channel"))
    (doubt,) = view.doubts
    assert doubt.startswith("tia-6-channel is a requirement for a channel, not for cable: nothing is brought")


ADDING = """
import sys
from pathlib import Path
from benchsweep.errors import BenchsweepError
from benchsweep.qualification import add_record
folder, *records = sys.argv[1:]
import benchsweep.qualification.lots._add
print("ready", flush=True)
sys.stdin.readline()
for record in records:
    try:
        add_record(Path(folder), "big", Path(record), by="one of two")
        print("added", flush=True)
    except BenchsweepError as error:
        print(error.message, flush=True)
"""


def test_two_stations_add_to_one_lot_at_once_and_each_reel_counts_once(tmp_path: Path) -> None:
    folder = tmp_path / "archive"
    # 30 reels at AQL 2.5 and level III: letter E, n = 13 by Table I, Ac 1 at letter F, n = 20 by the arrow.
    view = opened(folder, "big", reels=names(30), aql_percent=2.5, level="III")
    sample = view.state.sample
    shared = [str(record_of(folder, reel)) for reel in sample]
    stations = [
        subprocess.Popen(
            [sys.executable, "-c", ADDING, str(folder), *records],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for records in (shared, shared[::-1])
    ]
    for station in stations:
        assert station.stdout is not None
        assert station.stdout.readline() == "ready\n"
    said = [line for station in stations for line in station.communicate("go\n")[0].splitlines()]
    assert said.count("added") == len(sample)
    assert sum("in the lot already" in words or "has a result" in words for words in said) == len(sample)
    state = read_lot(folder, "big").state
    assert state.missing == ()
    assert {entry.reel for entry in state.added} == set(sample)
    assert len(state.added) == len(sample)


def test_the_document_holds_no_infinity(folder: Path) -> None:
    view, added = add_record(folder, "26-118", record_of(folder, "R001"), by=BY)
    assert any(each.margin is not None and math.isinf(each.margin) for each in added.result.margins)
    document = lot_document(view)
    finite(document)
    assert document["schema"] == "benchsweep.lot/1"
    assert document["sample"] == list(SAMPLE)
    (only,) = document["results"]
    assert only["reel"] == "R001"
    assert document["missing"] == ["R006"]
    assert [entry["what"] for entry in document["history"]] == ["opened", "added"]


def finite(value: Any) -> None:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for each in value:
            finite(each)
    else:
        assert not isinstance(value, float) or math.isfinite(value)
