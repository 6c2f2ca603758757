"""Channels, testers, comparisons and studies as they are printed after anything that was done to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchsweep.cli._output import print_json, print_text, table_width

if TYPE_CHECKING:
    from benchsweep.qualification.comparisons import ChannelView, FieldTesterView, StudyView

__all__ = ["print_channel", "print_comparison", "print_reference", "print_study", "print_tester"]


def print_channel(view: ChannelView, *, charts: bool = False, as_json: bool) -> None:
    """Print a reference channel: its documents, or a table."""
    from benchsweep.qualification.comparisons import channel_document

    if as_json:
        print_json(channel_document(view))
        return
    from benchsweep.cli._worst_trace import plain_terminal
    from benchsweep.report import Followed, channel_table

    stands = Followed(
        view.withdrawn,
        view.drift,
        view.due,
        view.digest,
        view.doubts,
        view.stands,
        view.stable,
        view.happened,
    )
    told = channel_table(
        view.registered,
        view.measured,
        stands,
        counting={event.record for event in view.baseline},
        charts=charts,
        width=table_width(),
        ascii_only=plain_terminal(),
    )
    print_text(told.rstrip("\n"))


def print_tester(view: FieldTesterView, *, charts: bool = False, as_json: bool) -> None:
    """Print a field tester over time."""
    from benchsweep.qualification.comparisons import declared_words, tester_document

    if as_json:
        print_json(tester_document(view))
        return
    from benchsweep.cli._worst_trace import plain_terminal
    from benchsweep.report import Followed, field_tester_table

    stands = Followed(view.withdrawn, view.drift, view.due, view.digest, view.doubts, happened=view.happened)
    told = field_tester_table(
        view.registered,
        [each.comparison for each in view.compared],
        stands,
        declared=declared_words(view.events),
        charts=charts,
        width=table_width(),
        ascii_only=plain_terminal(),
    )
    print_text(told.rstrip("\n"))


def print_reference(view: ChannelView | FieldTesterView, *, charts: bool = False, as_json: bool) -> None:
    """Print a channel or a tester over time."""
    from benchsweep.qualification.comparisons import ChannelView

    if isinstance(view, ChannelView):
        print_channel(view, charts=charts, as_json=as_json)
    else:
        print_tester(view, charts=charts, as_json=as_json)


def print_comparison(view: FieldTesterView, *, every: bool, as_json: bool) -> None:
    """Print the last comparison of a tester."""
    from benchsweep.qualification.comparisons import comparison_document

    if as_json:
        print_json(comparison_document(view))
        return
    from benchsweep.report import comparison_table

    last = view.compared[-1]
    told = comparison_table(
        last.comparison, drift=view.drift.words, repairs=last.repairs, every=every, width=table_width()
    )
    print_text(told.rstrip("\n"))


def print_study(view: StudyView, *, every: bool = False, as_json: bool) -> None:
    """Print a study: what comes next, and what follows from what was measured."""
    from benchsweep.qualification.comparisons import study_document

    if as_json:
        print_json(study_document(view))
        return
    from benchsweep.report import study_table

    told = study_table(
        view.planned,
        view.measured,
        view.results,
        units=view.units,
        doubts=view.doubts,
        digest=view.digest,
        summary=view.summary,
        every=every,
        width=table_width(),
    )
    print_text(told.rstrip("\n"))
