"""Switch terms through the link: what the driver reads of a port is what stands behind its receivers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.definitions import find_definition
from benchsweep.errors import (
    DefinitionError,
    InvalidData,
    NotSupported,
    SettingsChanged,
    StaleData,
    UsageError,
)
from benchsweep.instrument import Analyzer, load_family, open_analyzer
from benchsweep.instrument.families import parse_switch_term
from benchsweep.instrument.links import open_link
from benchsweep.instrument.matrix._measurements import Trace, _list_pairs
from benchsweep.instrument.matrix._readout import check_switch_term
from benchsweep.records import SweepSettings
from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import load_bench
from benchsweep.simulator.bench._error_terms import draw_error_boxes

GRID = SweepSettings(start_hz=1e6, stop_hz=250e6, points=11, if_bandwidth_hz=10e3)
F = np.linspace(1e6, 250e6, 11)
SEED, PORTS = 9, 4
ABLE = ("named-measurement", "numbered-measurement", "quoted-parameter")
UNABLE = ("numbered-trace", "single-channel", "sense-function")
BOTH = ((1, 2), (2, 1))
CORD = "1=A:12.1,2=B:12.1,3=A:36.3,4=B:36.6"


@contextmanager
def analyzer_of(
    family: str, *, ports: int = PORTS, door: str = "analyzer", connected: str = CORD, **more: Any
) -> Iterator[Analyzer]:
    options = BenchOptions(family=family, ports=ports, seed=SEED, **{"noiseless": True, **more})
    told = ports if family == "sense-function" else None
    with (
        running_bench(options) as bench,
        open_analyzer(bench.addresses[door], ports=told, timeout_s=10.0) as analyzer,
    ):
        analyzer.link.write_checked(f'BENCh:CONNect "{connected}"', doing="attaching")
        yield analyzer


def true_terms(ports: tuple[int, ...]) -> NDArray[np.complex128]:
    """Closed form: a_j / b_j is the reflection of the termination behind the error box of port j, whatever
    drives (R. Marks, "Formulations of the basic vector network analyzer error model including switch terms",
    50th ARFTG, 1997, as cited in scikit-rf).
    """
    boxes = draw_error_boxes(load_bench("default").error_terms, PORTS, SEED, F)
    at = [port - 1 for port in ports]
    terms = np.repeat(boxes.switch[:, at, None], len(ports), axis=2)
    terms[:, range(len(at)), range(len(at))] = 0.0
    return terms


@pytest.mark.parametrize("door", ["analyzer", "hislip"])
@pytest.mark.parametrize("family", ABLE)
def test_switch_terms_through_the_link_are_the_true_ones(family: str, door: str) -> None:
    with analyzer_of(family, door=door) as analyzer:
        assert analyzer.measures_switch_terms
        analyzer.configure(GRID, (1, 2))
        plain = analyzer.sweep((1, 2))
        assert plain.switch_terms is None
        for ports in ((1, 2), (2, 4), (1, 2, 3, 4)):
            sweep = analyzer.sweep(ports, switch_terms=list(permutations(ports, 2)))
            assert sweep.switch_terms is not None
            np.testing.assert_allclose(sweep.switch_terms, true_terms(ports), rtol=1e-9, atol=0)
        one = analyzer.sweep((1, 2, 4), switch_terms={(4, 1)}).switch_terms
        assert one is not None
        np.testing.assert_allclose(one[:, 2, 0], true_terms((1, 4))[:, 1, 0], rtol=1e-9)
        assert np.count_nonzero(one) == F.size
        np.testing.assert_array_equal(analyzer.sweep((1, 2)).s, plain.s)
        analyzer.restore()
        again = analyzer.sweep((1, 2), switch_terms=BOTH)
        np.testing.assert_array_equal(again.s, plain.s)
        assert again.switch_terms is not None
        np.testing.assert_allclose(again.switch_terms, true_terms((1, 2)), rtol=1e-9, atol=0)
        assert analyzer.link.errors() == ()


@pytest.mark.parametrize("pair", [(2, 2), (1, 3), (5, 1)])
def test_a_switch_term_belongs_to_two_ports_that_are_swept(pair: tuple[int, int]) -> None:
    with analyzer_of("named-measurement") as analyzer:
        analyzer.configure(GRID, (1, 2))
        with pytest.raises(UsageError, match="switch term of port"):
            analyzer.sweep((1, 2), switch_terms=[pair])


@pytest.mark.parametrize("family", UNABLE)
def test_a_family_without_words_for_ratios_says_so_and_goes_on(family: str) -> None:
    with analyzer_of(family, ports=2, connected="1=A:12.1,2=B:12.1") as analyzer:
        assert not analyzer.measures_switch_terms
        analyzer.configure(GRID, (1, 2))
        with pytest.raises(NotSupported, match="has no words for ratios") as caught:
            analyzer.sweep((1, 2), switch_terms=BOTH)
        assert "short-open-load-thru" in (caught.value.hint or "")
        assert np.all(np.abs(analyzer.sweep((1, 2)).s) > 0)


@pytest.mark.parametrize("family", ABLE)
def test_an_analyzer_that_refuses_the_ratio_is_no_fault_of_the_link(family: str, tmp_path: Path) -> None:
    """Spelled as no analyzer here spells it, which is how one without the option answers: not supported."""
    text = find_definition("families", family).read_text(encoding="utf-8")
    path = tmp_path / f"{family}.toml"
    path.write_text(text.replace("A{receiver}", "X{receiver}"), encoding="utf-8")
    options = BenchOptions(family=family, ports=2, seed=SEED, noiseless=True)
    with (
        running_bench(options) as bench,
        open_analyzer(bench.address, family=str(path), timeout_s=10.0) as analyzer,
    ):
        analyzer.link.write_checked('BENCh:CONNect "1=thru 2,2=thru 1"', doing="attaching")
        analyzer.configure(GRID, (1, 2))
        with pytest.raises(NotSupported, match=r"no ratios of its receivers \(-224") as caught:
            analyzer.sweep((1, 2), switch_terms=BOTH)
        assert "option" in (caught.value.hint or "")
        assert np.all(np.abs(analyzer.sweep((1, 2)).s) > 0)


@pytest.mark.parametrize("noiseless", [True, False])
def test_ports_that_nothing_joins_have_no_switch_terms(noiseless: bool) -> None:
    with analyzer_of("named-measurement", connected="1=load,2=load", noiseless=noiseless) as analyzer:
        analyzer.configure(SweepSettings(1e6, 250e6, 2001, 100e3), (1, 2))

        def some_sweeps() -> None:
            # Noise is above a hundred times other noise at one point in ten thousand: 1 / (1 + 100^2).
            for _ in range(10):
                analyzer.sweep((1, 2), switch_terms=BOTH)

        with pytest.raises(InvalidData, match="switch term of port") as caught:
            some_sweeps()
        assert "as a thru does" in (caught.value.hint or "")


def test_switch_terms_are_averaged_with_the_readings_and_carry_their_noise() -> None:
    thru = "1=thru 2,2=thru 1"
    with analyzer_of("quoted-parameter", connected=thru, noiseless=False) as analyzer:
        off = []
        for averages in (1, 16):
            settings = SweepSettings(1e6, 250e6, 11, 10e3, averages)
            analyzer.configure(settings, (1, 2))
            terms = analyzer.sweep((1, 2), switch_terms=BOTH).switch_terms
            assert terms is not None
            off.append(np.sqrt(np.mean(np.abs(terms - true_terms((1, 2))) ** 2)))
    assert 1e-6 < off[0] < 1e-2
    assert off[1] < 0.6 * off[0]


def test_a_ratio_that_somebody_deletes_is_noticed() -> None:
    with analyzer_of("numbered-measurement") as analyzer:
        analyzer.configure(GRID, (1, 2))
        analyzer.sweep((1, 2), switch_terms=BOTH)
        analyzer.link.write_checked("CALC1:MEAS6:DEF 'S11'", doing="what another program does")
        with pytest.raises(SettingsChanged, match="A1/B1,2"):
            analyzer.sweep((1, 2), switch_terms=BOTH)


def test_a_ratio_that_was_not_measured_is_stale(scripted: Any) -> None:
    with open_link(scripted(lambda line: b"a,b,c,d\n").address) as link:
        with pytest.raises(StaleData, match="exactly zero"):
            check_switch_term(link, 1, 2, np.zeros(3, dtype=complex), F[:3])
        with pytest.raises(InvalidData, match="at 1 of 3 points, the first at 125900000 Hz"):
            check_switch_term(link, 1, 2, np.array([0.1, 0.1j, 101.0]), np.array([1.0, 2.0, 1.259e8]))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("A2/B2,1", (2, 1)),
        ('"a2/b2_1"', (2, 1)),
        ("A10/B10,3", (10, 3)),
        ("A2D1/B2D1", (2, 1)),
        ("A2/B2", None),
        ("A2/B1,1", None),
        ("B2/A2,1", None),
        ("A2D1/B2D3", None),
        ("A2D1/B2", None),
        ("S21", None),
        ("", None),
    ],
)
def test_spellings_of_a_switch_term(text: str, found: tuple[int, int] | None) -> None:
    assert parse_switch_term(text) == found


@pytest.mark.parametrize("listed", ["A2/B2,1", "A2/B2_1"])
def test_a_ratio_is_found_in_a_list_with_its_comma_or_without(listed: str) -> None:
    answer = f'"BENCH_1_1,S11,BENCH_A2_1,{listed},BENCH_2_2,S22"'

    class Asked:
        address = "somewhere"

        def query(self, question: str) -> str:
            assert question == "CALC1:PAR:CAT:EXT?"
            return answer

    traces = [Trace(1, 1, 1, "S11"), Trace(2, 1, 2, "", ratio=True), Trace(2, 2, 3, "S22")]
    state = _list_pairs(Asked(), load_family("named-measurement"), {one.name: one for one in traces})  # type: ignore[arg-type]
    assert state == {"CALC1:PAR:CAT:EXT?": answer}


@pytest.mark.parametrize(
    ("family", "old", "new", "words"),
    [
        ("named-measurement", "'{name}','A{receiver}", "'{name}',{parameter},'A{receiver}", "unknown field"),
        ("numbered-trace", "[queries]", 'define_ratio = ["X"]\n[queries]', None),
        ("sense-function", "[queries]", 'define_ratio = ["X"]\n[queries]', "by-sweep"),
        (
            "named-measurement",
            "'{name}';:CALC{channel}:DATA?",
            "'{parameter}';:CALC{channel}:DATA?",
            "by its name",
        ),
    ],
)
def test_what_a_family_file_may_say_of_ratios(
    family: str, old: str, new: str, words: str | None, tmp_path: Path
) -> None:
    text = find_definition("families", family).read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / f"{family}.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    if words is None:
        assert load_family(str(path)).has("define_ratio")
        return
    with pytest.raises(DefinitionError, match=words):
        load_family(str(path))


def test_words_for_ratios_void_no_calibration(tmp_path: Path) -> None:
    """Calibrations carry the digest of the family; raw S-parameters do not depend on the words for ratios."""
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    without = "\n".join(line for line in text.splitlines() if not line.startswith("define_ratio"))
    path = tmp_path / "named-measurement.toml"
    path.write_text(without, encoding="utf-8")
    family = load_family(str(path))
    assert not family.has("define_ratio")
    assert family.digest == load_family("named-measurement").digest
