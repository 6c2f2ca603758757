from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchsweep.definitions import data_folder
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.qualification import Station, load_station, open_bench

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
