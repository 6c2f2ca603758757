"""The wiring check in sentences."""

from __future__ import annotations

from benchsweep.records import WiringReport
from benchsweep.report.document import Given, Line, line
from benchsweep.report.text._texts import Texts

__all__ = ["wiring_faults", "wiring_words"]


def wiring_faults(wiring: WiringReport | None) -> tuple[str, ...]:
    """Return the sentences about what is wrong with the wiring, without what only could not be told."""
    findings = () if wiring is None else wiring.findings
    return tuple(finding.words for finding in findings if finding.kind != "unclear")


def wiring_words(wiring: WiringReport | None, texts: Texts) -> tuple[Line, ...]:
    """Return the wiring check in sentences, the verdict on the wiring first."""
    if wiring is None:
        return (line(texts("wiring.not_checked")),)
    if wiring.right:
        return (line(texts("wiring.right")),)
    wrong = tuple(line(Given(words)) for words in wiring_faults(wiring))
    unclear = tuple(line(Given(found.words)) for found in wiring.findings if found.kind == "unclear")
    if wrong:
        return (line(texts("wiring.wrong")), *wrong, *unclear)
    if not unclear:
        return (line(texts("wiring.not_told")),)
    known = any(contact is not None for contact in wiring.contact_at_b)
    return (line(texts("wiring.not_certain") if known else texts("wiring.not_checked")), *unclear)
