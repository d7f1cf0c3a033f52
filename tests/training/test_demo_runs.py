from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import WEEKS, fill_with_invented_runs
from dawnbeat.training import resting, run_store, zone_store
from dawnbeat.training.export_runs import export_runs, export_weeks
from dawnbeat.training.periods import judged_runs, weeks_of

TODAY = date(2025, 6, 1)


def filled(journal: Journal) -> int:
    fill_with_invented_mornings(journal, TODAY)
    return fill_with_invented_runs(journal, TODAY)


def test_invented_runs_show_everything_that_runs_can_have(journal: Journal) -> None:
    count = filled(journal)
    judged = judged_runs(journal, TODAY)
    assert len(judged) == count >= 4 * WEEKS
    assert all("invented" in each.run.note for each in judged)
    assert {kind for each in judged for kind in each.run.figures.missing_s} == {
        *("drop-out", "spike", "cadence lock", "gap"),
    }
    assert any(each.run.race for each in judged)
    assert any(not each.run.has_pulse for each in judged)
    assert {each.run.sport for each in judged if not each.run.counts} == {"walking"}
    assert {each.run.talk for each in judged} == {None, "whole sentences", "short sentences", "a few words"}
    assert len(resting.hand_counts(journal)) == 3
    assert "hill repeats" in {entry.kind for entry in zone_store.maxima(journal)}
    assert any(each.run.felt_effort is None for each in judged)
    assert zone_store.thresholds(journal)
    assert all(entry.note == "invented" for entry in zone_store.maxima(journal))


def test_no_column_of_an_export_is_empty_for_a_runner_who_has_everything(journal: Journal, tmp_path: Path) -> None:
    filled(journal)
    judged = judged_runs(journal, TODAY)
    export_runs(judged, tmp_path / "runs.csv")
    export_weeks(weeks_of(judged, judged[0].run.local_date, TODAY), tmp_path / "weeks.csv")
    for path in tmp_path.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert not [name for name in rows[0] if not any(row[name] for row in rows)]


def test_easy_runs_are_easy_and_hard_ones_are_not(journal: Journal) -> None:
    filled(journal)
    shares: dict[str, list[float]] = {}
    for each in judged_runs(journal, TODAY):
        if each.judged is not None and each.judged.easy_share is not None:
            shares.setdefault(each.run.note, []).append(each.judged.easy_share)
    assert min(shares["8 km easy, invented"]) > 0.95
    assert max(shares["hilly 10 km, a race, invented"]) < 0.1


def test_runs_fit_what_the_mornings_tell_of_the_day_before(journal: Journal) -> None:
    filled(journal)
    by_day = {run.local_date: run.note for run in run_store.runs(journal) if run.counts}
    told = 0
    for reading in journal.readings():
        day = date.fromordinal(reading.local_date.toordinal() - 1)
        said = reading.context.yesterday_run
        if day in by_day and said is not None:
            told += by_day[day].startswith(said) or any(word in by_day[day] for word in ("test", "race", "limit"))
            assert said != "rest"
    assert told > 40


def test_the_same_seed_invents_the_same_runs(journal: Journal, tmp_path: object) -> None:
    with Journal.open(journal.home.parent / "other") as other:
        assert filled(journal) == filled(other)
        for one, two in zip(run_store.runs(journal), run_store.runs(other), strict=True):
            assert one.began == two.began
            assert one.figures.ms_at_bpm.tolist() == two.figures.ms_at_bpm.tolist()
