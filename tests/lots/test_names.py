"""Names of lots and reels that a reader could not tell from another one.

Which characters print is the general category of the Unicode Character Database; what is alike, NFKC and case
folding (Unicode Standard Annex 15; chapter 3.13).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchsweep.archive.lots import LotFile, create
from benchsweep.errors import LotRefused, UsageError
from benchsweep.limits import load_requirement
from benchsweep.lots import check_names, state_of
from benchsweep.qualification import check_specimen, check_text, open_lot, read_lot
from tests.lots.entries import REELS, opened

# One of each category that is refused, with the code point that the message must name.
HIDDEN = {
    "U+0007": "\x07",  # Cc
    "U+200B": "\u200b",  # Cf, zero width space
    "U+202E": "\u202e",  # Cf, right-to-left override
    "U+2028": "\u2028",  # Zl
    "U+2029": "\u2029",  # Zp
    "U+DC80": "\udc80",  # Cs
    "U+E000": "\ue000",  # Co
    "U+FFFF": "\uffff",  # Cn
}


@pytest.mark.parametrize("code", HIDDEN)
@pytest.mark.parametrize("field", ["lot", "supplier", "product", "seed", "reels"])
def test_what_does_not_print_is_refused_by_its_code_point(field: str, code: str) -> None:
    check_names(opened())
    text = f"K{HIDDEN[code]}10"
    with pytest.raises(LotRefused) as caught:
        check_names(opened(**{field: (*REELS[:-1], text) if field == "reels" else text}))
    assert f": {code}" in caught.value.message


@pytest.mark.parametrize("code", HIDDEN)
def test_nor_does_it_stand_in_reasons_and_specimens(code: str) -> None:
    assert check_text("reason \u00e9, \u0646\u200c\u0645", "the reason")
    for call in (
        lambda text: check_text(text, "the reason"),
        lambda text: check_specimen(text, 2.0),
        lambda text: check_specimen("K1", 2.0, product=text),
    ):
        with pytest.raises(UsageError) as caught:
            call(f"K{HIDDEN[code]}10")
        assert code in caught.value.message


@pytest.mark.parametrize("other", ["k01", "K01".translate({0x4B: 0xFF2B}), "K\u0660"])
def test_a_lot_or_reel_that_looks_like_another_one(other: str) -> None:
    alike = other != "K\u0660"  # an arabic digit is another one
    pairs = [opened(reels=("K01", other, *REELS[2:])), opened(lot=other)]
    for event in pairs:
        if alike:
            with pytest.raises(LotRefused, match="looks like K01"):
                check_names(event, ["K01"])
        else:
            check_names(event, ["K01"])


def test_blanks_of_other_kinds_are_blanks() -> None:
    with pytest.raises(LotRefused, match="looks like delivery 7"):
        check_names(opened(lot="delivery\u00a07"), ["delivery 7"])


def test_a_name_has_its_accents_composed() -> None:
    with pytest.raises(LotRefused) as caught:
        check_names(opened(supplier="Spule gru\u0308n"))
    assert caught.value.hint.endswith("Spule gr\u00fcn")
    with pytest.raises(LotRefused, match="composed form"):  # the kelvin sign is a K
        check_names(opened(lot="\u212a01"), ["K01"])
    assert check_specimen("gru\u0308n", None).identifier == "gr\u00fcn"


def test_names_and_sentences_have_a_longest() -> None:
    check_names(opened(lot="x" * 200))
    with pytest.raises(LotRefused, match="has 201 characters; at most 200"):
        check_names(opened(lot="x" * 201))
    check_text("x" * 2000, "the reason")
    with pytest.raises(UsageError, match="has 5000 characters; at most 2000"):
        check_text("x" * 5000, "the reason")


def test_a_history_from_before_stays_readable_and_its_name_taken(tmp_path: Path) -> None:
    old = opened(lot="Gru\u0308n\u202e 7", reels=(*REELS[:-2], "k1", "K1"))
    assert state_of([old]).opened == old
    create(tmp_path, old)
    assert LotFile(tmp_path, old.lot).read() == (old,)
    assert read_lot(tmp_path, old.lot).state.opened.reels == old.reels
    for lot, words in (("26-118", ""), ("26-118 ", "blank"), ("\uff12\uff16-118", "looks like 26-118")):
        how = {
            "supplier": "Tollmoor Wire",
            "product": "C6-23",
            "reels": REELS,
            "requirement": load_requirement("tia-6-cable"),
            "by": "R. Lind",
            "aql_percent": 6.5,
        }
        if not words:
            open_lot(tmp_path, lot, **how)
            continue
        with pytest.raises(LotRefused, match=words):
            open_lot(tmp_path, lot, **how)
        assert not LotFile(tmp_path, lot).exists()
