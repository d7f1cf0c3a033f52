"""The table, the small bars, the line of context, and the invented runner."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from dawnbeat.journal import ranges
from dawnbeat.journal.listing import HEADINGS, context_from_line, line_of, sparkline, table
from dawnbeat.journal.store import Journal
from dawnbeat.journal.today import mornings_for, stand_of
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings, invented_analysis
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context
from tests.journal.strategies import contexts


def test_a_row_holds_figures_with_intervals_verdict_and_context(journal: Journal, taken: Any, analysed: Any) -> None:
    journal.save(taken(sleep=2, yesterday_run="10 km easy"), analysed(4.0, 50.0))
    journal.save(taken("2025-03-01T07:00:00"), analysed())
    journal.save(taken("2025-03-02T06:30:00"), analysed(usable=False))
    first, second, third = table(journal.readings())
    assert len(first) == len(HEADINGS)
    assert first[:3] == ("2025-03-01", "06:41", "lying")
    assert first[4] == "55 (48 to 61)"
    assert first[6:] == ("usable", "sleep=2 run='10 km easy'")
    assert second[6] == "usable, another counts"
    assert third[6] == "not usable"


def test_small_bars_span_the_values_and_leave_gaps() -> None:
    assert sparkline([1, None, 3, 8]) == "▁ ▃█"
    assert sparkline([None, None]) == "  "
    assert len(set(sparkline([5.0, 5.0]))) == 1


def test_context_in_one_line_changes_only_what_it_names() -> None:
    before = Context(sleep=5, note="keep")
    after = context_from_line('sleep=2 hours=7.5 ill=no alcohol=YES run="6 x 800 m"', before)
    assert after == Context(sleep=2, hours_slept=7.5, ill=False, alcohol=True, yesterday_run="6 x 800 m", note="keep")
    assert context_from_line("note=", after).note is None
    assert context_from_line("", after) == after


@pytest.mark.parametrize("line", ["sleep", "mood=3", "sleep=eight", "sleep=9", "ill=x", "hours=many", 'note="open'])
def test_a_line_that_makes_no_sense_is_refused(line: str) -> None:
    with pytest.raises(DawnbeatError) as caught:
        context_from_line(line)
    assert "\n" not in str(caught.value)


@given(contexts)
def test_context_shown_in_one_line_reads_back(context: Context) -> None:
    assert context_from_line(line_of(context)) == context


def test_the_invented_runner_is_the_same_each_time_and_has_a_bit_of_everything(tmp_path: Path) -> None:
    last = date(2025, 3, 30)
    with Journal.open(tmp_path / "one") as one, Journal.open(tmp_path / "two") as two:
        count = fill_with_invented_mornings(one, last)
        fill_with_invented_mornings(two, last)
        readings = one.readings()
        assert [each.metrics for each in readings] == [each.metrics for each in two.readings()]
        assert count == len(readings)
        assert readings[-1].local_date == last
        assert (last - readings[0].local_date).days == 89
        assert 75 < count < 90
        assert {each.posture for each in readings} == {"lying", "sitting"}
        assert {each.verdict.usable for each in readings} == {True, False}
        assert all("invented" in each.camera for each in readings)
        stands = [
            stand_of(mornings_for(one, each.local_date), each.local_date).ln_rmssd.week
            for each in readings
            if each.context.ill
        ]
        assert stands[-1] == ranges.BELOW
        assert stand_of(mornings_for(one, last), last).ln_rmssd.week != ranges.TOO_FEW


def test_invented_intervals_have_the_figures_that_they_are_given() -> None:
    analysis = invented_analysis(3.9, 48.0, np.random.default_rng(7))
    kept = analysis.intervals.kept_ms
    rmssd_ms = float(np.sqrt(np.mean(np.diff(kept) ** 2)))
    assert np.log(rmssd_ms) == pytest.approx(3.9)
    assert analysis.metrics.rmssd_ms == pytest.approx(rmssd_ms)
    assert analysis.metrics.mean_hr_bpm == pytest.approx(60_000 / kept.mean())
    assert analysis.metrics.mean_hr_bpm == pytest.approx(48.0, abs=0.5)
    assert float(analysis.intervals.end_s[-1]) < analysis.duration_s
