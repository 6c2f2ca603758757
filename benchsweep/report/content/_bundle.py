"""Alien crosstalk of a bundle: which disturbing cables matter most, and whether enough were measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchsweep.records import AlienShare, Parameter
from benchsweep.report.content._item import ReportItem, findings_of
from benchsweep.report.content._pieces import cells, given
from benchsweep.report.document import Block, Column, Paragraph, Row, Section, Table
from benchsweep.report.text import Texts, megahertz, number, parameter_words

__all__ = ["Disturber", "bundle_section", "disturbers"]


@dataclass(frozen=True, slots=True)
class Disturber:
    """What one disturbing cable gives to a power sum.

    Parameters
    ----------
    cable
        Its number.
    mean
        Mean of its part of the disturbing power over frequency, pairs and ends, 0 to 1.
    strongest
        Where its part of the disturbing power is largest.
    pair
        Its pair that gives most; empty when not known.
    """

    cable: int
    mean: float
    strongest: AlienShare
    pair: str


def disturbers(shares: Sequence[AlienShare], parameter: Parameter) -> list[Disturber]:
    """Return the disturbing cables of an alien power sum, the one that matters most first."""
    seen = [share for share in shares if share.parameter is parameter]
    whole = [share for share in seen if share.disturbing_pair is None]
    found = []
    for cable in sorted({share.cable for share in whole}):
        of_cable = [share for share in whole if share.cable == cable]
        of_pairs = [share for share in seen if share.cable == cable and share.disturbing_pair is not None]
        pair = max(of_pairs, key=lambda share: share.band_share, default=None)
        found.append(
            Disturber(
                cable=cable,
                mean=float(np.mean([share.band_share for share in of_cable])),
                strongest=max(of_cable, key=lambda share: share.share),
                pair="" if pair is None else pair.disturbing_pair or "",
            )
        )
    return sorted(found, key=lambda one: -one.mean)


def bundle_section(
    group: Sequence[ReportItem], texts: Texts, *, drawings: Sequence[Block] = ()
) -> Section | None:
    """Return what the disturbing cables of a bundle do; None for what is no bundle.

    `drawings` are the charts of the alien parameters, which stand below the tables.
    """
    findings = findings_of(group)
    measurement = group[0].measurement
    cables = measurement.disturbing_cables
    blocks: list[Block] = []
    if cables:
        told = texts(
            "bundle.measured",
            count=len(cables),
            cables=", ".join(map(str, cables)),
            matrices=len(measurement.couplings),
        )
        blocks.append(Paragraph((told,)))
    if findings.enough_disturbers:
        blocks.append(Paragraph(given(findings.enough_disturbers)))
    tables = list(_tables(findings.shares, texts))
    blocks += tables
    if tables:
        blocks.append(Paragraph((texts("bundle.legend"),), legend=True))
    blocks += drawings
    return Section((texts("bundle.title"),), tuple(blocks)) if blocks else None


def _tables(shares: Sequence[AlienShare], texts: Texts) -> Iterator[Table]:
    columns = (
        Column(texts("bundle.cable"), number=True),
        Column(texts("bundle.mean"), number=True),
        Column(texts("bundle.largest"), number=True),
        Column(texts("bundle.there"), kept=True),
        Column(texts("bundle.at_mhz"), number=True),
        Column(texts("bundle.alone_db"), number=True),
        Column(texts("bundle.strongest_pair"), kept=True),
    )
    for parameter in (Parameter.PS_ANEXT, Parameter.PS_AACR_F):
        rows = []
        for one in disturbers(shares, parameter):
            most = one.strongest
            rows.append(
                Row(
                    cells(
                        str(one.cable),
                        _percent(one.mean),
                        _percent(most.share),
                        given(f"{most.end}, {most.pair}"),
                        megahertz(most.frequency_hz),
                        number(most.value, texts),
                        given(one.pair),
                    )
                )
            )
        if rows:
            caption = (texts("bundle.caption", parameter=parameter_words(parameter, texts)),)
            yield Table(columns, tuple(rows), caption)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"
