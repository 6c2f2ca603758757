from __future__ import annotations

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_lines

__all__ = ["info"]


def info(as_json: AsJson = False) -> None:
    """Print versions, VISA libraries, command families and the folders that are searched.

    Put it into every error report.

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
    lines += ["", "command families, in the order in which they are tried"]
    width = max((len(family["name"]) for family in document["families"]), default=0)
    shipped = document["search"]["families"][-1]
    for family in document["families"]:
        own = "" if family["file"].startswith(shipped) else f", your own: {family['file']}"
        words = f"cannot be used: {family['error']}" if "error" in family else f"{family['standing']}{own}"
        lines.append(f"  {family['name']:<{width}}  {words}")
    lines += [
        "  A file of your own wins over the shipped one of the same name; put it into ./families or",
        f"  {document['search']['families'][1]}",
    ]
    lines += ["", f"your data folder  {document['data_folder']}", "definitions, first found wins"]
    for kind, folders in document["search"].items():
        lines += [f"  {kind}"] + [f"    {folder}" for folder in folders]
    print_lines(lines)
