from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_lines, print_text, table_width
from benchsweep.errors import UsageError

__all__ = ["list_mappings"]

_NAME = re.compile(r"^name[ \t]*=[^\n]*$", re.MULTILINE)
# Kind as people and programs are told it -> kind of definition.
_KINDS = {"mapping": "mappings", "accuracy": "accuracies"}


class _Found(NamedTuple):
    kind: str
    name: str
    words: str
    file: Path
    shipped: bool
    template: bool = False
    error: str = ""


def _names(incomplete: str) -> list[str]:
    from benchsweep.testers import accuracies, mappings

    return [name for name in (*mappings(), *accuracies()) if name.startswith(incomplete)]


def list_mappings(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="NAME", autocompletion=_names, help="Print the text of this one, to be copied."
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE.toml",
            help="Write it to a new file, called by its name: mappings/OWN.toml, accuracies/OWN.toml.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List the mappings and the declared accuracies that are found, shipped ones and your own; copy one.

    A mapping is a TOML file that says what the columns of a tester's CSV mean: copy the nearest one and
    change it. An accuracy file says how far a tester may be off: copy `template` and fill it.

    Example: `benchsweep compare mappings wide-values -o mappings/our-tester.toml`
    """
    if name is not None:
        _copy(name, output, as_json=as_json)
        return
    if output is not None:
        raise UsageError("which one is to be written is not said", hint="Name one, such as `wide-values`.")
    found = [each for kind in _KINDS for each in _listed(kind)]
    if as_json:
        print_json(
            {
                "schema": "benchsweep.mappings/1",
                "found": [
                    {
                        "kind": each.kind,
                        "name": each.name,
                        "words": each.words or None,
                        "file": str(each.file),
                        "shipped": each.shipped,
                        "template": each.template,
                        "error": each.error or None,
                    }
                    for each in found
                ],
            }
        )
        return
    from benchsweep.definitions import search_folders
    from benchsweep.report import labelled_table

    entries = [
        *((kind, [_line(each) for each in found if each.kind == kind]) for kind in _KINDS),
        ("yours", [f"{kind}: ./{folder}, {search_folders(folder)[1]}" for kind, folder in _KINDS.items()]),
        (
            "copy one",
            [
                "benchsweep compare mappings wide-values -o mappings/OWN.toml",
                "benchsweep compare mappings template -o accuracies/OWN.toml",
            ],
        ),
    ]
    print_text(labelled_table(entries, width=table_width()))


def _listed(kind: str) -> list[_Found]:
    from benchsweep.definitions import list_definitions, search_folders
    from benchsweep.errors import DefinitionError
    from benchsweep.testers import load_accuracy, load_mapping

    shipped = search_folders(_KINDS[kind])[-1]
    listed = []
    for name, file in list_definitions(_KINDS[kind]).items():
        own = file.parent == shipped
        try:
            if kind == "mapping":
                listed.append(_Found(kind, name, load_mapping(name).description, file, own))
                continue
            accuracy = load_accuracy(name, may_be_template=True)
            listed.append(_Found(kind, name, accuracy.description, file, own, accuracy.template))
        except DefinitionError as error:  # one wrong file hides no other
            listed.append(_Found(kind, name, "", file, own, error=error.message))
    return listed


def _line(found: _Found) -> str:
    if found.error:
        return f"{found.name}: cannot be used: {found.error}"
    words = found.words[:1].lower() + found.words[1:] if found.template else found.words
    own = "" if found.shipped else f" ({found.file})"
    return f"{found.name}: {'a template, ' if found.template else ''}{words}{own}"


def _copy(name: str, output: Path | None, *, as_json: bool) -> None:
    """Print the text of a mapping or an accuracy file, or write it under a name of its own."""
    from benchsweep.definitions import list_definitions, offered, read_toml_text
    from benchsweep.errors import UnknownName

    known = {kind: list_definitions(folder) for kind, folder in _KINDS.items()}
    files = {kind: names[name] for kind, names in known.items() if name in names}
    if not files:
        every = sorted({each for names in known.values() for each in names})
        raise UnknownName(
            f"there is no mapping and no accuracy file {name}; there are: {offered(name, every)}",
            hint="`benchsweep compare mappings` tells what each is.",
        )
    if len(files) > 1:
        raise UsageError(
            f"{name} is a mapping and an accuracy file: {' and '.join(map(str, files.values()))}",
            hint="Copy the file itself.",
        )
    ((kind, file),) = files.items()
    text = read_toml_text(file)[1]
    if output is None and not as_json:
        print_lines(text.rstrip("\n").split("\n"))
        return
    if output is not None:
        text = _named(text, output)
        _write_new(output, text)
    if as_json:
        print_json(
            {
                "schema": "benchsweep.mapping/1",
                "kind": kind,
                "name": name,
                "from": str(file),
                "file": None if output is None else str(output),
                "text": text,
            }
        )
    else:
        print_lines([f"written: {output}"])


def _named(text: str, output: Path) -> str:
    """Return the text with the name of the new file, so that reports do not tell that of the copied one."""
    if output.suffix != ".toml":
        raise UsageError(f"{output}: is no name of a TOML file", hint="Let it end in .toml.")
    return _NAME.sub(lambda _: f"name = {json.dumps(output.stem, ensure_ascii=False)}", text, count=1)


def _write_new(path: Path, text: str) -> None:
    try:
        content = text.encode("utf-8")
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise UsageError(f"{path}: is there already", hint="Name a new file.") from None
    except (OSError, ValueError) as error:
        raise UsageError(f"{path}: cannot be written: {error}", hint="Look at folder and rights.") from error
