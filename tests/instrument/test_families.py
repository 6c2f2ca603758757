"""Every command family against its own simulated analyzer: recognised, driven, the same numbers from each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.definitions import find_definition
from benchsweep.errors import BadAnswer, NotSupported, SettingsChanged, UsageError
from benchsweep.instrument import Analyzer, identify, list_families, open_analyzer, open_link
from benchsweep.records import RawSweep, SweepSegment, SweepSettings
from benchsweep.simulator import BenchOptions, running_bench

GRID = SweepSettings(start_hz=1e6, stop_hz=250e6, points=11, if_bandwidth_hz=10e3)
LOGARITHMIC = replace(GRID, spacing="logarithmic")
SEGMENTS = SweepSettings(
    None, None, None, if_bandwidth_hz=10e3, spacing="segments",
    segments=(SweepSegment(1e6, 10e6, 10, if_bandwidth_hz=1e3), SweepSegment(11e6, 250e6, 12)),
)  # fmt: skip

FAMILIES = (
    "numbered-measurement", "named-measurement", "quoted-parameter", "numbered-trace", "single-channel",
    "sense-function",
)  # fmt: skip
MOST_PORTS = {"single-channel": 2, "sense-function": 4}
LINEAR_ONLY = tuple(MOST_PORTS)
LEGS = tuple(f"{end}:{pair}.{contact}" for end in "AB" for contact, pair in enumerate(
    ("12", "12", "36", "45", "45", "36", "78", "78"), start=1))  # fmt: skip


@contextmanager
def analyzer_of(family: str, ports: int, **more: Any) -> Iterator[Analyzer]:
    """An analyzer of `family`, found by asking, with a cord attached to all its ports."""
    options = BenchOptions(family=family, ports=ports, **more)
    # The last family cannot tell how many ports there are.
    told = ports if family == "sense-function" else None
    with (
        running_bench(options) as bench,
        open_analyzer(bench.address, ports=told, timeout_s=10.0) as analyzer,
    ):
        assert (analyzer.family.name, analyzer.identity.ports) == (family, ports)
        connections = ",".join(f"{port}={leg}" for port, leg in zip(range(1, ports + 1), LEGS, strict=False))
        analyzer.link.write_checked(f'BENCh:CONNect "{connections}"', doing="attaching")
        yield analyzer


def test_six_families_are_shipped() -> None:
    assert tuple(family.name for family in list_families()) == FAMILIES
    for family in list_families():
        assert family.lacks
        assert "memory" in family.source


@pytest.mark.parametrize("door", ["analyzer", "hislip"])
@pytest.mark.parametrize("family", FAMILIES)
def test_recognised_by_asking(family: str, door: str, stopwatch: Any) -> None:
    with running_bench(BenchOptions(family=family, ports=2)) as bench:
        with open_link(bench.addresses[door], timeout_s=10.0) as link:
            asked_at = stopwatch()
            identity = identify(link)
            seconds = stopwatch() - asked_at
            sent = [item.text for item in link.recent() if item.direction == "sent"]
    assert (identity.family, identity.ports) == (family, 2)
    assert seconds < 3.0
    # Questions only.
    assert [text for text in sent if "?" not in text] == ["*CLS"]
    assert identity.limits["max_frequency_hz"] > identity.limits["min_frequency_hz"] > 0.0
    assert identity.limits["max_points"] > 1000
    assert identity.lacks
    assert all(item.answer for item in identity.evidence)


@pytest.mark.parametrize("ports", [2, 4, 8, 16])
def test_the_same_numbers_through_every_family(ports: int) -> None:
    """Layouts, orders, byte orders, polarities and names differ; what was measured does not."""

    def measure(family: str) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        with analyzer_of(family, ports, noiseless=True) as analyzer:
            every = tuple(range(1, ports + 1))
            analyzer.configure(GRID, every)
            whole = analyzer.sweep(every)
            some = analyzer.sweep((1, ports))
            np.testing.assert_allclose(whole.frequency_hz, np.linspace(1e6, 250e6, 11), rtol=0, atol=1e-6)
            assert analyzer.link.errors() == ()
            return whole.s, some.s

    families = [name for name in FAMILIES if ports <= MOST_PORTS.get(name, 16)]
    first, first_pair = measure(families[0])
    assert np.count_nonzero(np.abs(first) > 1e-6) > 0.5 * first.size
    # Receivers differ, so a transposed matrix would show.
    assert np.max(np.abs(first - first.transpose(0, 2, 1))) > 1e-6
    for name in families[1:]:
        whole, pair = measure(name)
        np.testing.assert_allclose(whole, first, rtol=0, atol=1e-9, err_msg=name)
        np.testing.assert_allclose(pair, first_pair, rtol=0, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_same_numbers_through_every_door(family: str) -> None:
    with running_bench(BenchOptions(family=family, ports=2, noiseless=True)) as bench:
        with open_link(bench.address) as link:
            link.write_checked('BENCh:CONNect "1=A:12.1,2=B:12.2"', doing="attaching")
        found = []
        for door in ("analyzer", "hislip", "vxi11"):
            with open_analyzer(bench.addresses[door], timeout_s=10.0) as analyzer:
                analyzer.configure(GRID, (1, 2))
                found.append(analyzer.sweep((1, 2)).s)
                analyzer.restore()
                found.append(analyzer.sweep((1, 2)).s)
    assert np.max(np.abs(found[0])) > 0.1
    for s in found[1:]:
        np.testing.assert_array_equal(s, found[0])


@pytest.mark.parametrize("settings", [LOGARITHMIC, SEGMENTS], ids=["logarithmic", "segments"])
def test_other_spacings_are_read_back(settings: SweepSettings) -> None:
    seen: list[RawSweep] = []
    for family in FAMILIES:
        with analyzer_of(family, 2, noiseless=True) as analyzer:
            if family in LINEAR_ONLY:
                word = "logarithmic" if settings is LOGARITHMIC else "segment"
                with pytest.raises(NotSupported, match=f"{word} sweep: not available in .*{family}"):
                    analyzer.configure(settings, (1, 2))
                continue
            used = analyzer.configure(settings, (1, 2))
            seen.append(analyzer.sweep((1, 2)))
        assert used.spacing == settings.spacing
        if settings is SEGMENTS:
            assert [part.if_bandwidth_hz for part in used.segments] == [1e3, 10e3]
            assert (used.start_hz, used.stop_hz, used.points) == (1e6, 250e6, 22)
    if settings is SEGMENTS:
        axis = np.concatenate([np.linspace(1e6, 10e6, 10), np.linspace(11e6, 250e6, 12)])
    else:
        axis = np.geomspace(1e6, 250e6, 11)
    for sweep in seen:
        np.testing.assert_allclose(sweep.frequency_hz, axis, rtol=0, atol=1.0)
        np.testing.assert_allclose(sweep.s, seen[0].s, rtol=0, atol=1e-9)
    assert len(seen) == 4


@pytest.mark.parametrize("family", FAMILIES)
def test_averages_lower_the_noise(family: str) -> None:
    def scatter(averages: int) -> float:
        with analyzer_of(family, 2, seed=5) as analyzer:
            analyzer.link.write_checked('BENCh:CONNect "1=load,2=load"', doing="attaching")
            settings = replace(GRID, points=401, if_bandwidth_hz=30e3, averages=averages, power_dbm=-30.0)
            assert analyzer.configure(settings, (1, 2)).averages == averages
            s = analyzer.sweep((1, 2)).s
            return float(np.sqrt(np.mean(np.abs(s[:, [0, 1], [1, 0]]) ** 2)))

    # Nine averages lower the noise by three; 802 complex values tell that to a few per cent.
    assert scatter(1) / scatter(9) == pytest.approx(3.0, rel=0.15)


# What somebody may have left on or may switch on meanwhile, in the words of each family.
MEDDLING = {
    "numbered-measurement": ("SENS1:CORR:STAT ON", "SENS1:CORR:EXT ON", "SENS1:SWE:MODE CONT",
                             'CALC1:MEAS1:DEF "S22"', "SENS1:BWID 100", "FORM REAL,32"),
    "named-measurement": ("SENS1:CORR:STAT ON", "SENS1:CORR:EXT ON", "SENS1:SWE:MODE CONT",
                          "CALC1:FSIM:STAT ON", "SENS1:BWID 100", "MMEM:STOR:TRAC:FORM:SNP MA"),
    "quoted-parameter": ("SENS1:CORR:STAT ON", "INIT1:CONT ON", "CALC1:PAR:DEL:ALL", "SENS1:BWID 100",
                         "FORM:BORD NORM"),
    "numbered-trace": ("SENS1:CORR:STAT ON", "SENS1:CORR:EXT ON", "TRIG:SOUR INT", "CALC1:PAR1:DEF S22",
                       "SENS1:BWID 100", "FORM:DATA ASC"),
    "single-channel": ("SENS:CORR:STAT ON", "INIT:CONT ON", "CALC:PAR1:DEF S22", "SENS:BWID 100"),
    "sense-function": ("SENS1:CORR:STAT ON", "INIT1:CONT ON", "SENS1:BWID 100", "FORM:BORD NORM"),
}  # fmt: skip


@pytest.mark.parametrize(
    ("family", "command"), [(family, command) for family, words in MEDDLING.items() for command in words]
)
def test_a_change_at_the_front_panel_shows_and_is_set_right(family: str, command: str) -> None:
    with analyzer_of(family, 2, noiseless=True) as analyzer:
        analyzer.configure(GRID, (1, 2))
        before = analyzer.sweep((1, 2))
        analyzer.link.write_checked(command, doing="meddling")
        with pytest.raises(SettingsChanged, match="before the sweep") as caught:
            analyzer.sweep((1, 2))
        changed = caught.value.differences
        assert all(re.search(r" was .*, is ", item) for item in changed)
        assert 1 <= len(changed) <= 2
        assert caught.value.messages
        analyzer.configure(GRID, (1, 2))
        np.testing.assert_allclose(analyzer.sweep((1, 2)).s, before.s, rtol=0, atol=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_what_was_set_stands_in_the_sweep(family: str) -> None:
    with analyzer_of(family, 2) as analyzer:
        analyzer.configure(GRID, (1, 2))
        state = analyzer.sweep((1, 2)).state
    for word in ("FREQ:STAR?", "FREQ:STOP?", "SWE:POIN?", "BWID?", "AVER:", "POW?", "CORR:STAT?", "FORM"):
        assert any(word in question for question in state), word
    assert any(item.endswith(("SWE:MODE?", "CONT?")) for item in state)


@pytest.mark.parametrize("family", FAMILIES)
def test_restored_on_a_fresh_link(family: str) -> None:
    with analyzer_of(family, 2, noiseless=True) as analyzer:
        analyzer.configure(GRID, (1, 2))
        before = analyzer.sweep((1, 2))
        old = analyzer.link
        analyzer.link.write_checked("*RST", doing="meddling")
        analyzer.restore()
        assert analyzer.link is not old
        after = analyzer.sweep((1, 2))
    np.testing.assert_allclose(after.s, before.s, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(after.frequency_hz, before.frequency_hz)


# -- finding another way -----------------------------------------------------------------------------------


def own_family(tmp_path: Path, name: str, *changes: tuple[str, str]) -> str:
    """Write a shipped family file with changes and return its path."""
    text = find_definition("families", name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@contextmanager
def own_analyzer(family: str, path: str, ports: int, **more: Any) -> Iterator[Analyzer]:
    with running_bench(BenchOptions(family=family, ports=ports, noiseless=True)) as bench:
        # Each way that the analyzer does not know costs one time-out.
        with open_analyzer(bench.address, family=path, timeout_s=2.0, **more) as analyzer:
            yield analyzer


def matrix_of(analyzer: Analyzer) -> NDArray[np.complex128]:
    every = tuple(range(1, analyzer.identity.ports + 1))
    connections = ",".join(f"{port}={leg}" for port, leg in zip(every, LEGS, strict=False))
    analyzer.link.write_checked(f'BENCh:CONNect "{connections}"', doing="attaching")
    analyzer.configure(GRID, every)
    return analyzer.sweep(every).s


def test_an_analyzer_without_the_matrix_question_is_read_trace_by_trace(tmp_path: Path) -> None:
    path = own_family(tmp_path, "named-measurement", ("DATA:SNP:PORT?", "DATA:NONE?"))
    with analyzer_of("named-measurement", 4, noiseless=True) as usual:
        wanted = matrix_of(usual)
    with own_analyzer("named-measurement", path, 4) as analyzer:
        np.testing.assert_allclose(matrix_of(analyzer), wanted, rtol=0, atol=1e-12)
        sent = [item.text for item in analyzer.link.recent() if "DATA:NONE?" in item.text]
        assert len([text for text in sent if text.startswith("CALC1:DATA:NONE?")]) == 1
        analyzer.sweep((1, 2))
        # It is not asked for a second time.
        assert len([i for i in analyzer.link.recent() if i.text.startswith("CALC1:DATA:NONE?")]) <= 1


def test_no_way_to_read_the_matrix_is_said(tmp_path: Path) -> None:
    path = own_family(
        tmp_path,
        "named-measurement",
        ("DATA:SNP:PORT?", "DATA:NONE?"),
        ('["snp-rows", "by-trace"]', '["snp-rows"]'),
    )
    with own_analyzer("named-measurement", path, 2) as analyzer:
        with pytest.raises(NotSupported, match=r"reading the matrix .snp-rows.: this analyzer has not"):
            matrix_of(analyzer)


@pytest.mark.parametrize("family", ["named-measurement", "numbered-trace", "quoted-parameter"])
def test_names_above_nine_ports_in_the_other_spelling(family: str, tmp_path: Path) -> None:
    """The first spelling is refused by the analyzer, the second is known."""
    styles = '["equal-digits-above-nine", "underscore-above-nine"]'
    turned = '["underscore-above-nine", "equal-digits-above-nine"]'
    with own_analyzer(family, own_family(tmp_path, family, (styles, turned)), 16) as analyzer:
        other = matrix_of(analyzer)
    with analyzer_of(family, 16, noiseless=True) as usual:
        np.testing.assert_allclose(matrix_of(usual), other, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("order", "agrees"), [("big-endian", True), ("found", True), ("little-endian", False)]
)
def test_a_byte_order_that_cannot_be_set(order: str, agrees: bool, tmp_path: Path) -> None:
    """The simulated analyzer of this family sends the high byte first, whatever the file says."""
    path = own_family(tmp_path, "single-channel", ('byte_order = "found"', f'byte_order = "{order}"'))
    with own_analyzer("single-channel", path, 2) as analyzer:
        if agrees:
            with analyzer_of("single-channel", 2, noiseless=True) as usual:
                np.testing.assert_array_equal(matrix_of(analyzer), matrix_of(usual))
        else:
            with pytest.raises(BadAnswer, match="other byte order"):
                matrix_of(analyzer)


def test_a_function_that_the_analyzer_lacks_is_named(tmp_path: Path) -> None:
    path = own_family(tmp_path, "named-measurement", ("SWE:TYPE LOG", "SWE:KIND LOG"))
    with own_analyzer("named-measurement", path, 2) as analyzer:
        with pytest.raises(NotSupported, match="choosing the logarithmic sweep: this analyzer has not"):
            analyzer.configure(LOGARITHMIC, (1, 2))
        analyzer.configure(GRID, (1, 2))


def test_an_overloaded_receiver_needs_no_known_status(tmp_path: Path) -> None:
    path = own_family(tmp_path, "quoted-parameter", ("STAT:QUES:COND?", "STAT:NONE?"))
    with own_analyzer("quoted-parameter", path, 2) as analyzer:
        matrix_of(analyzer)
        assert analyzer.link.errors() == ()


@pytest.mark.parametrize(
    "segments",
    [
        (), (SweepSegment(1e6, 1e6, 5),), (SweepSegment(1e6, 2e6, 1),),
        (SweepSegment(1e6, 3e6, 5), SweepSegment(3e6, 5e6, 5)),
        (SweepSegment(1e6, 3e6, 5, if_bandwidth_hz=-1.0),),
    ],
)  # fmt: skip
def test_segments_that_make_no_sense_touch_nothing(segments: tuple[SweepSegment, ...]) -> None:
    with analyzer_of("named-measurement", 2) as analyzer:
        sent = len(analyzer.link.recent())
        with pytest.raises(UsageError):
            analyzer.configure(replace(SEGMENTS, segments=segments), (1, 2))
        with pytest.raises(UsageError):
            analyzer.configure(replace(GRID, segments=SEGMENTS.segments), (1, 2))
        assert len(analyzer.link.recent()) == sent
        # What was used may be asked for again.
        used = analyzer.configure(SEGMENTS, (1, 2))
        assert analyzer.configure(used, (1, 2)) == used
