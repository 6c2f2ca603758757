"""Print verdicts, as tables or JSON, and say which exit code they mean."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from benchsweep.cli._output import print_json, print_text, table_width

if TYPE_CHECKING:
    from benchsweep.limits import Requirement
    from benchsweep.qualification import Qualified

__all__ = ["print_highest", "print_verdicts", "verdict_texts"]


def print_verdicts(
    results: Sequence[Qualified], *, as_json: bool, requirements: Sequence[Requirement] = ()
) -> int:
    """Print every verdict and return the exit code of the whole. Several verdicts make a list in JSON.

    Of several `requirements` a table ends with the highest category that passes, for each family.
    """
    from benchsweep.qualification import alien_document, exit_code_of, place_document, verdict_document
    from benchsweep.report import incident_table

    verdicts = [(verdict, result) for result in results for verdict in result.verdicts]
    if as_json:
        documents = [
            {
                **verdict_document(verdict, result.evaluation.measurement),
                **alien_document(result.evaluation, verdict),
                **place_document(result.evaluation, verdict),
                "grading": None if result.grading is None else str(result.grading),
            }
            for verdict, result in verdicts
        ]
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        width = table_width()
        texts = []
        for result in results:
            texts += verdict_texts(result, width=width)
            # Below the last verdict of each measurement: all of them rest on the same sweeps.
            happened = incident_table(result.evaluation.measurement, width=width)
            texts[-1:] = [f"{text}\n{happened}" if happened else text for text in texts[-1:]]
            if len(requirements) > 1 and (families := _families(result, requirements, width)):
                texts.append(families)
        print_text("\n\n".join(texts))
    return exit_code_of([verdict for verdict, _ in verdicts])


def verdict_texts(result: Qualified, *, width: int) -> list[str]:
    """Return the verdicts as tables, of several first one that sets them side by side.

    A verdict tells the faults of the specimen and where they are, also where it passes, for no limit may be
    of them; and from where along the specimen comes what fails.
    """
    from benchsweep.qualification import failing_origins, locate
    from benchsweep.report import requirement_table, verdict_table

    faults = locate(result.evaluation).faults
    texts = [
        verdict_table(
            verdict,
            faults=faults,
            origins=failing_origins(result.evaluation, [verdict]),
            width=width,
        )
        for verdict in result.verdicts
    ]
    if len(texts) > 1:
        texts.insert(0, requirement_table(result.verdicts, width=width))
    return [text.rstrip() for text in texts]


def print_highest(results: Sequence[Qualified], *, as_json: bool, requirements: Sequence[Requirement]) -> int:
    """Print for each family the highest category that passes; return the exit code.

    It is 0 when some category of every family passes, 1 when all of a family fail, 3 when none of a family
    passes and some are undecided.
    """
    from benchsweep.qualification import exit_code_of_highest, highest_document

    documents = [highest_document(requirements, result.graded) for result in results]
    if as_json:
        print_json(documents[0] if len(documents) == 1 else documents)
    else:
        width = table_width()
        told = [_families(result, requirements, width) for result in results]
        none = "none of these requirements has a rank among categories"
        print_text("\n\n".join(text or none for text in told))
    return exit_code_of_highest(documents)


def _families(result: Qualified, requirements: Sequence[Requirement], width: int) -> str:
    """Return a line for each body and configuration: what passes, and what stops the next category."""
    from benchsweep.qualification import highest_document
    from benchsweep.report import stopping_words

    stops = {verdict.requirement: stopping_words(verdict) for verdict in result.verdicts}
    lines = []
    for family in highest_document(requirements, result.graded)["highest"]:
        told = [part for part in (_best(family), _following(family, stops)) if part]
        words = f"{family['body']} {family['configuration'].replace('-', ' ')}: {'; '.join(told)}"
        lines += textwrap.wrap(
            words, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
        )
    return "\n".join(["highest category that passes", *lines]) if lines else ""


def _best(family: Mapping[str, Any]) -> str:
    ranked = family["ranked"]
    if family["requirement"] is None:
        classes = [item["class"] for item in reversed(ranked)]
        names = classes if len(set(classes)) == len(classes) else [i["requirement"] for i in reversed(ranked)]
        return f"none of {', '.join(names)} passes" if len(ranked) > 1 else ""
    condition = ", conditionally" if family["outcome"] == "conditional-pass" else ""
    words = f"{family['class']} passes{condition} ({family['requirement']})"
    if family["next"] is None:
        words += ", the highest graded"
    missed = [f"{item['class']} {_becomes(item['outcome'])}" for item in family["not_passed_below"]]
    return f"{words}, though {' and '.join(missed)}" if missed else words


def _following(family: Mapping[str, Any], stops: Mapping[str, str]) -> str:
    """Return what becomes of the next category above, and why."""
    following = family["next"]
    if following is None:
        return ""
    name = following["requirement"]
    return f"{following['class']} ({name}) {_becomes(following['outcome'])}: {stops[name]}"


def _becomes(outcome: str) -> str:
    return {"fail": "fails", "conditional-fail": "fails conditionally", "undecided": "is undecided"}[outcome]
