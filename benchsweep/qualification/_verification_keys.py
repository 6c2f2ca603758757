from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from benchsweep.calibration.verification import FINDING_KINDS, ErrorLimits, FindingKind, Rules
from benchsweep.definitions import Definition

__all__ = ["VerificationKeys", "WearKeys"]

Level = Annotated[float, Field(lt=0.0, ge=-200.0)]


class VerificationKeys(Definition):
    """``[verification]``: how a calibration is verified, and when it may be used.

    Parameters
    ----------
    artefacts
        Check standards that are measured, by name or path, in that order.
    slots
        Numbers of the places (from 1) they are attached at; none: all.
    largest_ratio
        Largest |measured - computed| over the expanded uncertainty of both, for a single comparison.
    largest_drift_db, largest_drift_ps
        What all through connections may have changed alike since the calibration. Own choice; common practice
        is 0.01 to 0.05 dB an hour (from memory).
    repeatability_db, repeatability_ps
        Standard deviation of a single through connection from one mating to the next, cables moved between;
        with few of them their mean is known no better. Own choice for cables of one metre that are bent.
    directivity_db, match_db, tracking_db, floor_db
        Residual errors of a good calibration, as expanded uncertainty in dB; used for the standards that are
        measured again and, where the station names no uncertainty budget, for the check standards, too.
    refuse_when
        Findings that make a calibration unusable; others are warnings.
    needed
        `qualify` and `record` want a verification of their calibration first.
    max_age_hours
        How old that may be.
    """

    artefacts: tuple[str, ...] = ()
    slots: tuple[Annotated[int, Field(ge=1)], ...] = ()
    largest_ratio: float = Field(default=1.0, gt=0, le=100)
    largest_drift_db: float = Field(default=0.03, gt=0, le=10)
    largest_drift_ps: float = Field(default=2.0, gt=0, le=1000)
    repeatability_db: float = Field(default=0.007, ge=0, le=10)
    repeatability_ps: float = Field(default=2.0, ge=0, le=1000)
    directivity_db: Level = -46.0
    match_db: Level = -42.0
    tracking_db: Level = -40.0
    floor_db: Level = -80.0
    refuse_when: tuple[FindingKind, ...] = FINDING_KINDS
    needed: bool = False
    max_age_hours: float = Field(default=12.0, gt=0)

    @model_validator(mode="after")
    def _once(self) -> Self:
        if "max_age_hours" in self.model_fields_set and not self.needed:
            raise ValueError("max_age_hours does nothing without needed = true")
        for name in ("artefacts", "slots"):
            given = getattr(self, name)
            if len(set(given)) != len(given):
                raise ValueError(f"{name}: each once")
        return self

    def rules(self) -> Rules:
        """Return the same as rules for findings, levels as amplitudes."""
        levels = (self.directivity_db, self.match_db, self.tracking_db, self.floor_db)
        return Rules(
            largest_ratio=self.largest_ratio,
            largest_drift_db=self.largest_drift_db,
            largest_drift_ps=self.largest_drift_ps,
            limits=ErrorLimits(*(10.0 ** (level / 20.0) for level in levels)),
        )


class WearKeys(Definition):
    """``[wear]``: after how many matings the contacts of a fixture port are to be renewed.

    No published figure was found for a test fixture; 750 matings is what a jack of the lowest endurance class
    of IEC 60603-7 is made for (from memory). Both defaults are own choice: keep the history of a check
    standard and go by that.
    """

    warn_at: int = Field(default=200, ge=1)
    stop_at: int = Field(default=750, ge=1)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.warn_at > self.stop_at:
            raise ValueError("warn_at must not be above stop_at")
        return self
