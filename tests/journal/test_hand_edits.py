from __future__ import annotations

from collections.abc import Callable

import pytest

from dawnbeat.journal.csv_files import export_intervals
from dawnbeat.journal.hand_edits import Figures, edit_intervals, edits_of, reapply, take_back
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.reading import Finding, Intervals, Metrics, Verdict


def counted(intervals: Intervals) -> Figures:
    kept = int(intervals.kept.sum())
    metrics = Metrics(mean_hr_bpm=60_000.0 / float(intervals.kept_ms.mean()), rmssd_ms=float(kept), kept_beats=kept)
    return Figures(
        metrics,
        {"rmssd_ms": (kept - 1.0, kept + 1.0)},
        1.0,
        Verdict(True, True, False, (Finding("kept", {"kept": float(kept)}),)),
    )


@pytest.fixture
def reading(journal: Journal, taken: Callable, analysed: Callable) -> StoredReading:  # type: ignore[type-arg]
    return journal.save(taken(), analysed())


def test_the_figures_and_the_export_follow_an_edit(journal: Journal, reading: StoredReading) -> None:
    before = journal.intervals(reading.id)
    edit_intervals(journal, reading.id, {3: "irregular beat", 4: "irregular beat"}, counted)
    after = journal.intervals(reading.id)
    assert after.left_out[3:5] == ("irregular beat", "irregular beat")
    assert after.kept.sum() == before.kept.sum() - 2
    assert journal.reading(reading.id).metrics.kept_beats == after.kept.sum()
    assert journal.reading(reading.id).intervals95["rmssd_ms"][0] == after.kept.sum() - 1
    _, plain = export_intervals(journal, journal.home / "out.csv", reading.local_date)
    assert len(plain.read_text().splitlines()) == after.kept.sum()


def test_taking_an_edit_back_restores_the_reading_to_the_digit(journal: Journal, reading: StoredReading) -> None:
    before = journal.intervals(reading.id)
    edit = edit_intervals(journal, reading.id, {3: "movement"}, counted)
    assert [each.number for each in edits_of(journal, reading.id)] == [edit.number]
    take_back(journal, edit.number)
    assert journal.reading(reading.id) == reading
    assert journal.intervals(reading.id).left_out == before.left_out
    assert edits_of(journal, reading.id) == []
    with pytest.raises(DawnbeatError, match="taken back before"):
        take_back(journal, edit.number)


def test_edits_are_taken_back_in_turn(journal: Journal, reading: StoredReading) -> None:
    first = edit_intervals(journal, reading.id, {3: "movement"}, counted)
    second = edit_intervals(journal, reading.id, {3: None, 9: "weak pulse"}, counted)
    with pytest.raises(DawnbeatError, match="later edit"):
        take_back(journal, first.number)
    take_back(journal, second.number)
    take_back(journal, first.number)
    assert journal.reading(reading.id) == reading


def test_an_edit_that_changes_nothing_is_refused(journal: Journal, reading: StoredReading) -> None:
    with pytest.raises(DawnbeatError, match="nothing would change"):
        edit_intervals(journal, reading.id, {3: None}, counted)
    with pytest.raises(DawnbeatError, match="no interval 9999"):
        edit_intervals(journal, reading.id, {9999: "movement"}, counted)
    assert edits_of(journal, reading.id) == []


def test_an_interval_across_a_gap_stays_left_out(journal: Journal, reading: StoredReading) -> None:
    journal.connection.execute(
        "UPDATE intervals SET kept = 0, reason = 'gap' WHERE reading_id = ? AND position = 5", (reading.id,)
    )
    with pytest.raises(DawnbeatError, match="frames are missing"):
        edit_intervals(journal, reading.id, {5: None}, counted)


def test_a_fault_while_judging_leaves_everything_as_it_was(journal: Journal, reading: StoredReading) -> None:
    def fails(intervals: Intervals) -> Figures:
        raise DawnbeatError("no")

    with pytest.raises(DawnbeatError, match="no"):
        edit_intervals(journal, reading.id, {3: "movement"}, fails)
    assert journal.reading(reading.id) == reading
    assert journal.intervals(reading.id).left_out[3] is None


def test_edits_are_made_again_on_a_fresh_analysis(journal: Journal, reading: StoredReading) -> None:
    edit = edit_intervals(journal, reading.id, {3: "movement"}, counted)
    # A fresh analysis times every beat a little differently and knows nothing of the edit.
    journal.connection.execute(
        "UPDATE intervals SET kept = 1, reason = NULL, start_s = start_s + 0.004 WHERE reading_id = ?", (reading.id,)
    )
    with pytest.raises(DawnbeatError, match="analysed again"):
        take_back(journal, edit.number)
    assert reapply(journal, reading.id, counted) == 1
    assert journal.intervals(reading.id).left_out[3] == "movement"
    assert len(edits_of(journal, reading.id)) == 1


def test_emptying_the_bin_takes_the_edits_along(journal: Journal, reading: StoredReading) -> None:
    edit_intervals(journal, reading.id, {3: "movement"}, counted)
    journal.put_in_bin(reading.id)
    journal.empty_bin([reading.id])
    assert tuple(journal.connection.execute("SELECT count(*) FROM hand_edits").fetchone()) == (0,)
