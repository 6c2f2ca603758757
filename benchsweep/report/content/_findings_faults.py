"""What is wrong with a specimen, and where."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Fault
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content._pieces import given
from benchsweep.report.content._verdict import fails
from benchsweep.report.document import Block, Given, Items, Line, Paragraph, Section, line
from benchsweep.report.text import Texts, origins_words

__all__ = ["fault_line", "faults_section"]


def faults_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return the faults that were found with their evidence, and from where comes what fails.

    None when nothing was found. Of a specimen that fails it is said, too, that nothing was.
    """
    findings = findings_of(group)
    failing = fails(group)
    looked = findings.faults or (failing and (findings.origins or findings.why_no_profiles))
    if not looked:
        return None
    blocks: list[Block] = []
    if findings.faults:
        blocks.append(Items(tuple(fault_line(fault) for fault in findings.faults), numbered=True))
    elif findings.why_no_profiles:
        why = Given(findings.why_no_profiles)
        blocks.append(Paragraph(texts.line("faults.no_name_no_place", why=why)))
    else:
        blocks.append(Paragraph((texts("faults.no_name"),)))
    if findings.origins:
        blocks.append(Paragraph((texts("faults.origins"),)))
        blocks.append(Items(origins_words(findings.origins, texts)))
    return Section((texts("faults.title" if failing else "faults.stands_out"),), tuple(blocks))


def fault_line(fault: Fault) -> Line:
    """Return a fault in words, with what it was told by."""
    evidence: Line = ()
    for words in fault.evidence:
        evidence = line(evidence, "; " if evidence else "", Given(words))
    return line(given(fault.words), " (" if evidence else "", evidence, ")" if evidence else "")
