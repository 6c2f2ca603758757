"""The fixture between the analyzer and the specimen, as its definition in the record has it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from benchsweep.report.content._budget import standing_line
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import Fact, fact, facts, given, name_in, table_in
from benchsweep.report.document import Given, Line, Paragraph, Section, line
from benchsweep.report.text import Texts

__all__ = ["fixture_of", "fixture_section"]

_KINDS = {"contacts": "fixture.contacts", "baluns": "fixture.baluns"}
_BALANCE = {
    "output_signal_balance_db": "fixture.output_signal_balance",
    "common_mode_rejection_db": "fixture.common_mode_rejection",
    "common_mode_return_loss_db": "fixture.common_mode_return_loss",
}


def fixture_section(group: Sequence[ReportItem], texts: Texts) -> Section:
    """Return what stood between analyzer and specimen; that there was no fixture where there was none."""
    return fixture_of(group[0].measurement.fixture_toml, texts)


def fixture_of(toml: str, texts: Texts) -> Section:
    """Return what a fixture definition says of slots, terminations, halves and balance.

    It is told as it is: a definition that no version of this program would take raises nothing here.
    """
    title = (texts("fixture.title"),)
    if not toml:
        return Section(title, (Paragraph((texts("fixture.none"),)),))
    return Section(title, (facts(_facts(toml, texts)),))


def _facts(toml: str, texts: Texts) -> Iterator[Fact]:
    data = table_in(toml)
    yield fact(
        texts("fixture.name"), given(name_in(toml)) or texts("fixture.unnamed"), _text(data, "description")
    )
    kind = _KINDS.get(str(data.get("kind")))
    yield fact(texts("fixture.kind"), _text(data, "kind") if kind is None else (texts(kind),))
    slots = _tables(data, "slot")
    if slots:
        yield fact(texts("fixture.slots"), str(len(slots)))
    termination = data.get("termination")
    if isinstance(termination, Mapping):
        own = [
            line(Given(str(leg.get("label", ""))), ": ", _load(leg, texts))
            for leg in _tables(termination, "leg")
        ]
        yield fact(texts("fixture.termination"), _load(termination, texts), *own)
    named = [
        line(Given(str(one.get("name", ""))), ": ", _load(one, texts)) for one in _tables(data, "terminator")
    ]
    yield fact(texts("fixture.terminators"), *named)
    yield fact(texts("fixture.halves"), *_halves(data, texts))
    balance = data.get("balance")
    if isinstance(balance, Mapping):
        yield fact(texts("fixture.balance"), *_balance(balance, texts))
    consistency = data.get("consistency")
    if isinstance(consistency, Mapping) and _number(consistency.get("largest_db")):
        yield fact(
            texts("fixture.disagreement"),
            line(_figure(consistency["largest_db"]), " dB"),
            _source(consistency, texts),
        )
    yield fact(texts("fixture.source"), _source(data, texts))


def _text(data: Mapping[str, Any], key: str) -> Line:
    value = data.get(key)
    return given(value) if isinstance(value, str) else ()


def _tables(data: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = data.get(key)
    return [one for one in found if isinstance(one, Mapping)] if isinstance(found, list) else []


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _figure(value: Any) -> str:
    values = value if isinstance(value, list) else [value]
    return ", ".join(f"{one:g}" if _number(one) else str(one) for one in values)


def _source(data: Mapping[str, Any], texts: Texts) -> Line:
    """Return where figures come from, and their standing."""
    source = _text(data, "source")
    words = standing_line(str(data.get("standing", "")), texts)
    return line(source, "; " if source and words else "", words)


def _load(data: Mapping[str, Any], texts: Texts) -> Line:
    """Return what a leg or a balanced port sits on."""
    told: list[Line] = []
    for key, words in (
        ("resistance_ohm", "fixture.resistance"),
        ("capacitance_pf", "fixture.capacitance"),
        ("coupling_ohm", "fixture.coupling"),
        ("differential_ohm", "fixture.differential"),
        ("common_ohm", "fixture.common"),
    ):
        if key in data:
            told.append(texts.line(words, value=Given(_figure(data[key]))))
    if "touchstone" in data:
        told.append(texts.line("fixture.measured_block", file=Given(str(data["touchstone"]))))
    return line(*(part for at, one in enumerate(told) for part in ((", ",) if at else (), one)))


def _halves(data: Mapping[str, Any], texts: Texts) -> Iterator[Line]:
    """Return what was taken away by computation, a line for each file."""
    files: dict[tuple[str, str, str], list[str]] = {}
    for half in _tables(data, "deembed"):
        split = "two_x_thru" in half
        file = str(half.get("two_x_thru" if split else "touchstone", ""))
        side = str(half.get("side", "left")) if split else ""
        inner = str(half.get("inner", ""))
        files.setdefault((file, side, inner), []).append(str(half.get("slot", "")))
    for (file, side, inner), slots in files.items():
        places = Given(", ".join(slots))
        if side:
            told = texts.line(
                "fixture.split_half", count=len(slots), slots=places, file=Given(file), side=Given(side)
            )
        else:
            told = texts.line("fixture.measured_half", count=len(slots), slots=places, file=Given(file))
        yield line(told, ", " if inner else "", given(inner))


def _balance(balance: Mapping[str, Any], texts: Texts) -> Iterator[Line]:
    """Return the balance of the baluns: constants, or that they are over frequency, and where they differ."""
    own = _tables(balance, "slot")
    for key, words in _BALANCE.items():
        if _number(balance.get(key)):
            yield texts.line(words, value=_figure(balance[key]))
        elif any(key in point for point in _tables(balance, "point")):
            values = [point[key] for point in _tables(balance, "point") if _number(point.get(key))]
            span = f"{_figure(min(values))} .. {_figure(max(values))}" if values else ""
            yield texts.line(words, value=span)
    if own:
        yield texts.line(
            "fixture.own_balance",
            count=len(own),
            slots=Given(", ".join(str(one.get("slot", "")) for one in own)),
        )
    if _number(balance.get("reserve_db")):
        yield texts.line("fixture.reserve", value=_figure(balance["reserve_db"]))
    yield _source(balance, texts)
