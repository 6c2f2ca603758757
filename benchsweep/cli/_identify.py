from __future__ import annotations

from typing import Annotated

import typer

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text

__all__ = ["identify"]


def identify(
    address: Annotated[
        str, typer.Argument(metavar="ADDRESS", help="VISA address, e.g. TCPIP::host::5025::SOCKET.")
    ],
    family: Annotated[
        str | None,
        typer.Option("--family", metavar="F", help="Take this command family, whatever the answers."),
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

    Example: `benchsweep identify TCPIP::192.0.2.10::5025::SOCKET`
    """
    from benchsweep.qualification import identify_address, identity_document

    identity = identify_address(address, family=family, backend=backend, timeout_s=timeout_s)
    if as_json:
        print_json(identity_document(identity, address=address))
        return
    lines = [
        f"{identity.idn}",
        f"command family  {identity.family}",
        f"ports           {identity.ports}",
        "evidence",
    ]
    lines += [f"  {probe.probe:<28} {probe.answer}" for probe in identity.evidence]
    print_text("\n".join(lines))
