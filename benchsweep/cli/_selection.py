"""The options by which several commands choose records of an archive: one spelling, one help text."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING, Annotated, Any

import typer

from benchsweep.cli._options import requirement_names
from benchsweep.errors import UsageError

if TYPE_CHECKING:
    from benchsweep.archive import Selection

__all__ = ["ArchiveRoot", "Chosen", "chooses_records"]

_OUTCOMES = ("pass", "conditional-pass", "conditional-fail", "fail", "undecided")


def _outcomes(incomplete: str) -> list[str]:
    return [word for word in _OUTCOMES if word.startswith(incomplete)]


def _parameters(incomplete: str) -> list[str]:
    from benchsweep.records import Parameter

    return [str(parameter) for parameter in Parameter if parameter.startswith(incomplete)]


def _named(root: str) -> str:
    if not root:
        raise UsageError("--archive is empty", hint="Leave it out, or name the archive.")
    return root


_ARCHIVE_HELP = (
    "The archive: a folder, with those in it down to the sixth, or an address such as s3://bucket/folder."
)
ArchiveRoot = Annotated[str, typer.Option("--archive", metavar="DIR", callback=_named, help=_ARCHIVE_HELP)]


def _pattern(name: str, words: str) -> Any:
    return Annotated[
        list[str] | None,
        typer.Option(
            name,
            metavar="PATTERN",
            help=f"{words}; a quoted pattern such as 'reel-*' may do. Several times: any of them.",
        ),
    ]


# Name of the argument -> (its option, what stands there when it is not given). The order is that of --help.
# All but the flags are lists, also those that may be given once only: the parser would take the last of
# several, and nobody would know.
_OPTIONS: dict[str, tuple[Any, Any]] = {
    "archive": (
        Annotated[
            list[str],
            typer.Option("--archive", metavar="DIR", help=_ARCHIVE_HELP),
        ],
        ["archive"],
    ),
    "specimen": (_pattern("--specimen", "What the laboratory calls the specimen"), None),
    "lot": (_pattern("--lot", "Its production lot, '' where none stands"), None),
    "product": (_pattern("--product", "What it is, as its maker names it, '' where nobody told"), None),
    "station": (_pattern("--station", "The station that measured it"), None),
    "operator": (_pattern("--operator", "Who measured it"), None),
    "calibration": (
        _pattern(
            "--calibration",
            "The calibration that was applied: its name, or its file, which tells two of a day",
        ),
        None,
    ),
    "kit": (_pattern("--kit", "The kit of that calibration"), None),
    "since": (
        Annotated[
            list[str] | None,
            typer.Option(
                "--since", metavar="DATE", help="Measured then or later: 2026-11-28, 2026-11, 2026."
            ),
        ],
        None,
    ),
    "until": (
        Annotated[
            list[str] | None,
            typer.Option("--until", metavar="DATE", help="Measured then or before; that day included."),
        ],
        None,
    ),
    "graded_against": (
        Annotated[
            list[str] | None,
            typer.Option(
                "--graded-against",
                metavar="REQUIREMENT",
                autocompletion=requirement_names,
                help="With a kept grading against this requirement, a quoted pattern, or any of several.",
            ),
        ],
        None,
    ),
    "outcome": (
        Annotated[
            list[str] | None,
            typer.Option(
                "--outcome",
                metavar="OUTCOME",
                autocompletion=_outcomes,
                help=f"Whose newest grading says so: {', '.join(_OUTCOMES)}, or any of several; with "
                "--parameter, of that one. A grading older than a correction of the length or temperature, "
                "or than a withdrawal, says nothing any more.",
            ),
        ],
        None,
    ),
    "parameter": (
        Annotated[
            list[str] | None,
            typer.Option(
                "--parameter",
                metavar="PARAMETER",
                autocompletion=_parameters,
                help="Whose newest grading holds this parameter, for example next, or any of several.",
            ),
        ],
        None,
    ),
    "margin_below_db": (
        Annotated[
            list[float] | None,
            typer.Option(
                "--margin-below-db",
                metavar="DB",
                help="Whose worst margin in that grading is smaller; with --parameter, of that one.",
            ),
        ],
        None,
    ),
    "superseded": (
        Annotated[
            bool,
            typer.Option("--superseded", help="Also records whose sweeps were reduced again into another."),
        ],
        False,
    ),
    "withdrawn": (
        Annotated[bool, typer.Option("--withdrawn", help="Also records that were withdrawn.")],
        False,
    ),
}
# Where an empty value means records in which nothing stands there; anywhere else it is a slip, for example of
# a variable of a shell that is not set, and must not mean all.
_MAY_BE_EMPTY = ("lot", "product", "station", "operator", "calibration", "kit")
# Of these one is meant, of the others any of those given.
_ONCE = ("archive", "since", "until", "margin_below_db")


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a person chose: an archive and which of its records.

    Parameters
    ----------
    root
        Folder or address of the archive, as given.
    selection
        Which records.
    given
        Whether anything was given that narrows the choice.
    """

    root: str
    selection: Selection
    given: bool


def chooses_records(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of a selection; it gets them as one argument ``chosen: Chosen``.

    ::

        @chooses_records
        def find(chosen: Chosen, as_json: AsJson = False) -> None:

    A name that is given several times means any of them; what can be meant once only is refused then. An
    option that the command has itself is its own. Nonsense in an option is a UsageError before the
    command begins.
    """
    own = inspect.signature(command, eval_str=True)
    options_here = {name: option for name, option in _OPTIONS.items() if name not in own.parameters}
    added = [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=kind)
        for name, (kind, default) in options_here.items()
    ]
    kept = [
        parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY)
        for name, parameter in own.parameters.items()
        if name != "chosen"
    ]

    @wraps(command)
    def chosen_first(**arguments: Any) -> None:
        from benchsweep.qualification import select_records

        wishes = _wishes({name: arguments.pop(name) for name in options_here})
        root = wishes.pop("archive", "archive")
        given = bool(wishes)
        if "graded_against" in wishes:
            wishes["requirement"] = wishes.pop("graded_against")
        command(chosen=Chosen(root, select_records(**wishes), given), **arguments)

    arguments = [p for p in kept if _is_argument(p)]
    options = [p for p in kept if not _is_argument(p)]
    signature = inspect.Signature([*arguments, *added, *options])
    chosen_first.__signature__ = signature  # type: ignore[attr-defined]
    chosen_first.__annotations__ = {name: p.annotation for name, p in signature.parameters.items()}
    return chosen_first


def _wishes(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was given, one value where one is meant, a tuple where any of several will do.

    Raises
    ------
    UsageError
    """
    wishes: dict[str, Any] = {}
    for name, value in told.items():
        if not value:
            continue
        option = f"--{name.replace('_', '-')}"
        if value is True:
            wishes[name] = value
            continue
        if "" in value and name not in _MAY_BE_EMPTY:
            raise UsageError(f"{option} is empty", hint="Leave it out, or say what is meant.")
        if name in _ONCE and len(value) > 1:
            raise UsageError(f"{option} is given {len(value)} times", hint="Give it once.")
        wishes[name] = value[0] if name in _ONCE else tuple(value)
    return wishes


def _is_argument(parameter: inspect.Parameter) -> bool:
    """Tell whether it is an argument (a word without an option), which stands first in the usage line."""
    metadata = getattr(parameter.annotation, "__metadata__", ())
    return any(type(item).__name__ == "ArgumentInfo" for item in metadata)
