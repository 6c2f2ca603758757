"""Print verdicts, as tables or JSON, and say which exit code they mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchsweep.cli._output import print_json, print_text, table_width

if TYPE_CHECKING:
    from benchsweep.qualification import Qualified

__all__ = ["print_verdicts"]


def print_verdicts(results: Sequence[Qualified], *, as_json: bool) -> int:
    """Print every verdict and return the exit code of the whole. Several verdicts make a list in JSON."""
    from benchsweep.qualification import exit_code_of, verdict_document
    from benchsweep.report import incident_table, verdict_table

    verdicts = [(verdict, result.evaluation.measurement) for result in results for verdict in result.verdicts]
    if as_json:
        documents = [verdict_document(verdict, measurement) for verdict, measurement in verdicts]
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        width = table_width()
        texts = []
        for result in results:
            texts += [verdict_table(verdict, width=width).rstrip() for verdict in result.verdicts]
            # Below the last verdict of each measurement: all of them rest on the same sweeps.
            happened = incident_table(result.evaluation.measurement, width=width)
            texts[-1:] = [f"{text}\n{happened}" if happened else text for text in texts[-1:]]
        print_text("\n\n".join(texts))
    return exit_code_of([verdict for verdict, _ in verdicts])
