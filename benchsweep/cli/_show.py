from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._budget import show_budgets
from benchsweep.cli._options import AsJson, Decision, LengthM, Quiet, Records, Source, SweepNumber
from benchsweep.cli._output import print_json, print_text, table_width
from benchsweep.cli._series import (
    Follow,
    LeaveOutDamaged,
    Reading,
    grade_any,
    refuse_series_options,
    show_series,
    show_unfinished,
    warn_of_damaged,
)
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.qualification import ChosenRequirements

__all__ = ["show"]


def show(
    records: Records,
    against: Annotated[
        list[str] | None,
        typer.Option(
            "--against",
            metavar="REQUIREMENT",
            help="Also print the verdict against it, and of a failing one the faults and where they are.",
        ),
    ] = None,
    sweep: SweepNumber = None,
    parameter: Follow = None,
    reading: Reading = None,
    leave_out_damaged: LeaveOutDamaged = False,
    length_m: LengthM = None,
    decision: Decision = "simple",
    budget: Annotated[
        bool,
        typer.Option(
            "--budget",
            help="Print the uncertainty budget instead, the largest term first: where each parameter is "
            "worst, or with --parameter every trace of it.",
        ),
    ] = False,
    budget_name: Annotated[
        str | None,
        typer.Option("--budget-name", metavar="NAME", help="With --budget: another one than the record's."),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Print what a record holds, after checking that it is undamaged; with --against its verdict too.

    Below a verdict stands a plot of its worst trace against the limit; with --json its points.

    A kept grading that cannot be read is a warning, a correction that cannot be read an error.

    Of a series, finished or the folder of an unfinished one: how many sweeps, what happened, and how the part
    changed over time; with --sweep one of them. Of `archive/unfinished`: which series are in it.

    With --budget instead: how sure each result is, and what makes it unsure; with --against at the points
    whose margin is smallest.

    Example: `benchsweep show archive/20260301T101500Z-cord.h5`
    """
    from benchsweep.qualification import about_record, check_decision_rule, choose_requirements, is_series

    chosen = choose_requirements(against or [])
    requirements = chosen.requirements
    rule = check_decision_rule(decision)
    if rule != "simple" and (budget or not requirements):
        raise UsageError(
            "--decision does nothing without --against, nor with --budget",
            hint="Leave it out, or give --against.",
        )
    if length_m is not None and not requirements:
        raise UsageError("--length-m does nothing without --against", hint="Give --against, or leave it out.")
    if budget:
        if reading or leave_out_damaged:
            raise UsageError(
                "--reading and --leave-out-damaged do nothing with --budget", hint="Leave them out."
            )
        show_budgets(
            records,
            requirements,
            parameters=parameter or [],
            sweep=sweep,
            length_m=length_m,
            budget=budget_name,
            as_json=as_json,
        )
        return
    if budget_name is not None:
        raise UsageError(
            "--budget-name does nothing without --budget", hint="Give --budget, or leave it out."
        )
    documents = []
    texts = []
    of_series: dict[str, Any] = {"reading": reading, "leave_out_damaged": leave_out_damaged}
    for path in records:
        with about_record(path):
            if is_series(path):
                document, text = show_series(
                    path, sweep=sweep, parameters=parameter or [], quiet=quiet, **of_series
                )
            else:
                refuse_series_options(path, sweep=sweep, parameter=parameter, **of_series)
                document, text = _record(path)
            texts.append(text)
            if requirements:
                texts += _graded(path, chosen, document, sweep=sweep, length_m=length_m, rule=rule)
            documents.append(document)
    if as_json:
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        print_text("\n\n".join(texts))


def _graded(
    path: Source,
    chosen: ChosenRequirements,
    document: dict[str, Any],
    *,
    sweep: int | None,
    length_m: float | None,
    rule: str,
) -> list[str]:
    """Put the verdicts into `document`; return them as tables, each with a plot of its worst trace."""
    from benchsweep.cli._verdicts import verdict_texts
    from benchsweep.cli._worst_trace import plain_terminal, worst_trace, worst_trace_document
    from benchsweep.qualification import alien_document, place_document, verdict_document
    from benchsweep.report import trace_plot

    graded, _ = grade_any(
        path,
        chosen.requirements,
        sweep=sweep,
        length_m=length_m,
        decision_rule=rule,
        by_pattern=chosen.by_pattern,
    )
    worst = [worst_trace(graded, *of) for of in zip(chosen.requirements, graded.graded, strict=True)]
    document["verdicts"] = [
        {
            **verdict_document(verdict, graded.evaluation.measurement),
            **alien_document(graded.evaluation, verdict),
            **place_document(graded.evaluation, verdict),
            **worst_trace_document(plotted),
        }
        for verdict, plotted in zip(graded.verdicts, worst, strict=True)
    ]
    width, ascii_only = table_width(), plain_terminal()
    texts = verdict_texts(graded, width=width)
    plots = ["" if one is None else trace_plot(one, width=width, ascii_only=ascii_only) for one in worst]
    first = len(texts) - len(plots)
    told = [f"{text}\n\n{plot}".rstrip() for text, plot in zip(texts[first:], plots, strict=True)]
    return [*texts[:first], *told]


def _record(path: Source) -> tuple[dict[str, Any], str]:
    """Return what is printed of a record, or of a folder in which series are unfinished."""
    from benchsweep.qualification import (
        again_document,
        again_lines,
        note_lines,
        notes_document,
        notes_on,
        read_measurement,
        record_document,
        record_hash,
        reduced_again,
    )
    from benchsweep.report import labelled_table, measurement_table

    if isinstance(path, Path) and path.is_dir():
        return show_unfinished(path)
    measurement = read_measurement(path)
    found = notes_on(path, measurement)
    warn_of_damaged(found)
    corrected, again = found.measurement or measurement, reduced_again(path)
    width, digest = table_width(), record_hash(path)
    # A path may be wider than the terminal.
    text = labelled_table([("record", [str(path)])], width=width)
    text = f"{text}\n{measurement_table(corrected, width=width).rstrip()}"
    lines = [("content", [f"sha256 {digest}"]), *again_lines(again), *note_lines(found)]
    below = labelled_table(lines, width=width)
    document = {
        **record_document(corrected, record=str(path)),
        "content_sha256": digest,
        **again_document(again),
        **notes_document(found),
    }
    return document, f"{text}\n{below}"
