"""Budget files: what is shipped, what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.definitions import list_definitions
from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.simulator.bench import load_bench
from benchsweep.uncertainty import Budget, Level, load_budget, read_budget

HEAD = (
    'schema = 1\nname = "b"\ndescription = "d"\nsource = "s"\nstanding = "from-memory"\ncoverage_factor = 2\n'
)
TERM = '[[term]]\nname = "{name}"\nkind = "{kind}"\nsource = "s"\nstanding = "from-memory"\n'


def directivity(name: str = "D") -> str:
    return TERM.format(name=name, kind="directivity") + "level_db = -50\n"


@pytest.mark.parametrize("name", ["simulated", "contacts-template", "baluns-template"])
def test_shipped_budgets_say_where_every_figure_comes_from(name: str) -> None:
    assert name in list_definitions("budgets")
    budget = load_budget(name)
    assert budget.name == name
    assert budget.coverage_factor == 2
    assert all(term.source and term.standing for term in budget.term)


def test_the_templates_are_for_a_laboratory_to_replace() -> None:
    for name in ("contacts-template", "baluns-template"):
        assert {term.standing for term in load_budget(name).term} <= {"common-practice", "from-memory"}


def of_kind(budget: Budget, kind: str) -> dict[str, object]:
    (term,) = (term for term in budget.term if term.kind == kind)
    return term.model_dump()


def test_the_simulated_budget_says_what_the_default_bench_says() -> None:
    bench, budget = load_bench("default"), load_budget("simulated")
    drift, noise, paths = bench.drift, bench.noise, bench.error_terms
    contact = of_kind(budget, "contact")
    assert contact["resistance_ohm"] == drift.contact_resistance_ohm
    assert contact["inductance_ph"] == pytest.approx(drift.contact_inductance_h * 1e12)
    flexing = of_kind(budget, "flexing")
    assert flexing["delay_ps"] == pytest.approx(drift.flex_delay_s * 1e12)
    assert flexing["gain_db"] == drift.flex_gain_db
    receivers = of_kind(budget, "noise")
    assert receivers["floor_dbm_in_10_hz"] == noise.floor_dbm_in_10_hz
    assert receivers["trace_noise_db_rms_at_1_khz"] == noise.trace_noise_db_rms_at_1_khz
    assert receivers["trace_noise_db_rms_least"] == noise.trace_noise_db_rms_least
    temperature = of_kind(budget, "drift-temperature")
    assert temperature["kelvin"] == drift.ambient_sigma_k
    assert temperature["time_constant_s"] == drift.ambient_time_s
    assert temperature["gain_db_per_k"] == drift.gain_db_per_k
    assert temperature["delay_ps_per_k"] == pytest.approx(paths.cable_delay_s * drift.delay_per_k * 1e12)
    # Directivity wanders behind the cables, match in front of them.
    grid = np.array([1e6, 100e6, 500e6])
    loss_db = 2.0 * (paths.loss_constant_db + paths.loss_at_500_mhz_db * np.sqrt(grid / 500e6))
    (walk,) = (term for term in budget.term if term.kind == "drift-walk")
    assert walk.directivity_db.at(grid) == pytest.approx(
        drift.reflection_walk_db_after_1_h + loss_db, abs=0.01
    )
    assert walk.match_db.at(grid) == pytest.approx(drift.reflection_walk_db_after_1_h)
    (receiver,) = (term for term in budget.term if term.kind == "noise")
    assert receiver.path_loss_db.at(grid) == pytest.approx(loss_db, abs=0.01)


def test_a_level_is_a_number_or_a_table_over_frequency() -> None:
    grid = np.array([1e9, 4e9])
    assert Level.model_validate(-40).at(grid) == pytest.approx([-40.0, -40.0])
    level = Level(constant=-60.0, per_root_ghz=2.0, per_ghz=10.0)
    assert level.at(grid) == pytest.approx([-48.0, -16.0])
    assert Level(constant=-20.0).amplitude(grid) == pytest.approx([0.1, 0.1])


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (HEAD + directivity() + "levle_db = 3\n", "unknown key"),
        (HEAD + "extra = 1\n" + directivity(), "extra"),
        (HEAD + TERM.format(name="x", kind="gravity"), "kind"),
        (HEAD + directivity() + directivity(), "two terms are named"),
        (HEAD.replace("= 2", "= 3") + directivity(), "coverage_factor"),
        (HEAD + "term = []\n", "term"),
        (HEAD + directivity().replace("-50", "nan"), "level_db"),
        (HEAD + directivity().replace("-50", '"loud"'), "level_db"),
        (HEAD + TERM.format(name="f", kind="floor") + 'level_db = -9\nparameters = ["tilt"]\n', "parameters"),
        (HEAD + TERM.format(name="c", kind="contact") + "resistance_ohm = -1\n", "resistance_ohm"),
        ("schema = [", "TOML"),
    ],
)
def test_a_wrong_budget_is_refused_with_the_key(text: str, word: str) -> None:
    with pytest.raises(DefinitionError) as caught:
        read_budget(text)
    assert word in f"{caught.value.message} {caught.value.hint}"
    assert "budget" in caught.value.message


def test_a_whole_number_may_be_written_with_a_point() -> None:
    assert read_budget(HEAD.replace("= 2\n", "= 2.0\n") + directivity()).coverage_factor == 2


def test_an_unknown_budget_is_named() -> None:
    with pytest.raises(UnknownName, match="no budget named 'tomorrow'"):
        load_budget("tomorrow")
