from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.records import (
    CONTACTS_OF_PAIR,
    AnalyzerIdentity,
    BalancedPort,
    Hookup,
    Leg,
    Measurement,
    ModePort,
    Parameter,
    SMatrix,
    Specimen,
    Trace,
    balanced_ports,
    parse_leg,
    parse_mode,
    parse_port,
)
from benchsweep.simulator import BenchOptions, list_families
from benchsweep.simulator._server import build_devices

GRID = np.array([1e6, 2e6, 3e6])


def matrix(ports: tuple[str, ...] = ("A:12.1", "A:12.2")) -> SMatrix:
    n = len(ports)
    s = np.arange(GRID.size * n * n).reshape(GRID.size, n, n) + 0j
    return SMatrix(GRID, s, ports, (50.0,) * n)


def test_entries_are_found_by_label_row_out_column_in() -> None:
    m = matrix()
    assert np.array_equal(m.at(out="A:12.2", into="A:12.1"), m.s[:, 1, 0])


def test_an_unknown_label_names_what_there_is() -> None:
    with pytest.raises(KeyError, match=r"A:12\.1"):
        matrix().at(out="B:12.1", into="A:12.1")


def test_arrays_cannot_be_changed() -> None:
    m = matrix()
    with pytest.raises(ValueError, match="read-only"):
        m.s[0, 0, 0] = 1


@pytest.mark.parametrize("grid", [[1e6, 1e6], [2e6, 1e6], [0.0, 1e6], [float("nan"), 1e6], []])
def test_a_grid_that_does_not_rise_is_refused(grid: list[float]) -> None:
    with pytest.raises(ValueError, match="rising"):
        SMatrix(np.array(grid), np.zeros((len(grid), 1, 1)), ("A:12.1",), (50.0,))


def test_a_wrong_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        SMatrix(GRID, np.zeros((3, 2, 3)), ("a", "b"), (50.0, 50.0))
    with pytest.raises(ValueError, match="label"):
        SMatrix(GRID, np.zeros((3, 2, 2)), ("a", "a"), (50.0, 50.0))


def test_a_trace_may_be_infinite_but_not_nan() -> None:
    assert Trace(Parameter.FEXT, "B", ("12", "36"), GRID, np.full(3, np.inf)).value[0] == np.inf
    with pytest.raises(ValueError, match="NaN"):
        Trace(Parameter.FEXT, "B", ("12", "36"), GRID, np.full(3, np.nan))


BALANCED_PORTS = st.builds(
    BalancedPort, st.sampled_from("AB"), st.sampled_from(list(CONTACTS_OF_PAIR)), st.integers(0, 400)
)
LABELLIKE = st.one_of(
    st.text(max_size=12),
    st.from_regex(r"\A[0-9]{0,3}\.?[ABC]?[:.]?(12|36|45|78|9)?[./]?[0-9dc]{0,2}\Z"),
    st.from_regex(r"\A([0-9٣²+_ -]{1,2}\.)?[AB]:(12|36)([./][12dc])?\Z"),
)


@given(BALANCED_PORTS, st.sampled_from([0, 1]), st.sampled_from("dc"))
def test_labels_are_read_back(port: BalancedPort, which: int, mode: str) -> None:
    leg = port.legs[which]
    assert parse_port(str(port)) == port
    assert parse_leg(str(leg)) == leg
    assert leg.contact == CONTACTS_OF_PAIR[port.pair][which]
    through = ModePort(port, "d" if mode == "d" else "c")
    assert parse_mode(str(through)) == through


@pytest.mark.parametrize("read", [parse_port, parse_leg, parse_mode])
@given(text=LABELLIKE)
def test_no_text_is_taken_for_a_label_that_is_none(
    read: Callable[[str], BalancedPort | Leg | ModePort], text: str
) -> None:
    try:
        port = read(text)
    except ValueError:
        return
    assert str(port) == text


def test_labels_of_a_bundle_name_the_cable_and_those_of_the_specimen_do_not() -> None:
    assert str(BalancedPort("A", "12")) == "A:12"
    assert str(BalancedPort("A", "12", 3)) == "3.A:12"
    assert str(BalancedPort("A", "36", 3).legs[1]) == "3.A:36.6"
    assert [str(port) for port in balanced_ports(("12", "36"), cable=2)] == [
        "2.A:12",
        "2.A:36",
        "2.B:12",
        "2.B:36",
    ]
    assert len({BalancedPort("A", "12"), BalancedPort("A", "12", 1), BalancedPort("A", "12", 2)}) == 3
    with pytest.raises(ValueError, match="no balanced port"):
        BalancedPort("A", "12", -1)


@pytest.mark.parametrize("label", ["0.A:12", "03.A:12", "-1.A:12", "1.5.A:12", ".A:12", "3A:12", "٣.A:12"])
def test_each_balanced_port_has_one_label(label: str) -> None:
    with pytest.raises(ValueError, match="not the label of a balanced port"):
        parse_port(label)
    with pytest.raises(ValueError, match="not a leg label"):
        parse_leg(f"{label}.1")


def test_couplings_are_on_the_grid_of_the_specimen_and_name_the_disturbing_cables() -> None:
    def measured(*couplings: SMatrix) -> Measurement:
        return Measurement(Specimen("x"), "", "touchstone", "", "", matrix(), couplings=couplings)

    assert measured().disturbing_cables == ()
    several = measured(matrix(("A:12.1", "12.A:12.1")), matrix(("A:12/d", "3.B:78/d")), matrix(("A:36.3",)))
    assert several.disturbing_cables == (3, 12)
    other = SMatrix([1e6, 2e6, 4e6], np.zeros((3, 1, 1)), ("3.A:12.1",), (50.0,))
    with pytest.raises(ValueError, match="grid of the specimen"):
        measured(matrix(("3.A:12.1",)), other)


def test_the_eight_contacts_are_each_in_one_pair() -> None:
    contacts = sorted(c for pair in CONTACTS_OF_PAIR.values() for c in pair)
    assert contacts == list(range(1, 9))


def test_hookup_ports_are_rising_and_fixed() -> None:
    hookup = Hookup(1, {3: "A:12.2", 1: "A:12.1"})
    assert hookup.analyzer_ports == (1, 3)
    with pytest.raises(TypeError):
        hookup.connections[5] = "open"  # type: ignore[index]


def test_terms_are_written_as_the_trade_writes_them() -> None:
    """Letters and hyphens as in ISO/IEC 11801-1, clause 3.2 (abbreviations; from memory)."""
    terms = {parameter.value: parameter.term for parameter in Parameter}
    assert terms["ps_anext"] == "PS ANEXT"
    assert terms["acr_f"] == "ACR-F"
    assert terms["ps_aacr_f_average"] == "mean PS AACR-F"
    assert terms["eltctl"] == "ELTCTL"
    assert terms["return_loss"] == "return loss"
    words = [word for term in terms.values() for word in term.split()]
    assert {word for word in words if word.islower()} == {
        "insertion",
        "return",
        "loss",
        "delay",
        "skew",
        "mean",
    }


@pytest.mark.parametrize("family", list_families())
def test_the_simulated_bench_is_known_in_every_command_family(family: str) -> None:
    """By what its own side answers, not by what this side writes."""
    analyzer, _ = build_devices(BenchOptions(family=family, ports=list_families()[family][0]))
    assert AnalyzerIdentity(analyzer.idn, family, 4).simulated
    for real in ("A maker,VNA,17,1.0", "Not Simulated works,VNA,17,1.0", ""):
        assert not AnalyzerIdentity(real, family, 4).simulated
