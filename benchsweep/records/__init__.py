"""Plain frozen data types that the stages hand to each other. No behaviour beyond checks at the border.

Shapes use the same letters everywhere: ``n_freq`` points, ``n_port`` ports;
``s[f, i, j]`` is the wave out of port ``i`` over the wave into port ``j``. Ports are found by label.
"""

from benchsweep.records._alien import AlienShare, DisturberSufficiency
from benchsweep.records._analyzer import AnalyzerIdentity, Probe, Spacing, SweepSegment, SweepSettings
from benchsweep.records._calibration import Calibration, ErrorTerms, Quantity, StandardTerm
from benchsweep.records._change import Extreme, LineFit, SeriesChange, SeriesCourse, SeriesSummary
from benchsweep.records._distance import CableConstants, DistanceKind, DistanceTrace, VelocityStanding
from benchsweep.records._fault import Fault, FaultKind
from benchsweep.records._grading import LimitCurve, Outcome, Verdict, VerdictRow, WiringFinding, WiringReport
from benchsweep.records._hookup import Hookup, Plan, RawHookup, RawSweep
from benchsweep.records._kept_grading import (
    GradedTrace,
    Grading,
    RequirementText,
    RowColumns,
    VerdictColumns,
)
from benchsweep.records._lot import (
    LotClosed,
    LotEvent,
    LotOpened,
    LotReplanned,
    LotState,
    ReelAdded,
    ReelExcluded,
)
from benchsweep.records._matrix import SMatrix
from benchsweep.records._measurement import Measurement, SafetyConfirmation, Specimen
from benchsweep.records._notes import (
    AMBIENT,
    Comment,
    Correction,
    CorrectionsInForce,
    Note,
    corrections_in_force,
)
from benchsweep.records._origin import Origin
from benchsweep.records._ports import (
    CONTACTS_OF_PAIR,
    FOUR_PAIRS,
    BalancedPort,
    End,
    Leg,
    Mode,
    ModePort,
    balanced_ports,
    balanced_ports_among,
    parse_leg,
    parse_mode,
    parse_port,
)
from benchsweep.records._process import (
    Capability,
    ChartKind,
    ChartSignal,
    ControlChart,
    Normality,
    ProcessView,
    ToleranceLimits,
)
from benchsweep.records._reel import ReelConstants, ReelMargin, ReelResult
from benchsweep.records._sampling import (
    OperatingCurve,
    SamplingMethod,
    SamplingPlan,
    Severity,
    VariablesDecision,
)
from benchsweep.records._series import (
    EventKind,
    SeriesEnding,
    SeriesEvent,
    SeriesHead,
    SeriesSweep,
    UnfinishedSeries,
)
from benchsweep.records._trace import Parameter, Trace
from benchsweep.records._uncertainty import BudgetRow, Contribution, Interval

__all__ = [
    "AMBIENT",
    "CONTACTS_OF_PAIR",
    "FOUR_PAIRS",
    "AlienShare",
    "AnalyzerIdentity",
    "BalancedPort",
    "BudgetRow",
    "CableConstants",
    "Calibration",
    "Capability",
    "ChartKind",
    "ChartSignal",
    "Comment",
    "Contribution",
    "ControlChart",
    "Correction",
    "CorrectionsInForce",
    "DistanceKind",
    "DistanceTrace",
    "DisturberSufficiency",
    "End",
    "ErrorTerms",
    "EventKind",
    "Extreme",
    "Fault",
    "FaultKind",
    "GradedTrace",
    "Grading",
    "Hookup",
    "Interval",
    "Leg",
    "LimitCurve",
    "LineFit",
    "LotClosed",
    "LotEvent",
    "LotOpened",
    "LotReplanned",
    "LotState",
    "Measurement",
    "Mode",
    "ModePort",
    "Normality",
    "Note",
    "OperatingCurve",
    "Origin",
    "Outcome",
    "Parameter",
    "Plan",
    "Probe",
    "ProcessView",
    "Quantity",
    "RawHookup",
    "RawSweep",
    "ReelAdded",
    "ReelConstants",
    "ReelExcluded",
    "ReelMargin",
    "ReelResult",
    "RequirementText",
    "RowColumns",
    "SMatrix",
    "SafetyConfirmation",
    "SamplingMethod",
    "SamplingPlan",
    "SeriesChange",
    "SeriesCourse",
    "SeriesEnding",
    "SeriesEvent",
    "SeriesHead",
    "SeriesSummary",
    "SeriesSweep",
    "Severity",
    "Spacing",
    "Specimen",
    "StandardTerm",
    "SweepSegment",
    "SweepSettings",
    "ToleranceLimits",
    "Trace",
    "UnfinishedSeries",
    "VariablesDecision",
    "VelocityStanding",
    "Verdict",
    "VerdictColumns",
    "VerdictRow",
    "WiringFinding",
    "WiringReport",
    "balanced_ports",
    "balanced_ports_among",
    "corrections_in_force",
    "parse_leg",
    "parse_mode",
    "parse_port",
]
