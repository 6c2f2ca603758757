from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchsweep.calibration._kit_files import Measurable
from benchsweep.calibration._methods import EXCHANGE, Method, NeededStandards, needed_names
from benchsweep.definitions import Definition, find_definition, load_model

__all__ = [
    "Acceptance",
    "ExchangeStandard",
    "Kit",
    "LineUncertainty",
    "LoadStandard",
    "LoadUncertainty",
    "OffsetLine",
    "OpenStandard",
    "OpenUncertainty",
    "ReciprocalStandard",
    "ReflectStandard",
    "ShortStandard",
    "ShortUncertainty",
    "Spread",
    "Standard",
    "ThruStandard",
    "Uncertainty",
    "load_kit",
    "needed_standards",
]

FiniteFloat = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Polynomial = Annotated[tuple[FiniteFloat, ...], Field(min_length=1, max_length=4)]
"""Coefficients in frequency: constant, per Hz, per Hz squared, per Hz cubed."""
Numbered = Annotated[str, Field(pattern=r"^[1-9][0-9]?$")]


class OffsetLine(Definition):
    """The line between the reference plane and what terminates it, or the whole of a through connection.

    Loss is that of a skin-effect line, in gigaohm per second at 1 GHz, and goes with the square root of
    frequency; it raises the characteristic impedance and the delay a little, too.
    """

    delay_ps: NotNegative = 0.0
    loss_gohm_per_s: NotNegative = 0.0
    z0_ohm: Positive = 50.0


class Spread(Definition):
    """A standard uncertainty that may grow with frequency: ``constant + per_ghz * f / GHz``."""

    constant: NotNegative = 0.0
    per_ghz: NotNegative = 0.0


class Uncertainty(Definition):
    """Standard uncertainty (one sigma) of a definition, of the real and imaginary part of its S-parameters.

    For standards whose data are a file, and on top of what a model says. Of a two-port it holds for each of
    its reflections and transmissions.
    """

    real: Spread = Spread()
    imaginary: Spread = Spread()


class OpenUncertainty(Uncertainty):
    """Standard uncertainty of the constant part of the fringe capacitance."""

    capacitance_farad: NotNegative = 0.0


class ShortUncertainty(Uncertainty):
    """Standard uncertainty of the constant part of the inductance."""

    inductance_henry: NotNegative = 0.0


class LoadUncertainty(Uncertainty):
    """Standard uncertainty of resistance and of the constant part of the inductance."""

    resistance_ohm: NotNegative = 0.0
    inductance_henry: NotNegative = 0.0


class LineUncertainty(Uncertainty):
    """Standard uncertainty of delay and characteristic impedance of a through connection or line."""

    delay_ps: NotNegative = 0.0
    z0_ohm: NotNegative = 0.0


class Standard(Measurable):
    """What all standards have: whether one piece serves all ports, and how well the definition is known."""

    same_piece: bool = True
    """One piece is used at all ports, so that its deviation is the same at all of them."""
    uncertainty: Uncertainty = Uncertainty()


class OpenStandard(Standard):
    """An open end: a fringe capacitance to ground behind an offset line."""

    capacitance_farad: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()
    uncertainty: OpenUncertainty = OpenUncertainty()


class ShortStandard(Standard):
    """A short: a series inductance to ground behind an offset line."""

    inductance_henry: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()
    uncertainty: ShortUncertainty = ShortUncertainty()


class LoadStandard(Standard):
    """A load: resistance and inductance in series to ground behind an offset line."""

    resistance_ohm: Positive | None = None
    inductance_henry: Polynomial = (0.0,)
    offset: OffsetLine = OffsetLine()
    uncertainty: LoadUncertainty = LoadUncertainty()

    @model_validator(mode="after")
    def _has_a_resistance(self) -> Self:
        if self.resistance_ohm is None and self.touchstone is None:
            raise ValueError("resistance_ohm: this key is missing (or touchstone)")
        return self


class ReflectStandard(Definition):
    """A reflection that is unknown but the same at all ports; only its sign has to be known."""

    near: Literal["short", "open"] = "short"
    """Which of the two it resembles."""
    delay_ps: NotNegative = 0.0
    """Estimate of the one-way delay before it; the phase must be right within 90 degrees."""


class ThruStandard(Standard):
    """A through connection between two ports: a line of known delay, loss and impedance."""

    ports = 2

    offset: OffsetLine = OffsetLine()
    uncertainty: LineUncertainty = LineUncertainty()


class ReciprocalStandard(Definition):
    """A two-port of which only is known that it is passive and reciprocal, and roughly its delay."""

    delay_ps: NotNegative = 0.0
    """Estimate of the delay; the phase must be right within 90 degrees."""


class ExchangeStandard(Standard):
    """Behind a tapped balun: the short of the kit on the positive leg, its open on the negative leg.

    It turns half of the differential into the common mode and back: transmission ``(G_short - G_open) / 2``,
    both reflections ``(G_short + G_open) / 2`` (modal transform of ``diag(G_short, G_open)`` with the
    differential port at 100 ohm and the common-mode port at 25 ohm; Bockelman and Eisenstadt, IEEE MTT 43,
    1995).
    """

    ports = 2


class Acceptance(Definition):
    """When a solved calibration is refused because the standards cannot have been what the plan said.

    The defaults are wide: they catch a standard that was forgotten or exchanged, not a worn one.
    """

    smallest_separation: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.35
    """Two standards of one port must differ by at least this part of what the most distinct two differ by,
    each measured against its definition."""
    largest_thru_residual_db: FiniteFloat = -30.0
    """How far a corrected through connection may be from its definition."""
    doubtful_thru_residual_db: FiniteFloat = -45.0
    """From here on `quality` warns: contacts and drift of a good bench stay below."""
    smallest_separation_deg: Annotated[float, Field(ge=0.0, lt=120.0)] = 20.0
    """`quality` warns where two one-port standards are closer: the angle whose chord in the unit circle is as
    long as they are apart, so that short and open are 180 degrees apart and a match is 60 from both."""
    open_reads_positive: bool = True
    """The raw reflection of an open is near +1 at low frequencies, as it is unless the analyzer's bridges
    invert. Only that tells when open and short were exchanged at all ports."""
    smallest_line_phase_deg: Annotated[float, Field(ge=0.0, lt=90.0)] = 20.0
    """How far from a multiple of 180 degrees the phase of a line must stay against the thru."""


class Kit(Definition):
    """A set of calibration standards. File: ``calibrations/kits/<name>.toml``."""

    schema_version: Literal[1] = Field(alias="schema")
    name: Annotated[str, Field(min_length=1)]
    description: str = ""
    source: Annotated[str, Field(min_length=1)]
    standing: Literal["published", "common-practice", "from-memory"]
    method: Method = "short-open-load-thru"
    open: OpenStandard | None = None
    short: ShortStandard | None = None
    load: LoadStandard | None = None
    reflect: ReflectStandard | None = None
    thru: ThruStandard | None = None
    line: dict[Numbered, ThruStandard] = Field(default_factory=dict)
    reciprocal: dict[Numbered, ReciprocalStandard] = Field(default_factory=dict)
    exchange: ExchangeStandard | None = None
    acceptance: Acceptance = Acceptance()

    @model_validator(mode="after")
    def _has_what_its_method_needs(self) -> Self:
        needed_standards(self)
        if self.exchange is not None and (self.open is None or self.short is None):
            raise ValueError("exchange: is made of the open and the short, which the kit does not have")
        return self

    @property
    def standards(self) -> Mapping[str, Standard | ReflectStandard | ReciprocalStandard]:
        """Name as it stands in a hookup (``open``, ``line-1`` …) -> standard."""
        single = {
            name: getattr(self, name) for name in ("open", "short", "load", "reflect", "thru", EXCHANGE)
        }
        return (
            {name: value for name, value in single.items() if value is not None}
            | {f"line-{number}": value for number, value in self.line.items()}
            | {f"reciprocal-{number}": value for number, value in self.reciprocal.items()}
        )


def needed_standards(kit: Kit, method: Method | None = None) -> NeededStandards:
    """Return the standards that a calibration with `kit` has to measure, in the order of measuring.

    Parameters
    ----------
    kit
        The standards there are.
    method
        The kit's own when None.

    Raises
    ------
    DefinitionError
        The kit lacks standards that the method needs.
    """
    near = kit.reflect.near if kit.reflect is not None else "short"
    return needed_names(kit.standards, method or kit.method, reflect_near=near)


def load_kit(name: str) -> Kit:
    """Return the kit of that name, or of that TOML file, with the data files that it names.

    Raises
    ------
    UnknownName
        There is no such kit.
    DefinitionError
        The file is wrong; the message names file and key.
    DataFileError
        A Touchstone file that it names cannot be read or is not that of a standard.
    """
    path = find_definition("kits", name)
    kit = load_model(path, Kit)
    for key, standard in kit.standards.items():
        if isinstance(standard, Measurable):
            standard.read(path.parent, f"{path}: {key.replace('-', '.')}.touchstone")
    return kit
