"""Define the measurements that make an analyzer drive its ports, and read the definitions back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from benchsweep.errors import InstrumentError, NotSupported, ScpiError
from benchsweep.instrument._asking import ask_all, write_supported, write_tolerant
from benchsweep.instrument.families import PARAMETER_NAMES, Family, parse_parameter, parse_switch_term
from benchsweep.instrument.links import Link

__all__ = ["WITHOUT_SWITCH_TERMS", "Measurements", "Trace", "define_measurements", "define_one"]

WITHOUT_SWITCH_TERMS = (
    "Choose short-open-load-thru, which needs no switch terms, or a kit with three reciprocal two-ports, "
    "from which they are computed."
)

_FIRST_TWO_DIGIT_PORT = 10
# Command errors, no such word and hardware missing: how analyzers refuse a measurement that they have not.
_REFUSED = frozenset({*range(-199, -99), -220, -224, -241})


@dataclass(frozen=True, slots=True)
class Trace:
    """One measurement: wave out of port `receiver` over wave into port `source`.

    A `ratio` is the switch term of `receiver` instead: its reference receiver over its test receiver while
    `source` is driven.
    """

    receiver: int
    source: int
    index: int
    parameter: str
    ratio: bool = False

    @property
    def name(self) -> str:
        """Its name, where the family gives names."""
        return f"BENCH_{'A' if self.ratio else ''}{self.receiver}_{self.source}"

    def is_spelled(self, text: str) -> bool:
        """Tell whether `text` names it in any known spelling."""
        parse = parse_switch_term if self.ratio else parse_parameter
        return parse(text) == (self.receiver, self.source)

    @property
    def fields(self) -> dict[str, str | int]:
        """What a template may say of it."""
        return {
            "receiver": self.receiver,
            "source": self.source,
            "index": self.index,
            "parameter": self.parameter,
            "name": self.name,
        }


@dataclass(frozen=True, slots=True)
class Measurements:
    """What is defined on the analyzer.

    Parameters
    ----------
    ports
        The ports that are driven, rising.
    traces
        The measurements by (receiver, source).
    ratios
        Those of switch terms, by (receiver, source).
    style
        How parameters are named.
    state
        Question -> answer while nobody changes the definitions.
    """

    ports: tuple[int, ...]
    traces: Mapping[tuple[int, int], Trace]
    style: str
    state: Mapping[str, str]
    ratios: Mapping[tuple[int, int], Trace] = field(default_factory=lambda: MappingProxyType({}))

    def parameter(self, receiver: int, source: int) -> Trace:
        """Return the measurement of (receiver, source), defined or not."""
        found = self.traces.get((receiver, source))
        return found or Trace(receiver, source, 0, PARAMETER_NAMES[self.style](receiver, source))


def define_measurements(
    link: Link,
    family: Family,
    ports: tuple[int, ...],
    pairs: Sequence[tuple[int, int]],
    *,
    whole_matrix: bool,
    ratios: Sequence[tuple[int, int]] = (),
) -> Measurements:
    """Define the measurements `pairs` and read them back.

    Parameters
    ----------
    ports
        The ports that a sweep must drive.
    pairs
        (receiver, source) of each measurement.
    whole_matrix
        Declare the matrix of `ports` too, where the family wants that.
    ratios
        (port, driven port) of each switch term that is defined, too.

    Raises
    ------
    InstrumentError
        The analyzer does not have what was defined.
    NotSupported, ScpiError, BadAnswer, LinkLost, InstrumentTimeout
    """
    more = _ratio_traces(ratios, len(pairs))
    styles = family.behaviours.parameter_names
    tried = styles if max(ports) >= _FIRST_TWO_DIGIT_PORT else styles[:1]
    for style in tried[:-1]:
        try:
            traces = _traces(pairs, style) | more
            return _define(link, family, ports, traces, style, whole_matrix=whole_matrix)
        except ScpiError:
            # Refused in this spelling; the next one may be known.
            continue
    return _define(
        link, family, ports, _traces(pairs, tried[-1]) | more, tried[-1], whole_matrix=whole_matrix
    )


def define_one(link: Link, family: Family, trace: Trace) -> None:
    """Make the analyzer measure `trace` with the next sweep, and read that back.

    Raises
    ------
    InstrumentError, NotSupported, ScpiError, LinkLost, InstrumentTimeout
    """
    doing = f"choosing the measurement {trace.parameter}"
    write_supported(link, *family.fill("define_measurement", **trace.fields), doing=doing)
    _LISTINGS[family.behaviours.listing](link, family, {trace.name: trace})


def _traces(pairs: Sequence[tuple[int, int]], style: str) -> dict[str, Trace]:
    name = PARAMETER_NAMES[style]
    traces = [Trace(*pair, index, name(*pair)) for index, pair in enumerate(pairs, start=1)]
    return {trace.name: trace for trace in traces}


def _ratio_traces(pairs: Sequence[tuple[int, int]], before: int) -> dict[str, Trace]:
    traces = [Trace(*pair, index, "", ratio=True) for index, pair in enumerate(pairs, start=before + 1)]
    return {trace.name: trace for trace in traces}


def _define(
    link: Link,
    family: Family,
    ports: tuple[int, ...],
    traces: dict[str, Trace],
    style: str,
    *,
    whole_matrix: bool,
) -> Measurements:
    doing = f"defining the measurements of ports {', '.join(map(str, ports))}"
    clear = family.fill("clear_measurements", count=len(traces))
    define = [
        family.fill("define_measurement", **trace.fields) for trace in traces.values() if not trace.ratio
    ]
    ratios = [trace for trace in traces.values() if trace.ratio]
    show = [family.fill("show_measurement", **trace.fields) for trace in traces.values()]
    matrix: tuple[str, ...] = ()
    if whole_matrix:
        matrix = family.fill("define_matrix", ports=",".join(map(str, ports)), count=len(ports))
    # Where the words to clear differ, what is left over shows when the definitions are read back.
    write_tolerant(link, *clear, doing=doing)
    write_supported(link, *(command for group in define for command in group), doing=doing)
    if ratios:
        _define_ratios(link, family, ratios)
    write_tolerant(link, *(command for group in show for command in group), doing=doing)
    if matrix:
        write_supported(link, *matrix, doing=doing)
    state = _LISTINGS[family.behaviours.listing](link, family, traces) if traces else {}
    by_ports = {(trace.receiver, trace.source): trace for trace in traces.values() if not trace.ratio}
    return Measurements(
        ports,
        MappingProxyType(by_ports),
        style,
        MappingProxyType(state),
        MappingProxyType({(trace.receiver, trace.source): trace for trace in ratios}),
    )


def _define_ratios(link: Link, family: Family, ratios: Sequence[Trace]) -> None:
    commands = [
        command for trace in ratios for command in family.fill("define_ratio", **_ratio_fields(trace))
    ]
    try:
        link.write_checked(*commands, doing="defining the ratios of receivers for switch terms")
    except ScpiError as error:
        if not all(code in _REFUSED for code, _ in error.entries):
            raise
        listed = "; ".join(f'{code},"{text}"' for code, text in error.entries)
        raise NotSupported(
            f"{link.address}: switch terms: this analyzer has no ratios of its receivers ({listed})",
            hint="Access to the receivers is an option of many analyzers, or the family file spells it "
            f"otherwise. {WITHOUT_SWITCH_TERMS}",
        ) from error


def _ratio_fields(trace: Trace) -> dict[str, str | int]:
    return {key: value for key, value in trace.fields.items() if key != "parameter"}


def _list_pairs(link: Link, family: Family, traces: dict[str, Trace]) -> dict[str, str]:
    """One question brings every name with its parameter."""
    question = family.ask("measurements")
    answer = link.query(question)
    words: list[str] = []
    for part in answer.strip("\"'").split(","):
        word = part.strip()
        # The comma of a ratio (A2/B2,1) is none of the list.
        if word.isdecimal() and words and "/" in words[-1]:
            words[-1] += f",{word}"
        else:
            words.append(word)
    found = dict(zip(words[0::2], words[1::2], strict=False))
    _refuse_others(link, traces, found)
    return {question: answer}


def _list_one_by_one(link: Link, family: Family, traces: dict[str, Trace]) -> dict[str, str]:
    """Every measurement is asked for by its number."""
    questions = tuple(family.ask("measurement", **trace.fields) for trace in traces.values())
    answers = ask_all(link, questions)
    _refuse_others(link, traces, dict(zip(traces, answers, strict=True)))
    return dict(zip(questions, answers, strict=True))


def _refuse_others(link: Link, traces: dict[str, Trace], found: dict[str, str]) -> None:
    if all(trace.is_spelled(found.get(name, "")) for name, trace in traces.items()):
        return
    wanted = ", ".join(trace.parameter or f"switch term {trace.name}" for trace in traces.values())
    raise InstrumentError(
        f"{link.address}: measurements: defined {wanted}; the analyzer has "
        f"{', '.join(found.values()) or 'none'}",
        hint="The analyzer spells parameters otherwise than the family file says.",
    )


_LISTINGS: Mapping[str, Callable[[Link, Family, dict[str, Trace]], dict[str, str]]] = MappingProxyType(
    {"name-parameter-pairs": _list_pairs, "one-by-one": _list_one_by_one}
)
