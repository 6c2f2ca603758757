"""Requirements as a person reads them on a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

__all__ = ["list_text", "show_text"]

_LABEL = 12
_VALUE = 17
_STANDINGS = {
    "published": "checked against a printed value",
    "common-practice": "common practice in the trade",
    "from-memory": "recalled: verify it against your own copy of the standard",
}
_PLACES = {
    "path": "the file that was named",
    "working folder": "the working folder comes before the data folder and what is shipped",
    "data folder": "the data folder comes before what is shipped",
    "shipped": "no file of that name lies in the working folder or the data folder",
}
_FORMS = {
    "proportional": "x {r:g}/L",
    "incoherent": "x - 10 log({r:g}/L)",
    "saturating": "x - 10 log((1 - 10^(-A{r:g}/5)) / (1 - 10^(-AL/5))), A the insertion loss over {r:g} m "
    "and over L; not corrected above {r:g} m",
}


def list_text(document: Mapping[str, Any], *, width: int) -> str:
    """Return ``benchsweep.requirements/1`` as text: one line for each, then what overrules what."""
    found = document["requirements"]
    longest = max((len(item["requirement"]) for item in found), default=11)
    lines = [f"{'requirement':<{longest}}  {'standing':<15}  {'from':<14}  title"]
    lines += [
        f"{item['requirement']:<{longest}}  {item['standing']:<15}  {item['origin']:<14}  {item['title']}"
        for item in found
    ]
    lines += [
        "",
        *_wrapped(
            "A name stands for the first file found: in the working folder, ./requirements/, "
            "then in the data folder, then what is shipped.",
            width,
        ),
    ]
    own = [item["requirement"] for item in found if item["origin"] != "shipped"]
    for item in found:
        if item["origin"] != "shipped":
            lines += _wrapped(_why(item), width)
            lines += _followers(item["requirement"], found, own, width)
    for standing in ("common-practice", "from-memory"):
        if any(item["standing"] == standing for item in found):
            lines += _wrapped(
                f"{standing}: {_STANDINGS[standing]}; of a requirement it is the weakest standing "
                "among its lines (limits show)",
                width,
            )
    if document["broken"]:
        lines += ["", "broken, and not in force:"]
    for item in document["broken"]:
        lines += _wrapped(f"{item['requirement']}: {item['problem']}", width, indent=2)
        lines += _wrapped(item["hint"], width, indent=4)
        if item["overrules"]:
            lines += _wrapped(f"it hides {', '.join(item['overrules'])}", width, indent=4)
    return "\n".join(lines)


def _followers(name: str, found: Sequence[Mapping[str, Any]], own: Sequence[str], width: int) -> list[str]:
    """Return which shipped requirements change with a laboratory's file because it is their base."""
    lines = []
    for item in found:
        if item["base"] == name and item["requirement"] not in own:
            words = f"{item['requirement']}: a variant of {name}, so it follows the file above"
            lines += _wrapped(words, width, indent=2)
            lines += _followers(item["requirement"], found, own, width)
    return lines


def _why(item: Mapping[str, Any]) -> str:
    words = f"{item['requirement']}: {item['file']} is in force"
    if item["overrules"]:
        return f"{words} and overrules {', '.join(item['overrules'])}"
    return f"{words}; no other file has that name"


def show_text(document: Mapping[str, Any], *, width: int) -> str:
    """Return ``benchsweep.requirement/1`` as text: what it is, its rules, lines with formulas and values."""
    lines = _wrapped(f"{document['title']} ({document['requirement']})", width)
    for label, text in _head(document):
        lines += _entry(label, text, width)
    for line in document["lines"]:
        lines += ["", *_line_text(line, document["length_m"], width)]
    return "\n".join(lines)


def _head(document: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    yield "edition", f"{document['body']}: {document['edition']}"
    yield "source", document["source"]
    yield "checked", document["checked"]
    yield "note", document["note"]
    yield "standing", f"{document['standing']} ({_STANDINGS[document['standing']]}), the weakest of its lines"
    if document.get("file"):
        overruled = f"; it overrules {', '.join(document['overrules'])}" if document["overrules"] else ""
        yield (
            "in force",
            f"{document['file']} ({document['origin']}: {_PLACES[document['origin']]}){overruled}",
        )
    if document["base"]:
        yield "variant of", f"{document['base']}: what this file does not give is taken over from there"
    if document["contains_uncertainty"]:
        yield "uncertainty", "allowed for in the limits already: no guard band is taken"
    yield from _rules(document)


def _rules(document: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    length = document["length"]
    if length:
        yield (
            "length",
            f"usually at most {length['maximum_m']:g} m ({_origin(length)}); it decides nothing. "
            f"{length['note']}",
        )
    temperature = document["temperature"]
    if temperature:
        slopes = "; ".join(
            f"{piece['construction']} {100.0 * piece['per_k']:g} %/K from {piece['from_degc']:g} to "
            f"{piece['to_degc']:g} degC"
            for piece in temperature["slopes"]
        )
        yield (
            "temperature",
            f"insertion loss holds at {temperature['reference_degc']:g} +- {temperature['tolerance_k']:g} "
            f"degC; beyond, it is divided by 1 + the slope times the kelvins: {slopes} "
            f"({_origin(temperature)}). {temperature['note']}",
        )
    normalise = document["normalise"]
    if normalise:
        yield "reference", f"the limits hold for {normalise['length_m']:g} m; measured on L metres:"
        for rule in normalise["rules"]:
            form = _FORMS[rule["form"]].format(r=normalise["length_m"])
            yield "", f"{', '.join(rule['parameters'])}: {form} ({_origin(rule)}). {rule['note']}"
        yield "", "all others are taken as measured"
    for place, item in enumerate(document["dc"]):
        label = "" if place else "dc"
        yield (
            label,
            f"{item['quantity']} at most {item['maximum']:g} {item['unit']}, not graded: a network analyzer "
            f"does not measure it ({_origin(item)}). {item['note']}",
        )


def _origin(rule: Mapping[str, Any]) -> str:
    return f"{rule['standing']}: {rule['source']}"


def _line_text(line: Mapping[str, Any], length_m: float | None, width: int) -> list[str]:
    bound = "at least" if line["sense"] == "min" else "at most"
    lines = _wrapped(
        f"{line['parameter']}, {bound}, in {line['unit']}: {line['standing']}, {line['source']}", width
    )
    lines += _bands(line, width)
    for join in line["joins"]:
        lines += _wrapped(
            f"join at {join['frequency_hz'] / 1e6:g} MHz: {join['below']:.2f} below, "
            f"{join['above']:.2f} above; the lower band holds the edge",
            width,
            indent=2,
        )
    if line["cap"] is not None:
        lines.append(f"  not above {line['cap']:g} {line['unit']}: a limit above it is taken as that (cap)")
    if line["floor"] is not None:
        lines.append(
            f"  not below {line['floor']:g} {line['unit']}: a limit below it is taken as that (floor)"
        )
    exempt = line["does_not_count_where"]
    if exempt:
        known = f" ({line['does_not_count_standing']}; {line['does_not_count_note']})"
        lines += _wrapped(f"does not count where {exempt}{known}", width, indent=2)
    if line["insertion_loss_of"]:
        pair = line["insertion_loss_of"].replace("-", " ")
        lines.append(f"  FEXT less the insertion loss of the {pair}")
    if line["note"]:
        lines += _wrapped(line["note"], width, indent=2)
    if not line["values"]:
        return [*lines, "  values need --length-m"]
    if length_m is not None and line.get("needs_length"):
        lines.append(f"  for {length_m:g} m:")
    return [
        *lines,
        *_values(line["values"], width, where="in every band" if _gaps(line) else "at every frequency"),
    ]


def _bands(line: Mapping[str, Any], width: int) -> list[str]:
    """Return the formula of every band, and between them where no limit is set."""
    lines = []
    gaps = _gaps(line)
    for band in line["bands"]:
        other = f" ({band['standing']})" if band["standing"] != line["standing"] else ""
        step = f" (steps here: {band['step']})" if band.get("step") else ""
        where = f"{band['from_mhz']:g} to {band['to_mhz']:g} MHz: "
        lines += _wrapped(f"{where}{band['formula']}{other}{step}", width, indent=2)
        if band["to_mhz"] in gaps:
            lines.append(f"  no limit between {band['to_mhz']:g} and {gaps[band['to_mhz']]:g} MHz")
    return lines


def _gaps(line: Mapping[str, Any]) -> dict[float, float]:
    """Return from where to where, in MHz, no limit is set between two bands."""
    return {
        lower["to_mhz"]: upper["from_mhz"]
        for lower, upper in zip(line["bands"], line["bands"][1:], strict=False)
        if upper["from_mhz"] > lower["to_mhz"]
    }


def _values(values: Sequence[Mapping[str, float]], width: int, *, where: str) -> list[str]:
    """Return the values in columns that read from left to right; one, and `where`, where all are the same."""
    if len({value["value"] for value in values}) == 1:
        return [f"  {values[0]['value']:.1f} {where}"]
    cells = [f"{value['frequency_hz'] / 1e6:g} MHz {value['value']:.1f}" for value in values]
    across = max((width - 2) // _VALUE, 1)
    return [
        "  " + "".join(f"{cell:<{_VALUE}}" for cell in cells[start : start + across]).rstrip()
        for start in range(0, len(cells), across)
    ]


def _entry(label: str, text: str, width: int) -> list[str]:
    if not text:
        return []
    return textwrap.wrap(
        f"{label:<{_LABEL}}{text}",
        width,
        subsequent_indent=" " * _LABEL,
        break_long_words=False,
        break_on_hyphens=False,
        drop_whitespace=True,
        initial_indent="",
    )


def _wrapped(text: str, width: int, *, indent: int = 0) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + 2),
        break_long_words=False,
        break_on_hyphens=False,
    )
