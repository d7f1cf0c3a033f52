from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any, cast

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.maximum import (
    MAXIMAL_TEST,
    Maximum,
    MaximumProposal,
    maximum_by_age,
    maximum_on,
    maximum_proposal,
)
from tests.training.invented import run

DAY = date(2025, 3, 3)


def test_the_highest_measurement_of_three_years_counts() -> None:
    entries = [
        Maximum(DAY - timedelta(days=400), "race", 188),
        Maximum(DAY - timedelta(days=30), "field test", 184),
        Maximum(DAY, "formula", 195),
    ]
    counting = maximum_on(entries, DAY)
    assert counting is entries[0]


def test_an_old_measurement_gives_way_to_a_recent_one_and_still_beats_a_formula() -> None:
    old = Maximum(DAY - timedelta(days=1200), "lab test", 192)
    formula = Maximum(DAY, "formula", 181)
    assert maximum_on([old, formula], DAY) is old
    recent = Maximum(DAY - timedelta(days=5), "race", 187)
    assert maximum_on([old, recent, formula], DAY) is recent


def test_an_entry_does_not_count_before_its_day() -> None:
    assert maximum_on([Maximum(DAY, "race", 188)], DAY - timedelta(days=1)) is None


def test_added_beats_count_and_are_named() -> None:
    entry = Maximum(DAY, "field test", 185, added_bpm=3)
    assert entry.counts_as_bpm == 188
    assert entry.label == "188 bpm with 3 added, field test of 3 March 2025"
    with pytest.raises(DawnbeatError, match="at most 3"):
        Maximum(DAY, "field test", 185, added_bpm=4)
    with pytest.raises(DawnbeatError, match="not to a formula"):
        Maximum(DAY, "formula", 185, added_bpm=2)


@pytest.mark.parametrize(("age", "formula"), [(4, "tanaka"), (111, "nes"), (float("nan"), "fox"), (40, "mine")])
def test_an_age_or_formula_that_is_not_known_is_refused(age: float, formula: str) -> None:
    with pytest.raises(DawnbeatError):
        maximum_by_age(age, formula)  # type: ignore[arg-type]


def test_a_formula_says_how_far_it_may_be_off() -> None:
    label = maximum_by_age(40).label
    assert "180 bpm" in label
    assert "standard error 10 bpm" in label
    assert "Tanaka" in label


def test_below_18_a_formula_says_that_it_was_made_for_adults() -> None:
    assert "made for adults" in maximum_by_age(17).label
    assert "doctor or coach" in maximum_by_age(5).label
    assert "made for adults" not in maximum_by_age(18).label


def test_a_run_above_the_maximum_is_proposed_and_one_below_is_not() -> None:
    runs = [run(DAY, pulse_bpm=186, run_id=1), run(DAY, pulse_bpm=191, run_id=2)]
    found = maximum_proposal(runs, [Maximum(DAY, "race", 188)], DAY)
    assert found is not None
    assert (found.run.id, found.bpm) == (2, 191)
    assert "a loose sensor can invent beats" in found.words
    assert maximum_proposal(runs, [Maximum(DAY, "race", 191)], DAY) is None
    assert maximum_proposal([run(DAY, pulse_bpm=95)], [], DAY) is None
    assert maximum_proposal([run(DAY, pulse_bpm=None)], [], DAY) is None


def test_the_cautions_name_clearance_symptoms_stop_signs_and_local_guidance() -> None:
    text = " ".join(MAXIMAL_TEST)
    for word in ("doctor", "chest pain", "Stop at once", "emergency number", "local guidance"):
        assert word in text


@pytest.mark.parametrize(("race", "cautioned"), [(True, False), (False, True)])
def test_an_ordinary_run_is_proposed_with_a_caution_and_a_race_without(race: bool, cautioned: bool) -> None:
    run = cast(Any, SimpleNamespace(race=race))
    assert bool(MaximumProposal(run, 181.0, None).caution) is cautioned
