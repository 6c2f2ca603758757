from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_lines, table_width
from benchsweep.errors import UnknownFamily

if TYPE_CHECKING:
    from benchsweep.qualification import Identified
    from benchsweep.records import AnalyzerIdentity

__all__ = ["identify"]

# An honest answer may well be longer than what is left of one that is cut.
_LONGEST_ANSWER = 100
_CUT_TO = 60
_STANDING = {
    "published": "its spellings are published",
    "common-practice": "its spellings are common practice, not checked against an instrument by the authors",
    "from-memory": "the spellings of this family are from memory: check the first results",
}


def identify(
    address: Annotated[
        str,
        typer.Argument(
            metavar="ADDRESS",
            help="VISA address, e.g. TCPIP::host::5025::SOCKET; or a host name or IPv4 address alone, "
            "at which the usual addresses are tried in turn.",
        ),
    ],
    family: Annotated[
        str | None,
        typer.Option("--family", metavar="F", help="Take this command family, whatever the answers."),
    ] = None,
    ports: Annotated[
        int | None,
        typer.Option(
            "--ports", metavar="N", min=1, help="Number of ports, for an analyzer that cannot tell it."
        ),
    ] = None,
    backend: Annotated[
        str, typer.Option("--backend", metavar="LIB", help="VISA library for pyvisa.")
    ] = "@py",
    timeout_s: Annotated[
        float, typer.Option("--timeout-s", metavar="S", help="Longest wait for one answer.")
    ] = 5.0,
    as_json: AsJson = False,
) -> None:
    """Ask an instrument which command family it speaks; no setting is touched.

    Questions only, and `*CLS`: it clears the error queue, read into the evidence before, and event registers.

    An instrument of no known family ends with exit code 4; every question and answer is printed all the same.

    Example: `benchsweep identify 192.0.2.10`
    """
    from benchsweep.qualification import identity_document, who_answers

    found = who_answers(address, family=family, backend=backend, timeout_s=timeout_s, ports=ports)
    if as_json:
        print_json(identity_document(found))
    else:
        print_lines(_lines(found))
    if found.unknown is not None:  # what was asked and answered stands above
        raise UnknownFamily(
            f"{found.address}: the command family of this instrument is not known", hint=found.unknown.hint
        )


def _lines(found: Identified) -> list[str]:
    known = found.identity
    lines = [*_row("instrument", _cut(found.idn)), *_row("address", found.address)]
    if known is None:
        lines += _row("family", "not known")
    else:
        lines += _row("family", f"{known.family}: {found.title}")
        lines += _row("", f"({_STANDING.get(found.standing, found.standing)})")
        lines += _row("ports", _ports(known))
        lines += _row("range", _range(known.limits)) if known.limits else []
        for number, words in enumerate(known.lacks):
            lines += _row("" if number else "lacks", f"- {words}", hang=2)
    if found.tried[0].came != "answered":
        for number, item in enumerate(found.tried):
            lines += _row("" if number else "tried", f"{item.address}: {item.came}")
            lines += _row("", f"({item.reason})")
    elif len(found.tried) == 1 and found.tried[0].reason.startswith("First"):
        lines += _row("tried", f"this address first. {found.tried[0].reason.removeprefix('First: ')}")
    # Not wrapped: this is to be copied and sent.
    width = max((len(probe.probe) for probe in found.evidence), default=0)
    lines += ["", "evidence: each question and its answer"]
    for probe in found.evidence:
        # Who it is stands at the head; a word of ours is no answer that somebody else could have sent.
        said = probe.answer if probe.probe.startswith(("family file", "*CLS")) else _cut(probe.answer)
        if probe.probe == "*IDN?" and said != probe.answer:
            said = "(see above)"
        lines.append(f"  {probe.probe:<{width}}  {said or '(nothing)'}")
    return lines


def _cut(answer: str) -> str:
    """Return an answer of an instrument, which may be anything, no longer than a person reads."""
    if len(answer) <= _LONGEST_ANSWER:
        return answer
    return f"{answer[:_CUT_TO]}… ({len(answer)} characters; --json has all)"


def _row(head: str, words: str, *, hang: int = 0) -> list[str]:
    room = max(table_width() - 12, 40)
    body = textwrap.wrap(words, room, subsequent_indent=" " * hang, break_on_hyphens=False) or [""]
    return [f"{head:<10}  {body[0]}".rstrip(), *(f"{'':<12}{line}" for line in body[1:])]


def _ports(known: AnalyzerIdentity) -> str:
    told = [probe.answer for probe in known.evidence if probe.probe == "number of ports"]
    if any("assumed" in answer for answer in told):
        return f"{known.ports} (assumed: the analyzer does not tell; --ports N if it has more)"
    return str(known.ports)


def _range(limits: Mapping[str, float]) -> str:
    """Write what the analyzer says of its own range in words; what has no words yet, as it stands."""
    left = dict(limits)
    low, high = left.pop("min_frequency_hz", None), left.pop("max_frequency_hz", None)
    points = left.pop("max_points", None)
    parts = []
    if low is not None or high is not None:
        parts.append(f"{'?' if low is None else _hertz(low)} to {'?' if high is None else _hertz(high)}")
    if points is not None:
        parts.append(f"at most {points:.0f} points in one sweep")
    return ", ".join(parts + [f"{key} {value:g}" for key, value in left.items()])


def _hertz(value: float) -> str:
    for size, unit in ((1e9, "GHz"), (1e6, "MHz"), (1e3, "kHz")):
        if value >= size:
            return f"{value / size:.6g} {unit}"
    return f"{value:.6g} Hz"
