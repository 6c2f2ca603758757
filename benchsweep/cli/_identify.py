from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text, table_width
from benchsweep.errors import UnknownFamily

if TYPE_CHECKING:
    from benchsweep.qualification import Identified

__all__ = ["identify"]

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
    """Ask an instrument which command family it speaks; queries only, nothing is set.

    An instrument of no known family ends with exit code 4; every question and answer is printed all the same.

    Example: `benchsweep identify 192.0.2.10`
    """
    from benchsweep.qualification import identity_document, who_answers

    found = who_answers(address, family=family, backend=backend, timeout_s=timeout_s, ports=ports)
    if as_json:
        print_json(identity_document(found))
    else:
        print_text("\n".join(_lines(found)))
    if found.unknown is not None:  # what was asked and answered stands above
        raise UnknownFamily(
            f"{found.address}: the command family of {found.idn!r} is not known", hint=found.unknown.hint
        )


def _lines(found: Identified) -> list[str]:
    known = found.identity
    lines = [*_row("instrument", found.idn), *_row("address", found.address)]
    if known is None:
        lines += _row("family", "not known")
    else:
        lines += _row("family", f"{known.family}: {found.title}")
        lines += _row("", f"({_STANDING.get(found.standing, found.standing)})")
        lines += _row("ports", str(known.ports))
        limits = [_limit(key, value) for key, value in known.limits.items()]
        lines += _row("limits", ", ".join(limits)) if limits else []
        for number, words in enumerate(known.lacks):
            lines += _row("" if number else "lacks", words)
    if len(found.tried) > 1 or found.tried[0].address != found.address or "First" in found.tried[0].reason:
        for number, item in enumerate(found.tried):
            lines += _row("" if number else "tried", f"{item.address}: {item.came}")
            lines += _row("", f"({item.reason})")
    width = max((len(probe.probe) for probe in found.evidence), default=0)
    for number, probe in enumerate(found.evidence):
        answer = probe.answer or "(nothing)"
        lines += _row("" if number else "evidence", f"{probe.probe:<{width}}  {answer}", hang=width + 2)
    return lines


def _row(head: str, words: str, *, hang: int = 0) -> list[str]:
    room = max(table_width() - 12, 40 + hang)
    body = textwrap.wrap(
        words, room, subsequent_indent=" " * hang, break_on_hyphens=False, drop_whitespace=True
    )
    body = body or [""]
    return [f"{head:<10}  {body[0]}".rstrip(), *(f"{'':<12}{line}" for line in body[1:])]


def _limit(key: str, value: float) -> str:
    """Write ``max_frequency_hz`` and its like in words."""
    name, _, unit = key.rpartition("_")
    words = name.replace("_", " ").replace("min ", "lowest ").replace("max ", "highest ")
    if unit == "hz":
        return f"{words} {value / 1e6:.6g} MHz"
    if unit in ("db", "dbm", "s", "m"):
        return f"{words} {value:g} {unit.replace('db', 'dB')}"
    return f"{key.replace('_', ' ').replace('max ', 'most ').replace('min ', 'fewest ')} {value:g}"
