"""Which record a section was made from, and with what: enough to find it and to check it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import Fact, embedded_away, fact, facts, given, without_comments
from benchsweep.report.document import Block, Given, Line, Listing, Paragraph, Section, line
from benchsweep.report.text import Texts

__all__ = ["definition_section", "provenance_section", "software_line"]


def provenance_section(group: Sequence[ReportItem], texts: Texts) -> Section:
    """Return record, hash, software and definitions of a group; the definitions are folded."""
    first = group[0]
    measurement = first.measurement
    blocks: list[Block] = [facts(_facts(first, texts))]
    for toml, title in (
        (measurement.fixture_toml, "provenance.fixture_definition"),
        (measurement.budget_toml, "provenance.budget_definition"),
    ):
        if toml:
            blocks.append(definition_section(toml, (texts(title),), texts))
    return Section((texts("provenance.title"),), tuple(blocks))


def _facts(item: ReportItem, texts: Texts) -> Iterator[Fact]:
    measurement = item.measurement
    yield fact(texts("provenance.record"), given(item.verdict.record) or texts("provenance.not_stored"))
    if item.content_hash:
        yield fact(
            texts("provenance.content_hash"), given(item.content_hash), texts("provenance.hash_legend")
        )
    if item.sweep is not None:
        yield fact(texts("provenance.sweep"), str(item.sweep))
    yield fact(texts("provenance.reduced_from"), given(measurement.reduced_from))
    yield fact(texts("provenance.reduced_at"), given(measurement.reduced_at))
    yield fact(texts("provenance.reason"), given(measurement.reason))
    yield fact(texts("provenance.source_file"), given(measurement.source_file))
    ports = ", ".join(f"{at} {label}" for at, label in enumerate(measurement.corrected.ports, start=1))
    yield fact(texts("provenance.ports"), given(ports))
    yield fact(texts("provenance.software"), software_line(measurement.software))


def software_line(software: Mapping[str, str]) -> Line:
    """Return the packages that took part, with their versions."""
    return line(
        *(
            part
            for at, (name, version) in enumerate(software.items())
            for part in (", " if at else "", Given(name), " ", Given(version))
        )
    )


def definition_section(toml: str, title: Line, texts: Texts) -> Section:
    """Return a definition as it was used, folded; of measured files that are kept with it their names.

    Lines that are empty or hold a comment alone are left out, and that is said.
    """
    lines, files = embedded_away(toml)
    kept = without_comments(lines)
    blocks: list[Block] = [Listing(tuple(kept))]
    if len(kept) < len(lines):
        blocks.append(Paragraph((texts("provenance.not_printed"),), legend=True))
    for name, count in files:
        told = texts.line("provenance.embedded", name=Given(name), count=count)
        blocks.append(Paragraph(told, legend=True))
    return Section(title, tuple(blocks), folded=True)
