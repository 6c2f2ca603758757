"""Charts in a page: each panel is a drawing of its own, so that they can stand one below the other."""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING

from benchsweep.report.chart import Picture

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["chart_markup"]

_ROOT = re.compile(r'<svg(?P<attributes>[^>]*?) viewBox="(?P<box>[\d. -]+)"(?P<more>[^>]*)>')
_PANEL = re.compile(r'<g class="panel" data-view="([\d. -]+)" aria-label="([^"]*)">')
_LABEL = re.compile(r' aria-label="[^"]*"| role="img"')
_MOST_ACROSS = 4


def chart_markup(picture: Picture) -> Markup:
    """Return the drawings of a chart.

    One that is not cut into panels is shown as a whole. The parts of one drawing share its definitions: these
    stand in the first.
    """
    from markupsafe import Markup

    return Markup("".join(_parts(picture)))


def _parts(picture: Picture) -> list[str]:
    svg = picture.svg
    root = _ROOT.match(svg)
    panels = list(_PANEL.finditer(svg))
    if root is None or not panels:
        return [_panel(svg, 1)]
    attributes = _LABEL.sub("", root["attributes"] + root["more"])
    _, top, whole, _ = map(float, root["box"].split())
    before = svg[root.end() : panels[0].start()]
    defined, _, names = before.rpartition("</defs>")
    if defined:
        defined += "</defs>"
    first = float(panels[0][1].split()[1])
    made = []
    if "<text" in names:
        made.append(
            f'<div class="names wide"><div class="sheet"><svg{attributes} viewBox="0 {top:g} {whole:g} '
            f'{first - top:g}" aria-hidden="true">{names}</svg></div></div>\n'
        )
        names = ""
    ends = [panel.start() for panel in panels[1:]] + [svg.rindex("</svg>")]
    for place, (panel, end) in enumerate(zip(panels, ends, strict=True)):
        inner = (defined + names if place == 0 else "") + svg[panel.start() : end]
        title = html.unescape(panel[2])
        words = ": ".join(filter(None, (picture.words, title))) if place == 0 else title or picture.words
        made.append(
            _panel(
                f'<svg{attributes} viewBox="{panel[1]}" role="img" aria-label="{html.escape(words)}">'
                f"{inner}</svg>",
                min(max(round(whole / float(panel[1].split()[2])), 1), _MOST_ACROSS),
            )
        )
    return made


def _panel(svg: str, across: int) -> str:
    return f'<div class="plot p{across}"><div class="wide"><div class="sheet">\n{svg}\n</div></div></div>\n'
