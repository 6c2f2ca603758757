"""A second reader of charts: plain Python by the rules of SVG and of the readout, not by what wrote them."""

from __future__ import annotations

import base64
import itertools
import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from benchsweep.report.chart import Chart, picture

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]


def unpacked(packed: dict[str, Any], scale: int = 10_000) -> list[float]:
    """Return the values that were packed, one byte after the other."""
    values: list[float] = []
    number = shift = total = 0
    for byte in base64.b64decode(packed["v"], validate=True):
        number |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            total += -(number + 1) // 2 if number % 2 else number // 2
            values.append(total / scale)
            number = shift = 0
    assert shift == 0, "the last number has an end"
    for start, stop in packed["gaps"]:
        values[start:stop] = [math.nan] * (stop - start)
    return values


def grid_of(grid: dict[str, Any]) -> list[float]:
    if "values" in grid:
        return list(grid["values"])
    return [grid["first"] + grid["step"] * i for i in range(grid["count"])]


_PART = re.compile(r"[MmLlHhVvZz]|-?(?:\d+\.?\d*|\.\d+)")


def pieces(path: str) -> list[list[Point]]:
    """Return the points of each piece of a path of straight lines (SVG 1.1, clause 8.3)."""
    found: list[list[Point]] = []
    parts = _PART.findall(path)
    assert "".join(parts) == path.replace(" ", "").replace(",", ""), "nothing but lines"
    x = y = 0.0
    i, command = 0, ""
    while i < len(parts):
        if parts[i].isalpha():
            command, i = parts[i], i + 1
            if command in "Zz":
                found[-1].append(found[-1][0])
                x, y = found[-1][0]
                continue
        if command in "Hh":
            x, i = float(parts[i]) + (x if command == "h" else 0.0), i + 1
        elif command in "Vv":
            y, i = float(parts[i]) + (y if command == "v" else 0.0), i + 1
        else:
            own = command.islower()
            x, y = float(parts[i]) + (x if own else 0.0), float(parts[i + 1]) + (y if own else 0.0)
            i += 2
        if command in "Mm":
            found.append([(x, y)])
            command = "L" if command == "M" else "l"
        else:
            found[-1].append((x, y))
    return found


def holds(polygons: list[list[Point]], x: float, y: float) -> bool:
    """Return whether a point lies in a shape: a ray from it crosses its edges an odd number of times."""
    inside = False
    for polygon in polygons:
        for (x0, y0), (x1, y1) in itertools.pairwise(polygon):
            if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
                inside = not inside
    return inside


@dataclass(frozen=True)
class Scale:
    """Where values stand, by what the readout says of a panel."""

    panel: dict[str, Any]

    def share(self, axis: str, value: float) -> float:
        told = self.panel[axis]
        if told["log"]:
            return math.log(value / told["low"]) / math.log(told["high"] / told["low"])
        return (value - told["low"]) / (told["high"] - told["low"])

    def at(self, x: float, y: float) -> Point:
        left, top, width, height = self.panel["box"]
        return left + width * self.share("x", x), top + height * (1.0 - self.share("y", y))


@dataclass(frozen=True)
class Text:
    words: str
    left: float
    right: float
    top: float
    bottom: float
    size: float
    upright: bool


class Read:
    """A chart as it was written."""

    def __init__(self, chart: Chart, *, coarse: bool = False) -> None:
        self.picture = picture(chart, coarse=coarse)
        self.root = ET.fromstring(self.picture.svg)
        _inherit(self.root, {})
        self.told = json.loads(self.picture.readout)
        self.panels = self.root.findall(f"{SVG}g[@class='panel']")

    def curve(self, place: int = 0, panel: int = 0) -> ET.Element:
        return self.panels[panel].findall(f"{SVG}g[@class='curve']")[place]

    def marks(self, panel: int = 0) -> list[ET.Element]:
        return self.panels[panel].findall(f"{SVG}g[@class='mark']")

    def limits(self, panel: int = 0) -> list[ET.Element]:
        found = self.panels[panel].findall(f"{SVG}g[@class='limits']/{SVG}path")
        return [path for path in found if path.attrib["stroke-width"] != ".5"]  # that leads to the name

    def scale(self, panel: int = 0) -> Scale:
        return Scale(self.told["panels"][panel])

    def texts(self) -> list[Text]:
        return [_text(element) for element in self.root.iter(f"{SVG}text")]

    @property
    def box(self) -> list[float]:
        return [float(part) for part in self.root.attrib["viewBox"].split()]


def _inherit(element: ET.Element, above: dict[str, str]) -> None:
    """Give words the size and the anchor of what holds them, as SVG does (1.1, clause 6.2)."""
    for name in ("font-size", "text-anchor"):
        if name in element.attrib:
            above = above | {name: element.attrib[name]}
    if element.tag == f"{SVG}text":
        element.attrib.update(above)
    for child in element:
        _inherit(child, above)


def _text(element: ET.Element) -> Text:
    words, size = element.text or "", float(element.attrib["font-size"])
    # A digit of Helvetica and of its likes is 0.556 of the size wide, most letters are narrower.
    wide = 0.556 * size * len(words)
    x, y = float(element.attrib["x"]), float(element.attrib["y"])
    left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[element.attrib.get("text-anchor", "start")]
    turned = "rotate(-90" in element.attrib.get("transform", "")
    return Text(words, left, left + wide, y - 0.72 * size, y, size, turned)


def line_of(group: ET.Element) -> list[list[Point]]:
    """Return the pieces of the line of a curve in its own colour."""
    others = (".5", ".45", ".7")  # idle and leader, band, markers
    paths = [path for path in group.findall(f"{SVG}path") if path.attrib["stroke-width"] not in others]
    assert len(paths) <= 1
    return pieces(paths[0].attrib["d"]) if paths else []


def with_look(group: ET.Element, **wanted: str) -> Iterator[ET.Element]:
    for element in group.iter():
        if all(element.attrib.get(name.replace("_", "-")) == value for name, value in wanted.items()):
            yield element
