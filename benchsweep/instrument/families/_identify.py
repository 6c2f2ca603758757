"""Find out which command family an instrument speaks, by questions; the one command sent is ``*CLS``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.errors import BadAnswer, InstrumentTimeout, UnknownFamily, UsageError
from benchsweep.instrument.families._family import (
    Family,
    KnownFamilies,
    ProbeRule,
    known_families,
    load_family,
)
from benchsweep.instrument.links import ERROR_ENTRY, Link
from benchsweep.records import AnalyzerIdentity, Probe

__all__ = ["identify", "recognise"]

_MOST_PORTS = 256
_LOOKS = {
    "integer": re.compile(r"[+-]?\d+"),
    "integers": re.compile(r"""["']?([+-]?\d+(\s*,\s*[+-]?\d+)*)?["']?"""),
    "quoted": re.compile(r"""".*"|'.*'"""),
    "parameter": re.compile(r"""["']?S\d+(_\d+)?["']?"""),
    "number": re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([Ee][+-]?\d+)?"),
    "text": re.compile(r".+"),
}
# Undefined header, suffix out of range: the answer that ``missing`` wants.
_MISSING = frozenset({-113, -114})
# In a message; the whole stands in the evidence.
_LONGEST_ANSWER = 100
_CUT_TO = 60
_CLEARED = "no question: clears the error queue, which was read before, and the event registers"
_OLD = (
    "An analyzer from before SCPI (its commands are words such as OUTPIDEN) and one that has only a private "
    "command tree cannot be driven; nor can anything that is no analyzer."
)


@dataclass(slots=True)
class _Asked:
    """Questions asked so far; none is asked twice, unless its answer is doubted."""

    link: Link
    evidence: list[Probe] = field(default_factory=list)
    known: dict[str, tuple[str | None, int]] = field(default_factory=dict)

    def ask(self, query: str, *, again: bool = False) -> tuple[str | None, int]:
        """Return the answer or None, and the number of the error that came with it (0: none)."""
        if again or query not in self.known:
            answer, error = self.link.probe(query)
            match = ERROR_ENTRY.match(error)
            code = int(match[1]) if match is not None else 0
            if code != 0:
                self.link.errors()
            before = self.known.get(query)
            self.known[query] = answer, code
            if before != (answer, code):
                self.note(query, error if answer is None or code else answer)
        return self.known[query]

    def note(self, query: str, answer: str) -> None:
        """Keep a question with its answer as evidence."""
        self.evidence.append(Probe(query, answer))


def identify(link: Link, family: str | None = None, ports: int | None = None) -> AnalyzerIdentity:
    """Find out who answers and which command family fits.

    Settings are not touched; ``*CLS`` clears the error queue, which is read into the evidence before.

    Parameters
    ----------
    link
        An open link.
    family
        Name or path of a family that the person chose; it overrides what the answers suggest.
    ports
        Number of ports, where the analyzer cannot tell it.

    Raises
    ------
    UnknownFamily
        No family fits; the message lists every question with its answer.
    BadAnswer
        The chosen family cannot tell the number of ports.
    UsageError
        `ports` contradicts the analyzer.
    UnknownName, DefinitionError
        The chosen family is not there or its file is wrong.
    LinkLost, InstrumentTimeout
    """
    return recognise(link, family, ports)[0]


def recognise(
    link: Link, family: str | None = None, ports: int | None = None
) -> tuple[AnalyzerIdentity, Family]:
    """Do the same as `identify` and also return the family itself."""
    chosen = load_family(family) if family is not None else None
    known = KnownFamilies((chosen,), {}) if chosen is not None else known_families()
    asked = _Asked(link)
    idn = _greet(asked)
    for path, wrong in known.wrong.items():
        asked.note(f"family file {path.name}", f"not usable: {wrong.message}")
    for candidate in known.usable:
        fits, told = _try(asked, candidate, everything=chosen is not None)
        if fits or chosen is not None:
            count = _count_ports(link, candidate, told, ports, asked)
            limits = _ask_limits(asked, candidate)
            identity = AnalyzerIdentity(
                idn, candidate.name, count, tuple(asked.evidence), limits, candidate.lacks
            )
            return identity, candidate
    raise _unknown(link, idn, asked.evidence, known)


def _greet(asked: _Asked) -> str:
    link = asked.link
    try:
        idn = link.query("*IDN?")
        asked.note("*IDN?", idn)
        # Before *CLS, which clears it: has the instrument been switched on since anybody last asked?
        asked.note("*ESR?", link.query("*ESR?"))
    except InstrumentTimeout as error:
        # What to check comes first: most often it is the address, seldom such an old analyzer.
        error.hint = f"{error.hint}. {_OLD}"
        raise
    _read_queue(asked, idn)
    link.write("*CLS")
    asked.note("*CLS", _CLEARED)
    asked.ask("*OPT?")
    return idn


def _read_queue(asked: _Asked, idn: str) -> None:
    """Read the error queue into the evidence, before ``*CLS`` clears it.

    Raises
    ------
    UnknownFamily
        There is none. Where nothing at all came, the time-out is its cause: that may have been the link.
    """
    link = asked.link
    match = None
    for _ in range(2):  # one answer that makes no sense may be a late one
        try:
            queue = link.query("SYST:ERR?")
        except InstrumentTimeout as error:
            asked.note("SYST:ERR?", "")
            raise _no_scpi(link, idn, asked.evidence) from error
        asked.note("SYST:ERR?", queue)
        match = ERROR_ENTRY.match(queue)
        if match is not None:
            break
    if match is None:
        raise _no_scpi(link, idn, asked.evidence)
    if int(match[1]) != 0:
        for number, text in link.errors():
            asked.note("SYST:ERR?", f'{number},"{text}"')


def _try(asked: _Asked, family: Family, *, everything: bool) -> tuple[bool, int | None]:
    """Ask the questions of `family`; return whether every answer fits, and the ports when told.

    After the first answer that does not fit no more is asked, unless `everything` is.
    """
    fits = True
    told: int | None = None
    for query, rule in family.probe_queries():
        answer, code = asked.ask(query)
        good = _looks_right(rule, answer, code)
        if not good and code not in _MISSING:
            # Not a plain "no such command": a fault that passes must not make another family of it.
            answer, code = asked.ask(query, again=True)
            good = _looks_right(rule, answer, code)
        if good and rule.tells == "ports" and answer is not None:
            told = int(answer) if 0 < int(answer) <= _MOST_PORTS else None
            good = told is not None
        fits = fits and good
        if not fits and not everything:
            break
    return fits, told


def _looks_right(rule: ProbeRule, answer: str | None, code: int) -> bool:
    if rule.answer == "missing":
        return answer is None and code in _MISSING
    return answer is not None and code == 0 and _LOOKS[rule.answer].fullmatch(answer) is not None


def _count_ports(link: Link, family: Family, told: int | None, said: int | None, asked: _Asked) -> int:
    """Return the number of ports: as told by the instrument, as fixed, as somebody said, as assumed."""
    known = told if told is not None else family.fixed_ports
    if known is not None:
        if said is not None and said != known:
            raise UsageError(
                f"{link.address}: the analyzer has {known} ports, not {said}",
                hint="Correct the number of ports in the station file, or leave it out.",
            )
        return known
    if said is not None:
        asked.note("number of ports", f"{said}, as said by the station; the analyzer does not tell")
        return said
    if family.assumed_ports is not None:
        asked.note("number of ports", f"{family.assumed_ports}, assumed; the analyzer does not tell")
        return family.assumed_ports
    raise BadAnswer(
        f"{link.address}: family {family.name}, chosen by name, does not tell the number of ports: "
        f"{_listed(asked.evidence)}",
        hint="Choose another family, or correct the probes in its file.",
    )


def _ask_limits(asked: _Asked, family: Family) -> Mapping[str, float]:
    """Ask for the range of the instrument; it need not know these questions."""
    limits: dict[str, float] = {}
    for name, template in family.limits.items():
        answer, code = asked.ask(family.spell(template))
        if answer is None and not asked.link.stream:
            break  # each unknown question costs its time-out there
        if answer is not None and code == 0 and _LOOKS["number"].fullmatch(answer):
            limits[name] = float(answer)
    return MappingProxyType(limits)


def _no_scpi(link: Link, idn: str, evidence: Iterable[Probe]) -> UnknownFamily:
    asked = tuple(evidence)
    return UnknownFamily(
        f"{link.address}: {_cut(repr(idn))} has no SCPI error queue, so it is no SCPI instrument: "
        f"{_listed(asked)}",
        idn=idn,
        evidence=_pairs(asked),
        hint=_OLD,
    )


def _unknown(link: Link, idn: str, evidence: Iterable[Probe], known: KnownFamilies) -> UnknownFamily:
    names = ", ".join(family.name for family in known.usable)
    wrong = "".join(f" Not usable: {error.message}." for error in known.wrong.values())
    asked = tuple(evidence)
    return UnknownFamily(
        f"{link.address}: not known: no command family fits {_cut(repr(idn))}: {_listed(asked)}",
        idn=idn,
        evidence=_pairs(asked),
        hint=f'If you know which fits, name it in the station file (family = "…"), or give the path of a '
        f"family file of your own; known: {names}.{wrong}",
    )


def _pairs(evidence: tuple[Probe, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((item.probe, item.answer) for item in evidence)


def _listed(evidence: Iterable[Probe]) -> str:
    """Return questions and answers in one line; who it is stands before it."""
    return "; ".join(
        f"{item.probe} -> {_cut(item.answer) or 'nothing'}"
        for item in evidence
        if item.probe not in ("*IDN?", "*CLS") and not item.probe.startswith("family file")
    )


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_ANSWER else f"{text[:_CUT_TO]}…"
