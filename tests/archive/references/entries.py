"""Entries of histories of reference channels, field testers and studies, with every field filled."""

from __future__ import annotations

import math

from benchsweep.records import (
    AccuracyDeclared,
    Agreement,
    BenchMeasured,
    BlandAltman,
    ChannelRegistered,
    ComparedPoint,
    ComparedTrace,
    Comparison,
    FieldTesterCompared,
    FieldTesterRegistered,
    IntervalChanged,
    Parameter,
    ReferenceEvent,
    Returned,
    StudyDesign,
    StudyMeasured,
    StudyPlanned,
    StudyRun,
    Suspicion,
    Withdrawn,
)

BY = "M. Ölsen"

CHANNEL = ChannelRegistered(
    "2026-11-02T08:00:00+00:00",
    BY,
    "RC 1/Ü",
    ("cord 2 m", "jack", "cable 90 m", "jack", "cord 5 m"),
    97.0,
    "iso-11801-ea-channel",
    180.0,
    "in the cabinet",
)
MEASURED = BenchMeasured(
    "2026-11-02T09:00:00.000001+00:00",
    BY,
    "ab" * 32,
    "2026/R.h5",
    "2026-11-02T08:30:00Z",
    22.5,
    {"next A 36-45 worst margin": 3.25, "insertion_loss A 12 at 250 MHz": 31.125, "skew": math.inf},
    "as before",
    False,
    97.0,
    {"next A 36-45 worst margin": 1.25},
)
TESTER = FieldTesterRegistered("2026-11-02T08:00:00+00:00", BY, "FT 07", "level", 365.0)
POINT = ComparedPoint(250e6, 33.5, 34.0, 0.5, 0.3, None, 0.0, 0.1, None, None, -2.0, 33.1)
COMPARISON = Comparison(
    at="2026-11-03T09:00:00+00:00",
    by=BY,
    tester="FT 07",
    channel="RC 1/Ü",
    record="2026/R.h5",
    record_digest="ab" * 32,
    requirement="iso-11801-ea-channel",
    requirement_digest="cd" * 32,
    source="result.csv",
    source_digest="ef" * 32,
    mapping="wide-values",
    outcome=Agreement.UNDECIDED,
    words="no accuracy is declared",
    rows=(
        ComparedTrace(
            Parameter.NEXT,
            "A",
            ("36", "45"),
            Agreement.AGREES,
            "fits",
            POINT,
            POINT,
            3.2,
            3.7,
            40,
            3,
            0.1,
            0.2,
            0.0,
        ),
        ComparedTrace(Parameter.SKEW, None, (), Agreement.UNDECIDED, "not known", basis="point"),
    ),
    suspicions=(
        Suspicion("pairs-swapped", "36 and 45", ("36", "45"), "B"),
        Suspicion("limit", "other", (), None, False),
    ),
    missing=("ACR-F",),
    budget=("bench: budget of the record",),
    bland_altman=((Parameter.NEXT, BlandAltman(12, 0.1, 0.2, -0.3, 0.5, 0.06, 0.1, 2, "few")),),
    notes=("a note",),
    doubts=("a doubt",),
)
COMPARED = FieldTesterCompared(
    "2026-11-03T09:00:00+00:00",
    BY,
    COMPARISON,
    "ef" * 32,
    "schema = 1\n",
    "",
    "",
    ("next A 36-45 margin 3",),
    "plugs",
)
DESIGN = StudyDesign(
    "crossed",
    ("C1", "C2"),
    ("Ann", "Bo"),
    1,
    2,
    "seed",
    (StudyRun(1, "C1", "Bo", 1, 1), StudyRun(2, "C1", "Bo", 1, 2)),
    4,
    ("w",),
)
PLANNED = StudyPlanned("2026-11-03T09:00:00+00:00", BY, "mating", "bench", "", DESIGN)
RUN = StudyMeasured(
    "2026-11-03T10:00:00+00:00", BY, 1, {"next A 36-45": 33.25}, "typed", "", "the plug was out"
)
WITHDRAWN = Withdrawn("2026-11-04T09:00:00+00:00", BY, "it fell")
RETURNED = Returned("2026-11-05T09:00:00+00:00", BY, "new jack")
INTERVAL = IntervalChanged("2026-11-06T09:00:00+00:00", BY, 90.0, "staircase")
DECLARED = AccuracyDeclared("2026-11-07T09:00:00+00:00", BY, "level IV", "manual of 2026")

OF_CHANNEL: tuple[ReferenceEvent, ...] = (CHANNEL, MEASURED, WITHDRAWN, RETURNED, INTERVAL)
OF_TESTER: tuple[ReferenceEvent, ...] = (TESTER, COMPARED, INTERVAL, WITHDRAWN, RETURNED, DECLARED)
OF_STUDY: tuple[ReferenceEvent, ...] = (PLANNED, RUN)
EVERY: tuple[ReferenceEvent, ...] = (*OF_CHANNEL, *OF_TESTER, *OF_STUDY)
