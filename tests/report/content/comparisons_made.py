"""Comparisons of invented field testers with a reference channel of Tollmoor Wire, for tests."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from benchsweep.records import (
    Agreement,
    BlandAltman,
    ChannelRegistered,
    ComparedPoint,
    ComparedTrace,
    Comparison,
    Drift,
    Due,
    FieldTesterRegistered,
    GaugeStudy,
    InterlaboratoryStudy,
    MatingScatter,
    NestedStudy,
    Parameter,
    StudyDesign,
    StudyMeasured,
    StudyPlanned,
    StudyRun,
    StudySummary,
    Suspicion,
    TraceDifference,
    VarianceRow,
)
from benchsweep.report import ComparisonItem, StudyItem
from benchsweep.statistics.process import ewma_chart, individuals_chart

GRID_HZ = np.geomspace(1e6, 250e6, 200)
KEYS = (
    (Parameter.INSERTION_LOSS, None, ("12",)),
    (Parameter.INSERTION_LOSS, None, ("36",)),
    (Parameter.RETURN_LOSS, "A", ("12",)),
    (Parameter.RETURN_LOSS, "B", ("36",)),
    (Parameter.NEXT, "A", ("12", "36")),
    (Parameter.NEXT, "A", ("36", "45")),
    (Parameter.NEXT, "B", ("36", "45")),
    (Parameter.NEXT, "B", ("45", "78")),
)


def digest_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def difference_of(place: int, offset: float = 0.0) -> TraceDifference:
    """Return a difference of a few tenths with a ripple; below 10 MHz it does not count."""
    parameter, end, pairs = KEYS[place]
    rng = np.random.default_rng(place)
    bench = 40.0 - 15.0 * np.log10(GRID_HZ / 1e6) / 2.0 + 4.0 * np.sin(GRID_HZ / 7e6 + place)
    ripple = 0.2 * np.sin(GRID_HZ / 11e6 + place) + 0.05 * rng.standard_normal(GRID_HZ.size)
    return TraceDifference(
        parameter,
        end,  # type: ignore[arg-type]
        pairs,
        GRID_HZ,
        bench,
        bench + ripple + offset,
        np.full(GRID_HZ.size, 20.0),
        GRID_HZ > 10e6,
        GRID_HZ,
        ("40 points more than 10 dB above the limit",),
    )


def row_of(difference: TraceDifference, at: int = 150) -> ComparedTrace:
    gap = float(difference.difference[at])
    parts = (0.35, 0.9, 0.3, 0.05)
    together = float(np.sqrt(np.sum(np.square(parts))))
    point = ComparedPoint(
        float(GRID_HZ[at]),
        float(difference.bench[at]),
        float(difference.tester[at]),
        gap,
        *parts,
        uncertainty=together,
        e_n=gap / together,
        zeta=2.0 * gap / together,
        limit=20.0,
    )
    agrees = abs(gap) <= together
    return ComparedTrace(
        difference.parameter,
        difference.end,
        difference.pairs,
        Agreement.AGREES if agrees else Agreement.DISAGREES,
        "within both uncertainties" if agrees else "beyond both uncertainties",
        decisive=point,
        largest=point,
        bench_margin=3.2,
        tester_margin=3.2 + gap,
        compared=160,
        left_out=40,
        mean_difference=gap,
        deviation=0.2,
        share_beyond=0.0 if agrees else 0.6,
    )


def comparison_of(*, bad: tuple[int, ...] = (), number: int = 1) -> Comparison:
    rows = tuple(row_of(difference_of(place, 2.0 if place in bad else 0.0)) for place in range(len(KEYS)))
    outcome = Agreement.DISAGREES if bad else Agreement.AGREES
    words = "NEXT, end A, pairs 36-45 is beyond both uncertainties" if bad else "all results agree"
    return Comparison(
        at=f"2026-0{number}-12T09:30:00Z",
        by="I. Vogt",
        tester="FT-07",
        channel="reference 2",
        record="2026/reference-2-0107.h5",
        record_digest=digest_of("record"),
        requirement="tia-6-channel",
        requirement_digest=digest_of("requirement"),
        source="ft07-january.csv",
        source_digest=digest_of("csv"),
        mapping="wide-values",
        outcome=outcome,
        words=words,
        rows=rows,
        missing=("TCL: the tester does not tell it",),
        budget=(
            "bench: budget simulated",
            "tester: declared accuracy demonstration (invented)",
            "mating: 0.3 dB, typed in",
        ),
        bland_altman=(
            (Parameter.NEXT, BlandAltman(4, 0.1, 0.2, -0.3, 0.5, 0.1, 0.17, 1, "four results are too few")),
        ),
        notes=("read with a decimal comma",),
    )


def comparison_item(*, bad: tuple[int, ...] = (), earlier: int = 5) -> ComparisonItem:
    """Return the last of some comparisons of a tester."""
    differences = tuple(difference_of(place, 2.0 if place in bad else 0.0) for place in range(len(KEYS)))
    values = [0.1, -0.1, 0.2, 0.0, 0.15, -0.05, 0.1, 0.3, 0.6, 1.3]
    labels = [f"{place}" for place in range(1, 11)]
    return ComparisonItem(
        comparison_of(bad=bad, number=6),
        6,
        FieldTesterRegistered("2025-11-03T08:00:00Z", "I. Vogt", "FT-07", "demonstration", 90.0, "store 2"),
        ChannelRegistered(
            "2025-11-01T08:00:00Z",
            "I. Vogt",
            "reference 2",
            ("2 m cord R2-A", "90 m cable of reel T1003", "5 m cord R2-B"),
            97.0,
            "tia-6-channel",
            180.0,
        ),
        differences=differences,
        uncertainties={
            (each.parameter, each.end, each.pairs): np.full(GRID_HZ.size, 1.02) for each in differences
        },
        earlier=tuple(comparison_of(number=place) for place in range(1, earlier + 1)),
        drift=Drift(
            "tester",
            ("NEXT of FT-07 drifts: EWMA beyond its limits from comparison 9 on",),
            {
                "mean difference of NEXT": ewma_chart(values, labels, baseline=6),
                "largest E_n": individuals_chart(values, labels, baseline=6)[0],
            },
        ),
        due=(
            Due("tester", "FT-07", "2026-06-12", "2026-09-10", -3.0, 90.0, 45.0, "staircase", "found beyond"),
            Due("channel", "reference 2", "2026-01-07", "2026-07-06", 20.0, 180.0, None, "", "too few"),
        ),
        digest=digest_of("history"),
        temperature_degc=21.4,
        measured_at="2026-06-10T10:00:00Z",
        software={"benchsweep": "0.1.0"},
    )


def suspicious(item: ComparisonItem) -> ComparisonItem:
    told = Suspicion(
        "pairs-swapped", "pairs 12 and 36 look exchanged at the tester: check its plugs", ("12", "36")
    )
    found = replace(
        item.comparison, outcome=Agreement.UNDECIDED, words=told.words, suspicions=(told,), rows=()
    )
    return replace(item, comparison=found, differences=(), uncertainties={})


def study_item(*, done: int = 12) -> StudyItem:
    runs = tuple(
        StudyRun(place + 1, f"link {place % 3 + 1}", ("Maren", "Ilja")[place // 6], place // 3 % 2 + 1, 1)
        for place in range(12)
    )
    design = StudyDesign(
        "crossed", ("link 1", "link 2", "link 3"), ("Maren", "Ilja"), 2, 1, "winter", runs, 6, ("6 df",)
    )
    planned = StudyPlanned("2026-02-01T08:00:00Z", "I. Vogt", "winter", "FT-07", "tia-6-channel", design)
    measured = {
        run.number: StudyMeasured(
            "2026-02-02T08:00:00Z", run.operator, run.number, {"next A 36-45": 3.0}, "typed", ""
        )
        for run in runs[:done]
    }
    gauge = GaugeStudy(
        "anova",
        (
            VarianceRow("part", 88.3619, 9, 9.81799, 492.291, 0.0),
            VarianceRow("total", 94.6471, 89),
        ),
        True,
        0.25,
        0.199933,
        0.226838,
        0.0,
        0.302373,
        1.042327,
        1.085,
        (("repeatability", 3.39), ("reproducibility", 4.37), ("gauge", 7.76), ("part", 92.24)),
        (("repeatability", 18.42), ("reproducibility", 20.90), ("gauge", 27.86), ("part", 96.04)),
        4,
        "conditional",
    )
    nested = NestedStudy(("trial", "mating"), (0.02, 0.15), (0.02, 0.149), (6, 6), 0.3, "mating dominates")
    laboratories = InterlaboratoryStudy(
        2, 3.0, 41.5, 1.06, 0.2, 1.08, 2.97, 3.02, (0.7, -0.7), (1.0, 0.9), 1.15, 1.67
    )
    return StudyItem(
        planned,
        measured,
        {"next A 36-45": (gauge, nested, laboratories)},
        {"next A 36-45": "dB"},
        digest_of("study"),
        ("run 3 was measured after run 5",),
        (
            StudySummary(
                Parameter.NEXT,
                "next A 36-45",
                1,
                0.199933,
                0.226838,
                27.86,
                4,
                "conditional",
                MatingScatter(0.3, 6, 1, "pooled", 0.3, "next A 36-45", 0.01),
            ),
        ),
    )


def large_study(*, simulated: int = 0) -> StudyItem:
    """Return a study of 24 traces of each of eight parameters; the later the parameter, the worse."""
    small = study_item()
    parameters = [each for each in Parameter if each.unit == "dB"][:8]
    places = [f"{end} {one}-{other}" for end in "AB" for one in _PAIRS for other in _PAIRS if one != other]
    gauge, nested, _ = small.results["next A 36-45"]
    results = {f"{each.value} {place}": (gauge, nested) for each in parameters for place in places}
    summary = tuple(
        StudySummary(
            each,
            f"{each.value} B 45-78",
            24,
            0.1,
            0.2,
            10.0 * (place + 1),
            3,
            f"the gauge makes {10 * (place + 1)} %",
            MatingScatter(0.25, 6, 24, "pooled", 0.4, f"{each.value} A 12-36", 0.01),
        )
        for place, each in reversed(list(enumerate(parameters)))
    )
    measured = {
        number: replace(event, simulated=number <= simulated) for number, event in small.measured.items()
    }
    units = dict.fromkeys(results, "dB")
    return replace(small, results=results, units=units, summary=summary, measured=measured)


_PAIRS = ("12", "36", "45", "78")
