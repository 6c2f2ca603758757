from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from typing import Annotated, Any

import typer

__all__ = ["simulate"]


def simulate(
    bench: Annotated[
        str, typer.Option("--bench", metavar="BENCH", help="Bench: name or .toml file.")
    ] = "default",
    specimen: Annotated[
        str,
        typer.Option(
            "--specimen",
            metavar="S",
            help="Shipped specimen, reel of a production (tollmoor-6-0001), .toml description, or Touchstone "
            ".s16p/.s8p/.s4p.",
        ),
    ] = "cord-2m",
    family: Annotated[
        str,
        typer.Option(
            "--family",
            metavar="F",
            help="Command family that the analyzer speaks: named-measurement, numbered-measurement, "
            "quoted-parameter, numbered-trace, single-channel (2 ports), sense-function (2 or 4 ports).",
        ),
    ] = "named-measurement",
    ports: Annotated[
        int | None,
        typer.Option(
            "--ports",
            metavar="N",
            help="Single-ended analyzer ports: 2, 4, 8 or 16; as many as the family has when not given.",
        ),
    ] = None,
    noiseless: Annotated[
        bool, typer.Option("--noiseless", help="No noise and no drift; the error terms stay.")
    ] = False,
    port: Annotated[
        int,
        typer.Option(
            "--port",
            metavar="N",
            help="TCP port of the analyzer's raw socket; 0 takes a free one, as all other listeners do.",
        ),
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Seed of everything that is random.")] = 1,
    relays: Annotated[
        bool,
        typer.Option(
            "--relays", help="The relay matrix, and not BENCh:CONNect, attaches what the analyzer sees."
        ),
    ] = False,
) -> None:
    """Serve the simulated analyzer and relay matrix on the loopback interface until Ctrl-C.

    The first line on stdout is JSON with the VISA addresses.

    Example: `benchsweep simulate --ports 8 --specimen cord-2m-split`
    """
    from benchsweep.simulator import BenchOptions, list_families, serve

    def announce(document: Mapping[str, Any]) -> None:
        typer.echo(json.dumps(document))
        sys.stdout.flush()

    serve(
        BenchOptions(
            bench=bench,
            specimen=specimen,
            family=family,
            ports=max(list_families().get(family, (16,))) if ports is None else ports,
            noiseless=noiseless,
            port=port,
            seed=seed,
            relays=relays,
        ),
        announce,
    )
