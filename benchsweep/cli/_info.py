from __future__ import annotations

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text

__all__ = ["info"]


def info(as_json: AsJson = False) -> None:
    """Print versions, VISA libraries and the folders that are searched: put it into every error report.

    Example: `benchsweep info`
    """
    from benchsweep.qualification import info_document

    document = info_document()
    if as_json:
        print_json(document)
        return
    lines = [f"benchsweep {document['benchsweep']}, Python {document['python']}, {document['platform']}", ""]
    lines += [f"  {name:<12} {number}" for name, number in document["packages"].items()]
    lines += ["", "VISA libraries"]
    lines += [f"  {name:<12} {state}" for name, state in document["visa"].items()]
    lines += ["", f"your data folder  {document['data_folder']}", "definitions, first found wins"]
    for kind, folders in document["search"].items():
        lines += [f"  {kind}"] + [f"    {folder}" for folder in folders]
    print_text("\n".join(lines))
