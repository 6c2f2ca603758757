"""Texts that are kept: what shows nothing is refused, what looks alike is taken for the same name."""

from __future__ import annotations

import unicodedata

import pytest

from benchsweep.records._text import LONGEST_NAME, look_alike, text_fault


@pytest.mark.parametrize(
    "char", ["\u202e", "\u200b", "\x1b", "\u2028", "\ue000", "\ufe0f", "\u034f", "\u3164", "\u2800"]
)
def test_what_shows_nothing_is_refused_in_a_name_by_its_code_point(char: str) -> None:
    fault = text_fault(f"K{char}10", longest=LONGEST_NAME)
    assert f"U+{ord(char):04X}" in fault
    assert char not in fault


def test_names_of_all_scripts_and_signs_are_taken() -> None:
    for name in ("K-10", "Prüfung 7", "катушка", "リール", "بكرة", "R/7 #3 (b)", "½ reel"):
        assert text_fault(name, longest=LONGEST_NAME) == ""


def test_sentences_may_join_letters_and_choose_how_a_sign_looks() -> None:
    for text in ("a\u200db", "\u2764\ufe0f"):
        assert text_fault(text, longest=100, joiners=True) == ""
        assert text_fault(text, longest=100)
    assert text_fault("\u202e", longest=100, joiners=True)


def test_length() -> None:
    assert text_fault("x" * 200, longest=200) == ""
    assert text_fault("x" * 201, longest=200) == "has 201 characters; at most 200 are kept"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("K10", "k10"),
        ("K 10", "K\u00a010"),
        ("K 10", "K10"),
        ("K-10", "K\u201110"),
        ("K-10", "K\u201310"),
        ("K-10", "K\u221210"),
        ("K10", "\uff2b10"),
        (unicodedata.normalize("NFC", "Prüfung"), unicodedata.normalize("NFD", "Prüfung")),
        ("Straße", "STRASSE"),
    ],
)
def test_names_that_a_reader_takes_for_one(one: str, other: str) -> None:
    assert look_alike(one) == look_alike(other)


@pytest.mark.parametrize(("one", "other"), [("K10", "K01"), ("K-10", "K10"), ("a", "ä")])
def test_names_that_a_reader_tells_apart(one: str, other: str) -> None:
    assert look_alike(one) != look_alike(other)
