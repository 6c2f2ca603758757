"""What a laboratory gives for the head: read from TOML, changed by options, refused where it is wrong."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from benchsweep.errors import DefinitionError, UnknownName, UsageError
from benchsweep.report.content import Particulars, load_particulars

LETTERHEAD = """
number = "T-2026-0117"
authorised_by = "I. Vogt"
function = "head of laboratory"
issued_on = 2026-03-02
received_on = "2026-02-27"
order = "PO 4711"
condition = "undamaged"
sampling = "drawn by the customer"
deviations = "none"
traceability = '''kit 17: certificate K-2025-118
analyzer: certificate A-31'''
[laboratory]
name = "Cabling laboratory"
address = '''1 High Street
Anytown'''
location = "chamber 2"
statement = "Accredited as no. 7."
[customer]
name = "A customer"
address = "2 High Street"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "letterhead.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_in_a_letterhead_is_read(tmp_path: Path) -> None:
    assert load_particulars(written(tmp_path, LETTERHEAD)) == Particulars(
        laboratory="Cabling laboratory",
        address="1 High Street\nAnytown",
        location="chamber 2",
        statement="Accredited as no. 7.",
        customer="A customer",
        customer_address="2 High Street",
        number="T-2026-0117",
        authorised_by="I. Vogt",
        function="head of laboratory",
        issued_on="2026-03-02",
        received_on="2026-02-27",
        order="PO 4711",
        condition="undamaged",
        sampling="drawn by the customer",
        deviations="none",
        traceability="kit 17: certificate K-2025-118\nanalyzer: certificate A-31",
    )


def test_all_of_it_is_optional(tmp_path: Path) -> None:
    assert load_particulars(written(tmp_path, "")) == Particulars()
    assert load_particulars(written(tmp_path, "schema = 1\n[laboratory]\n")) == Particulars()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('nmber = "1"', "nmber"),
        ("[laboratory]\nphone = '1'", "laboratory.phone"),
        ("[customer]\nlocation = 'x'", "customer.location"),
        ("number = 12", "number"),
        ("issued_on = '2.3.2026'", "issued_on"),
        ("issued_on = 20260302", "issued_on"),
        ("issued_on = 2026-03-02T10:00:00Z", "issued_on"),
        ("received_on = '2026-13-01'", "received_on"),
        ("schema = 2", "schema"),
        ("laboratory = 'x'", "laboratory"),
        (f"order = '{'x' * 2001}'", "order"),
        ("number = ", "not valid TOML"),
        (r'number = "T\u001b[31m1"', "number: holds the character U+001B"),
        (r'authorised_by = "a\u202eb"', "authorised_by: holds the character U+202E"),
        (r'order = "a\tb"', "order: holds the character U+0009"),
        (r'order = "a\nb"', "order: must be one line"),
        (r'deviations = "a\nb\u0007"', "deviations: holds the character U+0007"),
        (
            r"[laboratory]" "\n" r'address = "1 High Street\r\nAnytown"',
            "laboratory.address: holds the character U+000D",
        ),
        (r"[customer]" "\n" r'name = "a\u200bb"', "customer.name: holds the character U+200B"),
    ],
)
def test_a_wrong_letterhead_is_refused_by_file_and_key(tmp_path: Path, text: str, named: str) -> None:
    with pytest.raises(DefinitionError) as caught:
        load_particulars(written(tmp_path, text))
    assert "letterhead.toml" in caught.value.message
    assert named in caught.value.message


def test_an_unknown_key_is_answered_with_all_that_there_are(tmp_path: Path) -> None:
    with pytest.raises(DefinitionError) as caught:
        load_particulars(written(tmp_path, 'athorised_by = "I. Vogt"'))
    assert "did you mean authorised_by?" in caught.value.message
    hint = caught.value.hint
    assert "shipped" not in hint
    # In the order of the class, of which each is a key: alone, or in one of two tables.
    above, laboratory, customer = hint.split("; in ")
    assert above == (
        "A letterhead may have number, authorised_by, function, issued_on, received_on, order, condition, "
        "sampling, deviations, traceability"
    )
    assert laboratory == "[laboratory] name, address, location, statement"
    assert customer == "[customer] name, address."


def test_lines_and_all_scripts_are_taken(tmp_path: Path) -> None:
    """A joiner without width is part of the spelling of Persian, a hard space of that of French."""
    name = "\u0646\u0645\u06cc\u200c\u062e \u00e9\u00a0! \u96fb\u7dda"
    text = f'deviations = """one\ntwo"""\n[customer]\nname = "{name}"\n'
    found = load_particulars(written(tmp_path, text))
    assert found.deviations == "one\ntwo"
    assert found.customer == name


def test_a_missing_letterhead_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnknownName, match="no such file") as caught:
        load_particulars(tmp_path / "none.toml")
    assert caught.value.hint


def test_options_go_before_the_letterhead(tmp_path: Path) -> None:
    found = load_particulars(written(tmp_path, LETTERHEAD))
    assert found.with_changes() == found
    changed = found.with_changes(
        number=" 9 ", customer="Other", issued_on="2026-04-01", authorised_by="H. Adler"
    )
    assert (changed.number, changed.customer, changed.issued_on) == ("9", "Other", "2026-04-01")
    # The office of one person is not that of another, nor an address.
    assert (changed.authorised_by, changed.function) == ("H. Adler", "")
    assert changed.customer_address == ""
    assert changed.laboratory == found.laboratory
    same = found.with_changes(authorised_by="I. Vogt", customer="A customer", issued_on=dt.date(2026, 4, 1))
    assert (same.function, same.customer_address, same.issued_on) == (
        "head of laboratory", "2 High Street", "2026-04-01"
    )  # fmt: skip


@pytest.mark.parametrize("change", [{"issued_on": "yesterday"}, {"number": " "}, {"customer": ""},
                                    {"issued_on": ""}, {"number": "7\x1b[31m"},
                                    {"authorised_by": "a\u2066b"}])  # fmt: skip
def test_options_with_nothing_in_them_or_what_cannot_be_printed_are_refused(change: dict[str, str]) -> None:
    with pytest.raises(UsageError) as caught:
        Particulars().with_changes(**change)
    assert caught.value.hint
