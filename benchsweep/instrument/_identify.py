"""Find out which command family an instrument speaks, by questions only."""

from __future__ import annotations

import re
from collections.abc import Iterable

from benchsweep.errors import BadAnswer, UnknownFamily
from benchsweep.instrument._family import Family, list_families, load_family
from benchsweep.instrument._link import ERROR_ENTRY, Link
from benchsweep.records import AnalyzerIdentity, Probe

__all__ = ["identify", "recognise"]

_MOST_PORTS = 256
_LOOKS = {
    "integer": re.compile(r"^[+-]?\d+$"),
    "quoted": re.compile(r"""^(".*"|'.*')$"""),
    "text": re.compile(r"^.+$"),
}


def identify(link: Link, family: str | None = None) -> AnalyzerIdentity:
    """Find out who answers and which command family fits. Settings are not touched.

    Parameters
    ----------
    link
        An open link.
    family
        Name or path of a family that the person chose; it overrides what the answers suggest.

    Raises
    ------
    UnknownFamily
        No family fits; the message lists every question with its answer.
    BadAnswer
        The chosen family cannot tell the number of ports.
    UnknownName, DefinitionError
        The chosen family is not there or its file is wrong.
    LinkLost, InstrumentTimeout
    """
    return recognise(link, family)[0]


def recognise(link: Link, family: str | None = None) -> tuple[AnalyzerIdentity, Family]:
    """Do the same as `identify` and also return the family itself."""
    chosen = load_family(family) if family is not None else None
    idn, evidence = _greet(link)
    if chosen is not None:
        ports, _, asked = _ask(link, chosen)
        evidence += asked
        if ports is None:
            raise BadAnswer(
                f"{link.address}: family {chosen.name}, chosen by name, does not tell the number of ports: "
                f"{_listed(asked)}",
                hint="Choose another family, or correct the probes in its file.",
            )
        return AnalyzerIdentity(idn, chosen.name, ports, evidence), chosen
    for candidate in list_families():
        ports, fits, asked = _ask(link, candidate)
        evidence += asked
        if fits and ports is not None:
            return AnalyzerIdentity(idn, candidate.name, ports, evidence), candidate
    raise _unknown(link, idn, evidence)


def _greet(link: Link) -> tuple[str, tuple[Probe, ...]]:
    idn = link.query("*IDN?")
    # Before *CLS, which clears it: has the instrument been switched on since anybody last asked?
    status = link.query("*ESR?")
    link.write("*CLS")
    queue = link.query("SYST:ERR?")
    evidence: tuple[Probe, ...] = tuple(
        Probe(*pair) for pair in (("*IDN?", idn), ("*ESR?", status), ("SYST:ERR?", queue))
    )
    if not ERROR_ENTRY.match(queue):
        raise _unknown(link, idn, evidence)
    options, error = link.probe("*OPT?")
    evidence += (Probe("*OPT?", error if options is None else options),)
    return idn, evidence


def _ask(link: Link, family: Family) -> tuple[int | None, bool, tuple[Probe, ...]]:
    """Ask the questions of `family`; return the ports when told, and whether every answer fits."""
    ports: int | None = None
    fits = True
    asked: tuple[Probe, ...] = ()
    for query, rule in family.probe_queries():
        answer, error = link.probe(query)
        link.errors()
        asked += (Probe(query, error if answer is None else answer),)
        match = ERROR_ENTRY.match(error)
        clean = match is not None and int(match[1]) == 0
        if answer is None or not clean or not _LOOKS[rule.answer].match(answer):
            fits = False
        elif rule.tells == "ports":
            ports = int(answer) if 0 < int(answer) <= _MOST_PORTS else None
    return ports, fits and ports is not None, asked


def _unknown(link: Link, idn: str, evidence: Iterable[Probe]) -> UnknownFamily:
    known = ", ".join(family.name for family in list_families())
    asked = tuple(evidence)
    return UnknownFamily(
        f"{link.address}: no known command family fits {idn!r}: {_listed(asked)}",
        idn=idn,
        evidence=tuple((item.probe, item.answer) for item in asked),
        hint=f'If you know which fits, name it in the station file (family = "…"), or give the path of a '
        f"family file of your own; known: {known}.",
    )


def _listed(evidence: Iterable[Probe]) -> str:
    return "; ".join(f"{item.probe} -> {item.answer or 'nothing'}" for item in evidence)
