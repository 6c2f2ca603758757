"""Slips of the pen in names of lots, suppliers, products and reels: said, or refused with what there is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.errors import LotRefused, UsageError
from benchsweep.qualification import (
    add_record,
    lot_run,
    lot_slip,
    opening_notes,
    practice_of,
    process_views,
)
from benchsweep.records import AnalyzerIdentity
from tests.qualification.lots.reels import (
    BY,
    PRODUCT,
    SUPPLIER,
    measured,
    names,
    opened,
    record_of,
    result,
    told,
)

Run = Callable[..., Any]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "archive"


def test_a_supplier_that_is_almost_a_known_one_is_said(folder: Path) -> None:
    assert opening_notes(folder, supplier=SUPPLIER, product=PRODUCT) == ()
    opened(folder, "1")
    opened(folder, "2", supplier="Sallowfield", reels=names(9)[1:])
    (words,) = opening_notes(folder, supplier="Tolmoor Wire", product=PRODUCT)
    assert words.startswith("no lot of the supplier Tolmoor Wire before; known: Tollmoor Wire. ")
    (words,) = opening_notes(folder, supplier="TOLLMOOR WIRE", product=PRODUCT)
    assert "known: Tollmoor Wire. " in words
    (words,) = opening_notes(folder, supplier=SUPPLIER, product="C6-32")
    assert words.startswith("no lot of the product C6-32 from Tollmoor Wire before; known: C6-23. ")
    for supplier, product in ((SUPPLIER, PRODUCT), ("Marram", PRODUCT), (SUPPLIER, "fibre")):
        assert opening_notes(folder, supplier=supplier, product=product) == ()


def test_a_reel_in_the_samples_of_two_lots_is_said(folder: Path) -> None:
    def notes(reels: tuple[str, ...], supplier: str = SUPPLIER, **how: bool) -> tuple[str, ...]:
        return opening_notes(folder, supplier=supplier, product=PRODUCT, reels=reels, **how)

    state = opened(folder, "1").state
    drawn = ", ".join(state.sample)
    assert notes(names(8)) == (f"{drawn} are reels of the sample of the lot 1, too (open)",)
    assert notes((state.sample[1], "X")) == (
        f"{state.sample[1]} is a reel of the sample of the lot 1, too (open)",
    )
    told(folder, "1", [result(good=False, margin=-1.0), result()])
    assert notes(names(8)) == (f"{drawn} are reels of the sample of the lot 1, too (not accepted)",)
    assert notes(names(8), resubmission=True) == ()
    assert notes(names(8), supplier="Sallowfield") == ()
    # Reels that nobody drew are no reason for a word.
    assert notes(state.order[len(state.sample) :]) == ()


def test_notes_stand_beside_the_pick_list(own_home: Path, run: Run) -> None:
    what = (
        "--product",
        "C6-23",
        "--reels",
        "R01..R12",
        "--against",
        "tia-6-cable",
        "--aql",
        "6.5",
        "--by",
        BY,
    )
    assert run("lot", "open", "1", "--supplier", "Tollmoor Wire", *what).err.count("note:") == 0
    again = run("lot", "open", "2", "--supplier", "Tollmoor Wire", *what)
    assert again.code == 0
    assert "are reels of the sample of the lot 1, too (open)" in again.err
    typed = run("lot", "open", "3", "--supplier", "Tolmoor Wire", *what, "--json")
    assert typed.code == 0
    assert "no lot of the supplier Tolmoor Wire before; known: Tollmoor Wire" in typed.err


def test_a_lot_that_nobody_opened_names_the_one_that_drew_the_reel(folder: Path) -> None:
    assert lot_slip(folder, "26-041", "R001") == ""
    state = opened(folder, "26-401").state
    reel = state.sample[0]
    told_of = lot_slip(folder, "26-041", reel)
    assert told_of.startswith("no lot 26-041 was opened in ")
    assert told_of.endswith(f"The lot 26-401, which is open, has drawn {reel}")
    for other in (state.order[-1], "X1"):
        assert "drawn" not in lot_slip(folder, "26-041", other)
    told(folder, "26-401", [result(), result()])
    assert "drawn" not in lot_slip(folder, "26-041", reel)


def test_a_slip_is_said_before_the_bench_is_opened_and_stops_nothing(
    own_home: Path, run: Run, coarse_station: Callable[[int], Path]
) -> None:
    reel = opened(own_home / "archive", "26-401").state.sample[0]
    words = ("--specimen", reel, "--lot", "26-041", "--length-m", "100", "--operator", BY)
    done = run("qualify", "--station", coarse_station(40), *words, "--against", "tia-6-cable")
    assert done.code in (0, 1, 3), done.err
    assert f"The lot 26-401, which is open, has drawn {reel}" in " ".join(done.err.split())
    assert len(list((own_home / "archive").glob("*.h5"))) == 1


def test_all_that_is_wrong_with_a_record_is_said_at_once(folder: Path) -> None:
    reel = opened(folder, "26-401").state.sample[0]
    record = record_of(folder, reel, lot="26-041", product="")
    with pytest.raises(LotRefused) as caught:
        add_record(folder, "26-401", record, by=BY)
    assert caught.value.message.endswith(
        "says that it is of the lot 26-041, not of 26-401; and that it is of no product; the lot 26-401 is "
        "of C6-23"
    )
    assert "archive correct --lot 26-401 --product C6-23`" in caught.value.hint


def test_a_hint_asks_for_nothing_that_was_told(folder: Path) -> None:
    reel = opened(folder).state.sample[0]

    def refused(**how: Any) -> LotRefused:
        said = {"length_m": 100.0, "temperature_degc": 20.0, "by": BY, **how}
        with pytest.raises(LotRefused) as caught:
            lot_run(folder, "26-118", reel, **said)
        return caught.value

    assert refused(temperature_degc=None).hint.startswith("Give --ambient temperature_degc=…")
    assert refused(length_m=None).hint == "Give --length-m."
    both = refused(length_m=None, temperature_degc=None).hint
    assert both.startswith("Give --length-m and --ambient temperature_degc=…")
    product = refused(product="C5-24")
    assert "record" not in product.message
    assert product.hint.startswith("Leave --product out")
    told(folder, "26-118", [result()], close=False)
    assert "--retest" in refused().hint


def test_a_product_that_is_none_names_those_that_there_are(folder: Path) -> None:
    opened(folder, "1")
    opened(folder, "2", product="C7-23", reels=names(9)[1:])
    with pytest.raises(UsageError) as caught:
        process_views(folder, product="C6-32")
    assert caught.value.hint == "Products there: C6-23, C7-23."
    with pytest.raises(UsageError) as caught:
        process_views(folder, product=PRODUCT)  # there is one, without a result
    assert "Products there" not in caught.value.hint


def test_the_one_supplier_of_a_product_is_named(folder: Path) -> None:
    opened(folder, "1")
    told(folder, "1", [result(), result()])
    assert {view.supplier for view in process_views(folder, product=PRODUCT)} == {SUPPLIER}
    opened(folder, "2", supplier="Sallowfield")
    told(folder, "2", [result(), result()])
    assert {view.supplier for view in process_views(folder, product=PRODUCT)} == {""}


def test_practice_is_counted_from_the_records(folder: Path) -> None:
    sample = opened(folder).state.sample
    bench = AnalyzerIdentity("Simulated works,bench,0,1", "scpi", 4)
    records = [
        archive.write_record(measured(sample[0]), folder),
        archive.write_record(replace(measured(sample[1], at=1), analyzer=bench), folder),
    ]
    for record in records:
        add_record(folder, "26-118", record, by=BY)
    views = process_views(folder, product=PRODUCT)
    assert practice_of(folder, views) == (1, 0, 2)
    records[0].unlink()
    assert practice_of(folder, views) == (1, 1, 2)
