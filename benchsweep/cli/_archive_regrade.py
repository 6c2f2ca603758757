from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from benchsweep.cli._options import (
    Afresh,
    Against,
    AsJson,
    BudgetName,
    ColdSlope,
    Construction,
    Decision,
    LengthM,
    Quiet,
    TemperatureDegc,
    plain_text,
)
from benchsweep.cli._output import counted, print_json, print_text, progress_to_stderr, say
from benchsweep.cli._selection import Chosen, chooses_records
from benchsweep.errors import UsageError

__all__ = ["Jobs", "Scheduler", "regrade", "say_warnings", "told_progress"]

_EVERY_S = 2.0
_MOST_CHANGED = 20
_FAILING = ("fail", "conditional-fail")

Jobs = Annotated[
    int | None,
    typer.Option("--jobs", metavar="N", min=1, help="How many processes; one for each core by default."),
]
Scheduler = Annotated[
    str,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="A Dask cluster does the work, for example tcp://head:8786; needs benchsweep[cluster].",
    ),
]


@chooses_records
def regrade(
    chosen: Chosen,
    against: Against,
    length_m: LengthM = None,
    temperature_degc: TemperatureDegc = None,
    construction: Construction = None,
    cold_slope: ColdSlope = False,
    decision: Decision = "simple",
    budget: BudgetName = None,
    jobs: Jobs = None,
    scheduler: Scheduler = "",
    csv: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write every row of every verdict there.")
    ] = None,
    parquet: Annotated[
        Path | None, typer.Option("--parquet", metavar="FILE", help="The same as Parquet.")
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files that are there; otherwise they are refused.")
    ] = False,
    every_byte: Annotated[
        bool,
        typer.Option(
            "--every-byte",
            help="Check all of each record before it is graded, also the raw sweeps and error terms that"
            " grading does not read. Takes longer.",
        ),
    ] = False,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Keep the verdicts in the archive, with the text of every requirement as used."
        ),
    ] = False,
    by: Annotated[
        str,
        typer.Option("--by", metavar="NAME", callback=plain_text, help="With --keep: who grades."),
    ] = "",
    afresh: Afresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Grade many records of an archive again; no record changes. The verdicts are those of `grade`.

    Corrections are applied; records that were withdrawn or reduced again are left out unless asked for. What
    became another verdict than the newest kept one against a requirement of that name is listed.

    Of each record it reads, and compares with its checksums, what grading needs: the corrected matrix and all
    but the raw sweeps and error terms of the calibration. That these are sound is for `archive check` to say,
    or for --every-byte.

    An interrupted run (Ctrl-C, a kill, a power cut) goes on where it stopped when the same command is given
    again. What needs a length that nobody gave is undecided.

    Exit code 6 when a record, or what may be a correction of one that was asked for, is damaged, after all
    others are graded: such a record has no verdict. Records that cannot be read count whatever was asked for,
    as nobody knows whether they fit. Other damaged files (comments, kept gradings, corrections of other
    records) are only told of. Else 1 when any fails, 3 when any is undecided, 0 when all pass.

    Example: `benchsweep archive regrade --against tia-6a-cord --since 2026 --csv verdicts.csv`
    """
    from benchsweep.qualification import (
        RegradeJob,
        check_decision_rule,
        chosen_items,
        exit_code_of_regrade,
        journal_trouble,
        keep_sink,
        load_requirements,
        regrade_document,
        runner_for,
        table_sink,
        told_conditions,
    )
    from benchsweep.qualification import regrade as grade_again

    if by and not keep:
        raise UsageError("--by does nothing without --keep", hint="Give --keep, or leave it out.")
    tables = _tables(csv, parquet)
    if overwrite and not tables:
        raise UsageError("--overwrite does nothing without --csv or --parquet", hint="Leave it out.")
    job = RegradeJob.asked(
        load_requirements(against),
        budget=budget,
        decision_rule=check_decision_rule(decision),
        length_m=length_m,
        conditions=told_conditions(temperature_degc, construction, extrapolate_cold=cold_slope),
        every_byte=every_byte,
    )
    sinks = [table_sink(path, job, overwrite=overwrite) for path in tables]
    if keep:
        sinks.insert(0, keep_sink(chosen.root, job, by=by))
    told = progress_to_stderr(quiet)
    if trouble := journal_trouble():
        say(trouble)
    items, damaged, warnings = chosen_items(
        chosen.root, chosen.selection, against=[one.name for one in job.requirements], progress=told
    )
    found = grade_again(
        items,
        job,
        runner_for(len(items), jobs=jobs, scheduler=scheduler, progress=told),
        archive_root=chosen.root,
        damaged=damaged,
        sinks=sinks,
        afresh=afresh,
        progress=None if quiet else told_progress(),
    )
    found.warnings += warnings
    document = regrade_document(found)
    say_warnings(document)
    for problem in (*document["damaged"], *document["not_graded"]):
        say(f"{problem['record']}: {problem['reason']}")
    if as_json:
        print_json(document)
    else:
        print_text(_table(document))
    raise typer.Exit(exit_code_of_regrade(found))


def say_warnings(document: dict[str, Any]) -> None:
    """Tell of files that cannot be read and keep nothing from being done."""
    for one in document["warnings"]:
        say(f"warning: {one['file']}: {one['reason']}")


def told_progress() -> Callable[[int, int], None]:
    """Return a callable that says now and then on stderr how far a bulk run has come."""
    begun = last = time.monotonic()
    first: int | None = None

    def told(done: int, total: int) -> None:
        nonlocal last, first
        now = time.monotonic()
        first = done if first is None else first
        if now - last > _EVERY_S:
            last = now
            rate = (done - first) / (now - begun)
            left = f", about {(total - done) / rate:.0f} s left" if rate > 0.0 else ""
            say(f"{done} of {counted(total, 'record')}{left}")

    return told


def _table(document: dict[str, Any]) -> str:
    requirements = document["requirements"]
    outcomes = list(next(iter(requirements.values()), {}))
    width = max((len(name) for name in requirements), default=0)
    lines = [f"{'against':<{width}}  " + "  ".join(outcomes)]
    lines += [
        f"{name:<{width}}  " + "  ".join(f"{counts[outcome]:>{len(outcome)}}" for outcome in outcomes)
        for name, counts in requirements.items()
    ]
    resumed = f", {document['resumed']} of them by an earlier run" if document["resumed"] else ""
    lines += _changes(document)
    lines.append(f"{counted(document['records'], 'record')} in {document['seconds']} s{resumed}")
    return "\n".join(lines)


def _changes(document: dict[str, Any]) -> list[str]:
    """Return how many verdicts are others than kept, and which; first those that fail now and did not."""
    changed, compared = document["changed"], document["compared"]
    if not compared:
        return []
    if not changed:
        return [f"of {counted(compared, 'verdict')} kept before none changed"]
    ways = Counter(f"{one['before']} -> {one['now']}" for one in changed)
    told = ", ".join(f"{count} {way}" for way, count in ways.most_common())
    lines = [f"of {counted(compared, 'verdict')} kept before {len(changed)} changed: {told}"]
    worse = sorted(changed, key=lambda one: one["now"] not in _FAILING or one["before"] in _FAILING)
    shown = worse[:_MOST_CHANGED]
    names = [(_printable(one["specimen"]), one["requirement"]) for one in shown]
    widths = [max(map(len, column)) for column in zip(*names, strict=True)]
    lines += [
        f"  {specimen:<{widths[0]}}  {requirement:<{widths[1]}}  {one['before']} -> {one['now']}"
        for (specimen, requirement), one in zip(names, shown, strict=True)
    ]
    if len(worse) > len(shown):
        lines.append(f"  and {len(worse) - len(shown)} more, which --json and the tables tell")
    return lines


def _printable(word: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in word)


def _tables(csv: Path | None, parquet: Path | None) -> list[Path]:
    """Return the tables that are to be written.

    Raises
    ------
    UsageError
        One whose name says it is of the other kind.
    """
    for path, suffix in ((csv, ".csv"), (parquet, ".parquet")):
        if path is not None and path.suffix.lower() != suffix:
            raise UsageError(f"{path}: does not end in {suffix}", hint=f"Name it {path.with_suffix(suffix)}.")
    return [path for path in (csv, parquet) if path is not None]
