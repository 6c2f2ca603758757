from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchsweep.definitions import data_folder, find_definition
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.qualification import Station, load_station, open_bench
from benchsweep.simulator import BenchOptions, running_bench

MINIMAL = """
schema = 1
name = "bench-1"
[sweep]
if_bandwidth_hz = 1000.0
[switch]
kind = "person"
[fixture]
name = "contacts"
[calibration]
kit = "ideal"
max_age_hours = 8.0
"""


def station(tmp_path: Path, text: str = MINIMAL) -> Station:
    path = tmp_path / "bench-1.toml"
    path.write_text(text)
    return load_station(str(path))


def test_a_grid_is_whole_or_absent(tmp_path: Path) -> None:
    assert station(tmp_path).settings().points is None
    half = MINIMAL.replace("[sweep]", "[sweep]\nstart_mhz = 1.0")
    with pytest.raises(DefinitionError, match=r"sweep: .*belong together"):
        station(tmp_path, half)
    backwards = MINIMAL.replace("[sweep]", "[sweep]\nstart_mhz = 5.0\nstop_mhz = 1.0\npoints = 10")
    with pytest.raises(DefinitionError, match="start_mhz must be below stop_mhz"):
        station(tmp_path, backwards)


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden"])
def test_a_station_name_is_safe_as_a_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(DefinitionError, match="name"):
        station(tmp_path, MINIMAL.replace("bench-1", name))


def test_settings_are_in_hertz(tmp_path: Path) -> None:
    text = MINIMAL.replace("[sweep]", "[sweep]\nstart_mhz = 1.0\nstop_mhz = 250.0\npoints = 250")
    settings = station(tmp_path, text).settings()
    assert (settings.start_hz, settings.stop_hz, settings.points) == (1e6, 250e6, 250)


def test_a_missing_calibration_is_refused_unless_the_station_says_otherwise(tmp_path: Path) -> None:
    assert station(tmp_path).calibration.when_missing == "refuse"
    assert load_station("simulated").calibration.when_missing == "calibrate"


def test_calibrations_are_stored_beside_the_work_or_in_the_data_folder(tmp_path: Path) -> None:
    loaded = station(tmp_path)
    assert loaded.calibration_folder() == data_folder() / "calibrations" / "stored" / "bench-1"
    Path("calibrations").mkdir()
    assert loaded.calibration_folder() == Path.cwd() / "calibrations" / "stored" / "bench-1"
    own = station(tmp_path, MINIMAL + 'folder = "/srv/cal"\n')
    assert own.calibration_folder() == Path("/srv/cal")


def test_without_an_address_a_real_station_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no analyzer address"), open_bench(station(tmp_path), prompt=None):
        pass
    assert not station(tmp_path).starts_own_bench
    assert load_station("simulated").starts_own_bench
    assert not load_station("simulated").at_address("TCPIP::127.0.0.1::1::SOCKET").starts_own_bench


def test_the_station_in_the_readme_is_a_station(tmp_path: Path) -> None:
    readme = Path(__file__).parents[2] / "README.md"
    example = re.search(r"```toml\n(# my-bench\.toml.*?)```", readme.read_text(encoding="utf-8"), re.DOTALL)
    assert example is not None
    loaded = station(tmp_path, example[1])
    assert (loaded.name, loaded.settings().points, loaded.switch.kind) == ("my-bench", 500, "person")


def test_how_a_lost_link_is_met(tmp_path: Path) -> None:
    keys = station(tmp_path).analyzer
    assert (keys.retries, keys.wait_for_link_s) == (2, 60.0)
    text = MINIMAL + "[analyzer]\nretries = 0\nwait_for_link_s = 600.0\n"
    keys = station(tmp_path, text).analyzer
    assert (keys.retries, keys.wait_for_link_s) == (0, 600.0)
    for wrong in ("retries = -1", "retries = 1.5", "wait_for_link_s = -1.0", "wait_for_link_s = nan"):
        with pytest.raises(DefinitionError, match=wrong.split()[0]):
            station(tmp_path, MINIMAL + f"[analyzer]\n{wrong}\n")


@pytest.mark.parametrize("by", ["name", "path"])
def test_a_family_that_the_station_names_wins_over_detection(tmp_path: Path, by: str) -> None:
    """The simulated analyzer would be recognised; the file of the station is used all the same."""
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    assert 'name = "named-measurement"' in text
    own = tmp_path / "families" / "of-our-own.toml"
    own.parent.mkdir()
    own.write_text(text.replace('name = "named-measurement"', 'name = "of-our-own"', 1), encoding="utf-8")
    with running_bench(BenchOptions(ports=4)) as served:
        loaded = load_station("simulated").at_address(served.address)
        family = str(own)
        if by == "name":
            (data_folder() / "families").mkdir(parents=True)
            own.rename(data_folder() / "families" / own.name)
            family = "of-our-own"
        keys = loaded.analyzer.model_copy(update={"family": family})
        with open_bench(loaded.model_copy(update={"analyzer": keys}), prompt=None) as bench:
            assert bench.analyzer.identity.family == "of-our-own"
