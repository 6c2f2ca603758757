"""One limit line: its bands, where it does not count, where it comes from."""

from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationInfo, field_validator, model_validator

from benchsweep.definitions import Definition
from benchsweep.limits._forms import Form, Number, Positive
from benchsweep.records import Parameter

__all__ = ["FAR_RATIOS", "Band", "Exemption", "LimitLine", "Source", "Standing", "Text", "worst_standing"]

Standing = Literal["published", "common-practice", "from-memory"]
_STANDINGS: tuple[Standing, ...] = ("published", "common-practice", "from-memory")
_EDGE = 1e-9
_LARGEST_STEP = 0.1
# Where a limit depends on the length it is looked at for these lengths when it is loaded.
_LENGTHS_M = (1.0, 10.0, 100.0)
# A band is looked at in so many points whether its limit is a number.
_POINTS = 9
_BY_FEXT = frozenset({Parameter.FEXT, Parameter.ACR_F, Parameter.PS_ACR_F})
_AT_MOST = frozenset({Parameter.INSERTION_LOSS, Parameter.DELAY, Parameter.SKEW})
FAR_RATIOS = frozenset({Parameter.ACR_F, Parameter.PS_ACR_F})
"""Far-end crosstalk less an insertion loss: editions differ about whose."""


Text = Annotated[str, Field(min_length=1)]


def worst_standing(*standings: Standing) -> Standing:
    """Return the weakest of some standings."""
    return max(standings, key=_STANDINGS.index)


class Source(Definition):
    """Where a requirement comes from, and how far its figures were checked."""

    document: Text
    checked: Text
    note: str = ""


class Band(Definition):
    """A form and the frequencies (MHz, both included) where it applies.

    Where two bands meet, the lower one holds the common frequency. `standing` is given where it differs
    from that of the line. `step` says why the limit steps where this band follows on the one below: a step
    of more than 0.1 dB (or ns) that nobody gave a reason for is a wrong constant, and refused.
    """

    from_mhz: Positive
    to_mhz: Positive
    limit: Form
    standing: Standing | None = None
    step: Text | None = None

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.to_mhz <= self.from_mhz:
            raise ValueError(f"to_mhz {self.to_mhz:g} must be above from_mhz {self.from_mhz:g}")
        return self


class Exemption(Definition):
    """The line does not count at frequencies where another parameter is below, or above, a value.

    `parameter` is ``insertion_loss``, of the pair, or ``fext``, of the same pairs. A combination does not
    count only where both of its pairs meet the condition: the stricter reading of a rule for pairs. A power
    sum is that of one pair and goes by its loss; by FEXT it goes where all three combinations meet it.
    """

    parameter: Literal[Parameter.INSERTION_LOSS, Parameter.FEXT]
    below: Positive | None = None
    above: Positive | None = None
    standing: Standing
    note: str = ""

    @model_validator(mode="after")
    def _one_side(self) -> Self:
        if (self.below is None) == (self.above is None):
            raise ValueError("give either below or above")
        return self

    def met(self, value: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell where values of `parameter` meet the condition."""
        if self.below is not None:
            return np.asarray(value < self.below)
        assert self.above is not None  # noqa: S101 - the validator saw to it
        return np.asarray(value > self.above)

    def words(self) -> str:
        """Return the condition as a person writes it."""
        side = f"below {self.below:g}" if self.below is not None else f"above {self.above:g}"
        return f"{self.parameter.term} is {side} {self.parameter.unit}"


class LimitLine(Definition):
    """The limit of one parameter.

    Parameters
    ----------
    parameter, sense
        What is limited; ``min``: values below fail, ``max``: values above fail. Insertion loss, delay and
        skew have a maximum, all others a minimum; the other way round nothing bad would ever fail.
    bands
        Rising, not overlapping.
    cap, floor
        The limit is not taken above / below this value.
    exempt_where
        Where the line does not count.
    insertion_loss_of
        For ``acr_f`` and ``ps_acr_f``: whose insertion loss is subtracted from FEXT, ``disturbed-pair``
        (the default) or ``disturbing-pair``, which editions that spoke of ELFEXT used.
    contains_uncertainty
        True: the figures already allow for the uncertainty of measurement, so no guard band is taken; None:
        as the requirement says.
    standing, source, note
        Standing of the figures, the document and clause or table they come from, what a reader must know.
    """

    parameter: Parameter
    sense: Literal["min", "max"]
    bands: tuple[Band, ...] = Field(min_length=1)
    cap: Number | None = None
    floor: Number | None = None
    exempt_where: Exemption | None = None
    insertion_loss_of: Literal["disturbed-pair", "disturbing-pair"] = "disturbed-pair"
    contains_uncertainty: bool | None = None
    standing: Standing
    source: Text
    note: str = ""

    @field_validator("sense")
    @classmethod
    def _of_its_parameter(cls, sense: str, known: ValidationInfo) -> str:
        parameter = known.data.get("parameter")
        right = "max" if parameter in _AT_MOST else "min"
        if parameter is not None and sense != right:
            side = "maximum" if right == "max" else "minimum"
            raise ValueError(f"{sense!r} is the wrong way round: {parameter} has a {side}, {right!r}")
        return sense

    @model_validator(mode="after")
    def _bands_in_order(self) -> Self:
        for lower, upper in zip(self.bands, self.bands[1:], strict=False):
            if upper.from_mhz < lower.to_mhz:
                raise ValueError(f"{self.parameter}: bands overlap or fall at {upper.from_mhz:g} MHz")
        if self.cap is not None and self.floor is not None and self.cap < self.floor:
            raise ValueError(f"{self.parameter}: the cap {self.cap:g} lies below the floor {self.floor:g}")
        return self

    @model_validator(mode="after")
    def _rules_of_their_parameters(self) -> Self:
        rule = self.exempt_where
        if rule is not None and rule.parameter is Parameter.FEXT and self.parameter not in _BY_FEXT:
            raise ValueError(f"{self.parameter}: fext exempts only {', '.join(sorted(_BY_FEXT))}")
        if self.insertion_loss_of != "disturbed-pair" and self.parameter not in FAR_RATIOS:
            raise ValueError(f"insertion_loss_of means something only for {', '.join(sorted(FAR_RATIOS))}")
        return self

    @model_validator(mode="after")
    def _finite(self) -> Self:
        for band in self.bands:
            grid = np.geomspace(band.from_mhz, band.to_mhz, _POINTS)
            for length_m in _LENGTHS_M if band.limit.needs_length else (None,):
                with np.errstate(all="ignore"):
                    finite = np.isfinite(self._held(band, grid, length_m))
                if not finite.all():
                    raise ValueError(
                        f"{self.parameter}: the limit at {grid[~finite][0]:g} MHz is no finite number"
                    )
        return self

    @model_validator(mode="after")
    def _joined(self) -> Self:
        if self.bands[0].step is not None:
            raise ValueError(f"{self.parameter}: the first band has none below it to step from")
        for lower, upper in zip(self.bands, self.bands[1:], strict=False):
            step = self._step(lower, upper)
            if upper.step is not None and upper.from_mhz > lower.to_mhz:
                raise ValueError(
                    f"{self.parameter}: at {upper.from_mhz:g} MHz a gap ends, there is no step to give a "
                    "reason for"
                )
            if upper.step is None and abs(step) > _LARGEST_STEP:
                raise ValueError(
                    f"{self.parameter}: the limit steps by {step:+.2f} {self.parameter.unit} at "
                    f'{upper.from_mhz:g} MHz; correct it, or say why with step = "..." in the upper band'
                )
        return self

    def _step(self, lower: Band, upper: Band) -> float:
        """Return by how much the limit steps from a band to the next; 0 across a gap."""
        if upper.from_mhz > lower.to_mhz:
            return 0.0
        at = np.array([lower.to_mhz])
        steps = [
            float((self._held(upper, at, length_m) - self._held(lower, at, length_m))[0])
            for length_m in (_LENGTHS_M if self.needs_length else (None,))
        ]
        return max(steps, key=abs)

    @property
    def from_mhz(self) -> float:
        """Lowest frequency of the line."""
        return self.bands[0].from_mhz

    @property
    def to_mhz(self) -> float:
        """Highest frequency of the line."""
        return self.bands[-1].to_mhz

    @property
    def needs_length(self) -> bool:
        """True when the limit depends on the length of the specimen."""
        return any(band.limit.needs_length for band in self.bands)

    @property
    def weakest_standing(self) -> Standing:
        """The weakest standing of the line and its bands."""
        return worst_standing(self.standing, *(band.standing for band in self.bands if band.standing))

    def band_of(self, f_mhz: NDArray[np.float64]) -> NDArray[np.intp]:
        """Return for each frequency the index of its band, -1 where the line sets no limit."""
        index = np.full(f_mhz.shape, -1, dtype=np.intp)
        for number in reversed(range(len(self.bands))):
            band = self.bands[number]
            inside = (f_mhz >= band.from_mhz * (1.0 - _EDGE)) & (f_mhz <= band.to_mhz * (1.0 + _EDGE))
            index[inside] = number
        return index

    def evaluate(self, f_mhz: NDArray[np.float64], length_m: float | None) -> NDArray[np.float64]:
        """Return ``(n,)`` limit values, NaN where the line sets none."""
        index = self.band_of(f_mhz)
        value = np.full(f_mhz.shape, np.nan)
        for number, band in enumerate(self.bands):
            chosen = index == number
            if chosen.any():
                value[chosen] = self._held(band, f_mhz[chosen], length_m)
        return value

    def _held(self, band: Band, f_mhz: NDArray[np.float64], length_m: float | None) -> NDArray[np.float64]:
        """Return the values of one band, held between floor and cap."""
        value = band.limit.evaluate(f_mhz, length_m)
        if self.cap is not None:
            value = np.minimum(value, self.cap)
        return value if self.floor is None else np.maximum(value, self.floor)
