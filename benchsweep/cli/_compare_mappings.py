from __future__ import annotations

from collections.abc import Callable
from typing import Any

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text, table_width

__all__ = ["list_mappings"]


def list_mappings(as_json: AsJson = False) -> None:
    """List the mappings and the declared accuracies that are found, shipped ones and your own.

    A mapping is a TOML file that says what the columns of a tester's CSV mean; copy the nearest one.

    Example: `benchsweep compare mappings`
    """
    from benchsweep.errors import DefinitionError
    from benchsweep.testers import accuracies, load_accuracy, load_mapping, mappings

    def words(load: Callable[..., Any], name: str) -> str:
        try:
            return str(load(name).description)
        except DefinitionError as error:  # one wrong file hides no other; a template wants to be filled
            return error.message

    found = [
        *(("mapping", name, words(load_mapping, name)) for name in mappings()),
        *(("accuracy", name, words(load_accuracy, name)) for name in accuracies()),
    ]
    if as_json:
        print_json(
            {
                "schema": "benchsweep.mappings/1",
                "found": [{"kind": kind, "name": name, "words": told} for kind, name, told in found],
            }
        )
        return
    from benchsweep.report import labelled_table

    entries = [
        (kind, [f"{name}: {told}" for each, name, told in found if each == kind])
        for kind in ("mapping", "accuracy")
    ]
    print_text(labelled_table(entries, width=table_width()))
