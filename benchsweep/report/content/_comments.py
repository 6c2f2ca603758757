"""What people said of a record afterwards."""

from __future__ import annotations

from collections.abc import Sequence

from benchsweep.records import Comment
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content._pieces import fact, facts, given
from benchsweep.report.document import Given, Section
from benchsweep.report.text import Texts

__all__ = ["comments_of", "comments_section"]


def comments_section(group: Sequence[ReportItem], texts: Texts) -> Section | None:
    """Return the comments on the record of a group; None without any."""
    return comments_of(group[0].comments, texts)


def comments_of(comments: Sequence[Comment], texts: Texts) -> Section | None:
    """Return comments, each with who said so and when; None without any. Their lines stay lines."""
    if not comments:
        return None
    told = [
        fact(
            texts.line("comments.head", at=Given(comment.at), by=Given(comment.by)),
            *map(given, filter(str.strip, comment.text.splitlines())),
        )
        for comment in comments
    ]
    return Section((texts("comments.title"),), (facts(told),))
