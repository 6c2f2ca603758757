"""What a laboratory says of itself, of its customer and of a report, for the head of a certificate."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from benchsweep.definitions import Definition, load_model
from benchsweep.errors import UnknownName, UsageError
from benchsweep.report.document import unprintable

__all__ = ["Particulars", "check_stated", "load_particulars"]

_DATE_HINT = "Write year, month, day, as in 2026-03-01 (ISO 8601)."


@dataclass(frozen=True, slots=True)
class Particulars:
    """What a laboratory gives for the head of its report; what is empty is said there as not stated.

    Parameters
    ----------
    laboratory, address, location
        Name and address of the laboratory; where it measured, if elsewhere. An address may have lines.
    statement
        What it states of itself (accreditation, terms); printed as it is.
    customer, customer_address
        For whom it measured.
    number
        What identifies the report; empty: one is derived from what is reported.
    authorised_by, function
        Who authorises the report, and as what.
    issued_on, received_on
        ISO 8601 dates: of issue; on which the items came in.
    order
        The customer's order or reference.
    condition
        Of the items when they came in. Like `sampling` and `deviations` it may have lines.
    sampling
        By which plan they were drawn.
    deviations
        From the method, additions and exclusions.
    traceability
        To what the results are traceable, and by which certificates (kit, analyzer); may have lines.
    """

    laboratory: str = ""
    address: str = ""
    location: str = ""
    statement: str = ""
    customer: str = ""
    customer_address: str = ""
    number: str = ""
    authorised_by: str = ""
    function: str = ""
    issued_on: str = ""
    received_on: str = ""
    order: str = ""
    condition: str = ""
    sampling: str = ""
    deviations: str = ""
    traceability: str = ""

    def with_changes(
        self,
        *,
        number: str | None = None,
        authorised_by: str | None = None,
        customer: str | None = None,
        issued_on: str | dt.date | None = None,
    ) -> Particulars:
        """Return them with what was given anew; None leaves what is there.

        The function of who authorised stands only with that person; the address of a customer likewise.

        Raises
        ------
        UsageError
            `issued_on` is no date, a text has nothing in it, or a character that cannot be printed.
        """
        changed = self
        for option, value in (
            ("number", number),
            ("authorised-by", authorised_by),
            ("customer", customer),
            ("issued", issued_on),
        ):
            if isinstance(value, str):
                check_stated(value, f"--{option}")
        if number is not None:
            changed = replace(changed, number=number.strip())
        if authorised_by is not None and authorised_by.strip() != self.authorised_by:
            changed = replace(changed, authorised_by=authorised_by.strip(), function="")
        if customer is not None and customer.strip() != self.customer:
            changed = replace(changed, customer=customer.strip(), customer_address="")
        if issued_on is not None:
            try:
                changed = replace(changed, issued_on=_iso_date(issued_on))
            except ValueError as error:
                raise UsageError(f"--issued: {error}", hint=_DATE_HINT) from error
        return changed


def check_stated(value: str, option: str) -> None:
    """Refuse what an option states when nothing is in it, or what could not be printed as it is.

    Raises
    ------
    UsageError
    """
    if not value.strip():
        raise UsageError(f"{option}: nothing is given", hint="Give a text, or leave the option out.")
    hidden = unprintable(value.strip())
    if hidden:
        raise UsageError(f"{option}: {_holds(hidden)}", hint="Write it in printable characters.")


def load_particulars(path: str | Path) -> Particulars:
    """Return what a letterhead says (TOML). All of it is optional; unknown keys are refused.

    ::

        number = "T-2026-0117"
        authorised_by = "I. Vogt"
        function = "head of laboratory"
        issued_on = 2026-03-02
        order = "PO 4711"
        received_on = 2026-02-27
        condition = "undamaged"
        sampling = "drawn by the customer"
        traceability = "kit 17: certificate K-2025-118 of ..."
        [laboratory]
        name = "Cabling laboratory"
        address = '''1 High Street
        Anytown'''
        location = "climate chamber 2"
        statement = "Accredited by ... as no. ..."
        [customer]
        name = "A customer"
        address = "2 High Street, Anytown"

    Raises
    ------
    UnknownName
        No such file.
    DefinitionError
        Not readable, not TOML, or not as it should be; the message names file and key.
    """
    path = Path(path)
    if not path.is_file():
        raise UnknownName(
            f"letterhead {path}: no such file",
            hint="Give the path of a TOML file with the tables [laboratory] and [customer].",
        )
    found = load_model(path, _Letterhead, hint=_known_keys())
    return Particulars(
        laboratory=found.laboratory.name,
        address=found.laboratory.address,
        location=found.laboratory.location,
        statement=found.laboratory.statement,
        customer=found.customer.name,
        customer_address=found.customer.address,
        number=found.number,
        authorised_by=found.authorised_by,
        function=found.function,
        issued_on=found.issued_on,
        received_on=found.received_on,
        order=found.order,
        condition=found.condition,
        sampling=found.sampling,
        deviations=found.deviations,
        traceability=found.traceability,
    )


def _iso_date(value: Any) -> str:
    """Return a date as ISO 8601; TOML has dates, others write them in quotes."""
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value.isoformat()
    if isinstance(value, str):
        text = value.strip()
        if not text:
            return ""
        try:
            return dt.date.fromisoformat(text).isoformat()
        except ValueError:
            pass
    raise ValueError(f"{value!s} is no date; write it as 2026-03-01")


def _holds(hidden: str) -> str:
    return f"holds the character {hidden}, which cannot be printed"


def _printed(text: str) -> str:
    """Refuse what could only be printed as a question mark: a certificate says what was given."""
    if "\n" in text:
        raise ValueError("must be one line")
    return _printed_lines(text)


def _printed_lines(text: str) -> str:
    """Do the same where lines may be."""
    hidden = unprintable(text.replace("\n", ""))
    if hidden:
        raise ValueError(_holds(hidden))
    return text


def _known_keys() -> str:
    """Return all keys of a letterhead in words."""
    tables: dict[str, type[Definition]] = {"laboratory": _Laboratory, "customer": _Customer}
    alone = [key for key in _Letterhead.model_fields if key not in (*tables, "schema_version")]
    below = [f"in [{name}] {', '.join(model.model_fields)}" for name, model in tables.items()]
    return f"A letterhead may have {', '.join(alone)}; {'; '.join(below)}."


_Plain = Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000)]
_Text = Annotated[_Plain, AfterValidator(_printed)]
_Lines = Annotated[_Plain, AfterValidator(_printed_lines)]
_Date = Annotated[str, BeforeValidator(_iso_date)]


class _Laboratory(Definition):
    name: _Text = ""
    address: _Lines = ""
    location: _Text = ""
    statement: _Lines = ""


class _Customer(Definition):
    name: _Text = ""
    address: _Lines = ""


class _Letterhead(Definition):
    schema_version: Literal[1] = Field(1, alias="schema")
    laboratory: _Laboratory = _Laboratory()
    customer: _Customer = _Customer()
    number: _Text = ""
    authorised_by: _Text = ""
    function: _Text = ""
    issued_on: _Date = ""
    received_on: _Date = ""
    order: _Text = ""
    condition: _Lines = ""
    sampling: _Lines = ""
    deviations: _Lines = ""
    traceability: _Lines = ""
