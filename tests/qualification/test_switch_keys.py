"""``[switch]`` of a station file: what a map of relays may be; a bad one is refused before anything moves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchsweep.definitions import find_definition
from benchsweep.errors import DefinitionError, HookupImpossible, UsageError
from benchsweep.qualification import Station, load_station, open_bench
from benchsweep.qualification._places import Places
from benchsweep.qualification._switching import check_switch

EXAMPLE = find_definition("stations", "relays-example").read_text(encoding="utf-8")


def changed(tmp_path: Path, *pairs: tuple[str, str]) -> Station:
    text = EXAMPLE
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return load_station(str(path))


def route(target: str, channel: str, *, times: int = 1) -> str:
    one = f'[[switch.route]]\nport = 1\ntarget = "{target}"\nchannels = ["{channel}"]\n'
    return times * one + "[switch.columns]"


def test_the_example_reaches_everything() -> None:
    station = load_station("relays-example")
    check_switch(station, Places(((1, 2), (3, 4))))
    routes = station.switch.routes()
    assert routes.closed({1: "A:36.6", 2: "B:78.8", 4: "short"}) == ("1!6", "2!16", "4!18")
    assert routes.rails == ("20", "21")
    assert len(routes.every((1, 2, 3, 4))) == 84
    assert (station.analyzer.retries, station.analyzer.wait_for_link_s) == (2, 60.0)


def test_the_columns_of_the_example_are_the_contacts_of_both_ends() -> None:
    """Contacts 1 to 8 at end A, then at end B: the matrix that the simulator documents."""
    columns = load_station("relays-example").switch.columns
    legs = {leg: column for leg, column in columns.items() if ":" in leg}
    assert {leg: "AB".index(leg[0]) * 8 + int(leg[-1]) for leg in legs} == legs


def test_what_the_comments_show_works(tmp_path: Path) -> None:
    """The lines that a reader would copy out of the comments."""
    route = "\n".join(
        re.findall(r"^#     (\[\[switch\.route\]\]|port = 3|target = .*|channels = .*)$", EXAMPLE, re.M)
    )
    station = changed(
        tmp_path,
        ("[switch.columns]", '[switch.idle]\n"A:12.1" = ["5!1"]\n' + route + "\n\n[switch.columns]"),
        ('channels = "{port}!{column}"', 'channels = "1{port:02}{column:02}"'),
    )
    routes = station.switch.routes()
    assert routes.closed({1: "A:12.2", 3: "B:78.8"}) == ("10102", "3!22", "9!1", "5!1")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"A:12.1" = 1', '"A:12.3" = 1', "switch.columns.*'A:12.3': expected a leg of the specimen"),
        ('"A:12.1" = 1', '"A:12.1" = 2', "column 2 is given to A:12.1 and to A:12.2"),
        ('"A:12.1" = 1', '"A:12.1" = [1, 30]', "the column of A:12.1 must be one number"),
        ('"A:12.1" = 1', '"A:12.1" = "1"', "A:12.1"),
        ("thru = [20, 21]", "thru = []", "the column of thru must be .* at least one rail"),
        ('"{port}!{column}"', '"{port}!3"', r"switch\.channels.*both \{port\} and \{column\}"),
        ('"{port}!{column}"', '"@{port}!{column}"', "expected digits"),
        ('"{port}!{column}"', '"{port.real}!{column}"', "expected digits"),
        ('"{port}!{column}"', '""', "channels and columns belong together"),
        ('kind = "relays"', 'kind = "person"', "settle_s.*only with kind"),
        ('standards = "relays"', 'standards = "robot"', "switch.standards"),
        ("settle_s = 0.05", "settle_s = -1", "switch.settle_s"),
        ("settle_s = 0.05", "settel_s = 0.05", "settel_s"),
        ("retries = 2", "retries = -1", "analyzer.retries"),
        ("[switch.columns]", route("A:12.1", "1!1:1!4"), r"route.*channels"),
        (
            "[switch.columns]",
            route("A:1", "1!1"),
            "'A:1': expected a leg of the specimen, such as A:36.6, or op",
        ),
        (
            "[switch.columns]",
            route("open", "1!1", times=2),
            "analyzer port 1 to open is given more than once",
        ),
        ("[switch.columns]", '[switch.idle]\nopen = ["1!1"]\n[switch.columns]', "'open': expected a leg"),
    ],
)
def test_a_map_that_makes_no_sense_is_refused(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(DefinitionError, match=words) as caught:
        changed(tmp_path, (old, new))
    assert "bench.toml" in caught.value.message


def test_a_way_that_is_missing_is_found_before_the_instrument_is_touched(tmp_path: Path) -> None:
    station = (
        changed(tmp_path, ('"B:45.5" = 13\n', ""))
        .at_address("TCPIP::127.0.0.1::9::SOCKET")
        .at_switch_address("TCPIP::127.0.0.1::9::SOCKET")
    )
    with pytest.raises(
        DefinitionError, match=r"bench\.toml: \[switch\]: no way from analyzer port .* to B:45.5"
    ):
        with open_bench(station, prompt=None):
            pass
    without = changed(tmp_path, ("load = 19\n", ""))
    with pytest.raises(DefinitionError, match="analyzer port 1 to load"):
        check_switch(without, Places(((1, 2), (3, 4))))
    # A person who places the standards needs no column for them.
    by_hand = changed(tmp_path, ("load = 19\n", ""), ('standards = "relays"', 'standards = "person"'))
    check_switch(by_hand, Places(((1, 2), (3, 4))))
    with pytest.raises(HookupImpossible):
        check_switch(load_station("relays-example"), Places(((1, 2),)))


def test_a_person_is_needed_for_standards_by_hand(tmp_path: Path) -> None:
    station = changed(tmp_path, ('standards = "relays"', 'standards = "person"'))
    with pytest.raises(UsageError, match="places the calibration standards, and there is nobody to ask"):
        with open_bench(
            station.at_address("TCPIP::127.0.0.1::9::SOCKET").at_switch_address(
                "TCPIP::127.0.0.1::9::SOCKET"
            ),
            prompt=None,
        ):
            pass


def test_the_address_of_the_matrix_can_be_given() -> None:
    station = load_station("relays-example").at_switch_address("TCPIP::192.0.2.11::5025::SOCKET")
    assert station.switch.address == "TCPIP::192.0.2.11::5025::SOCKET"
    assert station.at_switch_address(None) is station
    with pytest.raises(UsageError, match="has no relay matrix"):
        load_station("simulated").at_switch_address("TCPIP::192.0.2.11::5025::SOCKET")
