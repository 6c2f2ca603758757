"""Looking through many lots finds what reading each of them whole finds."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from benchsweep.archive.lots import LotFile
from benchsweep.errors import RecordDamaged
from benchsweep.lots import state_of
from benchsweep.qualification import exclude_reel, process_views, replan_lot
from benchsweep.qualification.lots._skim import skimmed_decisions, skimmed_reels
from benchsweep.records import Parameter
from tests.qualification.lots.reels import BY, PRODUCT, names, opened, result, told


def lots(folder: Path, seed: int) -> list[LotFile]:
    """Lots with retests, exclusions and other plans, some closed."""
    rng = random.Random(seed)
    found = []
    for number in range(6):
        lot = f"lot {number}"
        opened(folder, lot, reels=names(12), seed=str(rng.random()))
        file = LotFile(folder, lot)
        if rng.random() < 0.5:
            exclude_reel(folder, lot, state_of(file.read()).sample[0], by=BY, reason='"event":"added"')
        if rng.random() < 0.5:
            replan_lot(folder, lot, by=BY, reason="more", aql_percent=1.5)
        sample = state_of(file.read()).sample
        results = [result(margin=rng.choice([1.0, rng.random(), float("inf")])) for _ in sample]
        if rng.random() < 0.3:
            results[0] = replace(results[0], margins=(replace(results[0].margins[0], margin=None),))
        told(folder, lot, results, close=rng.random() < 0.5)
        found.append(file)
    return found


@pytest.mark.parametrize("seed", range(4))
def test_results_and_decisions_are_those_of_the_whole_history(tmp_path: Path, seed: int) -> None:
    files = lots(tmp_path, seed)
    states = {file.lot: state_of(file.read()) for file in files}
    reels = list(skimmed_reels(tmp_path, lambda _: True))
    assert {(each.lot, each.reel) for each in reels} == {
        (lot, reel) for lot, state in states.items() for reel in state.counting
    }
    for each in reels:
        whole = states[each.lot].counting[each.reel].result
        assert each.measured_at == whole.measured_at
        assert each.worst
        for (parameter, end), margin in each.worst.items():
            worst = whole.margin_of(Parameter(parameter), end)
            assert margin == (None if worst is None else worst.margin)
    decisions = {state.opened.lot: state for state in skimmed_decisions(tmp_path, lambda _: True)}
    for lot, state in states.items():
        skimmed = decisions[lot]
        assert (skimmed.opened, skimmed.plan, skimmed.closed) == (state.opened, state.plan, state.closed)
        if state.closed is not None:
            assert skimmed.nonconforming == state.nonconforming
            assert len(skimmed.sample) == len(state.sample)


def test_a_changed_line_is_found_also_where_results_are_not_looked_into(tmp_path: Path) -> None:
    (*_, file) = lots(tmp_path, 1)
    path = Path(str(file.path))
    data = path.read_bytes()
    at = data.index(b'"insertion_loss"')
    path.write_bytes(data[:at] + b'"insertion_lost"' + data[at + 16 :])
    with pytest.raises(RecordDamaged):
        list(skimmed_decisions(tmp_path, lambda _: True))
    with pytest.raises(RecordDamaged):
        list(skimmed_reels(tmp_path, lambda _: True))
    # A process of the other lots is told, with the name of the one that is left out.
    views = process_views(tmp_path, product=PRODUCT)
    assert all(file.lot not in view.lots for view in views)
    assert all(path.name in view.notes[0] for view in views)
