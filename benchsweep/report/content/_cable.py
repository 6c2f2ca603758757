"""The constants of a cable: impedance, velocity, delay, loss and capacitance of each pair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import CableConstants
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content._pieces import cells
from benchsweep.report.content.charts import pair_legend
from benchsweep.report.document import Block, Column, Paragraph, Row, Section, Table
from benchsweep.report.text import Texts, length_words, megahertz, number

__all__ = ["cable_section"]

_ROUTES = {"open-short": "cable.open_short", "terminated": "cable.terminated"}


@dataclass(frozen=True, slots=True)
class _Told:
    """A column: its head, its cells, and how it is said in a sentence where all cells are the same."""

    column: Column
    values: Sequence[str]
    sentence: str = ""


def cable_section(
    group: Sequence[ReportItem], texts: Texts, *, drawings: Sequence[Block] = ()
) -> Section | None:
    """Return the constants of the cable; None where none were looked for.

    `drawings` are the charts of impedance and structural return loss, which stand below the table.
    """
    constants = findings_of(group).constants
    if not constants:
        return None
    told = _columns(constants, texts)
    same = [one for one in told if one.sentence and len(set(one.values)) == 1]
    shown = [one for one in told if one not in same]
    rows = tuple(Row(cells(*(one.values[at] for one in shown))) for at in range(len(constants)))
    legend = [texts("cable.legend")]
    legend += [texts(one.sentence, value=one.values[0]) for one in same]
    legend.append(texts("cable.routes"))
    legend.append(texts("cable.made_with", length=length_words(constants[0].length_m, texts)))
    blocks: list[Block] = [
        Table(tuple(one.column for one in shown), rows),
        Paragraph((" ".join(legend),), legend=True),
    ]
    if drawings:
        charts = f"{texts('cable.charts_legend')} {pair_legend(texts)}"
        blocks += [Paragraph((charts,), legend=True), *drawings]
    return Section((texts("cable.title"),), tuple(blocks))


def _columns(constants: Sequence[CableConstants], texts: Texts) -> list[_Told]:
    def figures(key: str, values: Sequence[str], sentence: str = "") -> _Told:
        return _Told(Column(texts(key), number=True), values, sentence)

    return [
        _Told(Column(texts("cable.end")), [item.end for item in constants]),
        _Told(Column(texts("cable.pair"), kept=True), [item.pair for item in constants]),
        figures("cable.mean_impedance", [number(item.mean_impedance_ohm, texts) for item in constants]),
        figures("cable.over_mhz", [_band(item, texts) for item in constants], "cable.all_over"),
        figures("cable.k0", [number(item.fit_coefficients[0], texts) for item in constants]),
        figures("cable.velocity", [number(item.velocity_fraction, texts, 4) for item in constants]),
        figures("cable.delay", [_last(item.delay_ns_per_100m, texts) for item in constants]),
        figures("cable.attenuation", [_last(item.attenuation_db_per_100m, texts) for item in constants]),
        figures("cable.capacitance", [number(item.capacitance_nf_per_100m, texts, 3) for item in constants]),
        figures(
            "cable.low_frequency",
            [number(item.low_frequency_capacitance_nf_per_100m, texts, 3) for item in constants],
        ),
        _Told(
            Column(texts("cable.route")), [texts(_ROUTES[item.route]) for item in constants], "cable.all_by"
        ),
    ]


def _band(item: CableConstants, texts: Texts) -> str:
    low, high = item.mean_band_hz
    return texts("cable.band", low=megahertz(low), high=megahertz(high))


def _last(values: NDArray[np.float64] | None, texts: Texts) -> str:
    return number(None if values is None else float(values[-1]), texts, 1)
