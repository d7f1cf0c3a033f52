"""A reading in a thread of its own, with invented clocks: what is kept, and what waits for the next start."""

from __future__ import annotations

import dataclasses
import os
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recorder import FolderLock
from dawnbeat.capture.recording import read_recording
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.store import Journal
from dawnbeat.morning import keeping
from dawnbeat.morning.background import BackgroundReading, LiveFigures, Outcome
from dawnbeat.morning.flow import Plan
from dawnbeat.morning.keeping import broken_off_readings, discard_recording, keep_broken_off
from dawnbeat.morning.taking import Order
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context, StoredReading
from dawnbeat.shared.settings import Settings
from tests.morning.scripted import Clocks, Scripted

RANGES = RangeSettings()


@pytest.fixture
def home(tmp_path: Path) -> Path:
    Journal.open(tmp_path / "home").close()
    return tmp_path / "home"


def read(
    source: FrameSource | Callable[[], FrameSource],
    home: Path | None,
    wish: Callable[[BackgroundReading], object] | None = None,
    **more: object,
) -> Outcome:
    """Take one reading to its end. wish: called with it before it starts."""
    opened = source if callable(source) else lambda: source
    order = Order(opened, Plan(duration_s=60.0), watched=False, **more)  # type: ignore[arg-type]
    reading = BackgroundReading(order, home, RANGES, LiveFigures(), **Clocks().all)
    if wish is not None:
        wish(reading)
    reading.start()
    assert reading.join(60.0)
    assert reading.outcome is not None
    return reading.outcome


def readings(home: Path) -> list[StoredReading]:
    with Journal.open(home) as journal:
        return journal.readings()


def orphans(home: Path) -> list[Path]:
    with Journal.open(home) as journal:
        return [each.path for each in journal.orphans()]


def long_ago(folder: Path) -> None:
    for each in (folder, *folder.iterdir()):
        os.utime(each, (time.time() - 60, time.time() - 60))


def test_a_reading_is_saved_with_its_recording_in_the_journal(home: Path) -> None:
    said = Context(sleep=3)
    outcome = read(Scripted(), home, posture="sitting", context=said)
    (saved,) = readings(home)
    assert outcome.kept is not None
    assert outcome.kept.stored == saved
    assert saved.verdict.usable
    assert (saved.posture, saved.context) == ("sitting", said)
    assert saved.recording is not None
    recording = read_recording(home / saved.recording)
    assert recording.trace.duration_s == pytest.approx(60.0, abs=0.1)
    assert recording.about["finished"] is True
    assert recording.about["posture"] == "sitting"
    assert orphans(home) == []


def test_a_source_that_can_not_be_opened_is_the_outcome(home: Path) -> None:
    def refuse() -> FrameSource:
        raise DawnbeatError("no permission to use camera 0: add yourself to the group video and log in again")

    outcome = read(refuse, home)
    assert "no permission" in outcome.ended.why
    assert (outcome.ended.broken, outcome.kept, readings(home)) == (True, None, [])


def test_a_fault_of_ours_is_told_and_does_not_vanish_in_the_thread(home: Path) -> None:
    def fall_over() -> FrameSource:
        raise ZeroDivisionError("oh")

    assert "something went wrong here: ZeroDivisionError: oh" in read(fall_over, home).ended.why


def test_a_journal_that_can_not_be_opened_is_told_before_two_minutes_are_spent(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    source = Scripted()
    assert "name a folder" in read(source, tmp_path / "file").ended.why
    assert source.closed == 0


def test_a_journal_that_refuses_keeps_the_recording(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise DawnbeatError("can't save the reading: the disk is full")

    monkeypatch.setattr(Journal, "save", refuse)
    outcome = read(Scripted(), home)
    assert outcome.kept is not None
    assert "the disk is full" in outcome.kept.trouble
    assert outcome.kept.analysis.verdict.usable
    assert len(orphans(home)) == 1


def test_invented_light_is_shown_and_not_kept(home: Path) -> None:
    source = Scripted()
    source.about = dataclasses.replace(source.about, invented=True)
    outcome = read(source, home)
    assert outcome.kept is not None
    assert outcome.kept.stored is None
    assert (readings(home), orphans(home)) == ([], [])


def test_no_recording_is_left_behind_by_a_folder_that_can_not_be_made(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_journal: Journal, _began: object) -> Path:
        raise DawnbeatError("can't make a folder for the recording: no room left")

    monkeypatch.setattr(Journal, "new_recording_folder", refuse)
    assert "no room left" in read(Scripted(), home).ended.why


def left_at_40_s(home: Path, **more: object) -> Path:
    """A reading that was broken off by closing; its recording."""
    source = Scripted()
    outcome = read(source, home, lambda reading: source.at.update({60.0: reading.leave}), **more)
    assert (outcome.kept, outcome.recorded) == (None, True)
    (orphan,) = orphans(home)
    return orphan


def test_closing_in_the_middle_keeps_the_recording_for_the_next_start(home: Path) -> None:
    said = Context(hours_slept=6.5, note="early train")
    orphan = left_at_40_s(home, posture="standing", context=said)
    assert broken_off_readings(home) == []  # written to just now
    (orphan / ".being-taken").write_bytes(b"")  # what a killed program leaves behind
    long_ago(orphan)
    (found,) = broken_off_readings(home)
    assert found.length_s == pytest.approx(40.0, abs=0.1)
    kept = keep_broken_off(found, home, Settings(), RANGES)
    (saved,) = readings(home)
    assert kept.stored == saved
    assert (saved.posture, saved.context) == ("standing", said)
    assert sorted(each.name for each in orphan.iterdir()) == ["about.json", "trace.csv"]
    assert orphans(home) == []


def test_a_reading_that_is_paused_for_long_can_not_be_taken_by_somebody_else(home: Path) -> None:
    orphan = left_at_40_s(home)
    lock = FolderLock(orphan)
    long_ago(orphan)
    assert broken_off_readings(home) == []
    with pytest.raises(DawnbeatError, match="being taken right now"):
        discard_recording(orphan, home)
    lock.release()
    long_ago(orphan)
    (found,) = broken_off_readings(home)
    lock = FolderLock(orphan)
    with pytest.raises(DawnbeatError, match="being taken right now"):
        keep_broken_off(found, home, Settings(), RANGES)
    lock.release()


def test_discarding_never_deletes_what_another_window_has_kept_meanwhile(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "_STILL_WRITTEN_S", -1.0)
    orphan = left_at_40_s(home)
    (in_one_window,), (in_another,) = broken_off_readings(home), broken_off_readings(home)
    keep_broken_off(in_one_window, home, Settings(), RANGES)
    with pytest.raises(DawnbeatError, match="nothing was deleted"):
        discard_recording(in_another.path, home)
    (saved,) = readings(home)
    assert read_recording(home / str(saved.recording)).path == orphan


def test_discarding_deletes_what_became_no_reading(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "_STILL_WRITTEN_S", -1.0)
    orphan = left_at_40_s(home)
    discard_recording(orphan, home)
    assert not orphan.exists()
    assert broken_off_readings(home) == []


@pytest.mark.parametrize(
    "began", ["2026-02-30T06:40:00+01:00", "0001-01-01T00:00:00", "9999-12-31T06:40:00+00:00", 5, None]
)
def test_an_impossible_date_falls_back_to_the_name_of_the_folder(
    home: Path, monkeypatch: pytest.MonkeyPatch, began: object
) -> None:
    monkeypatch.setattr(keeping, "_STILL_WRITTEN_S", -1.0)
    then = datetime(2025, 3, 1, 6, 40, 11).astimezone()
    with Journal.open(home) as journal:
        folder = journal.new_recording_folder(then)
    about = f'{{"began": "{began}"}}' if isinstance(began, str) else f'{{"began": {began or "null"}}}'
    (folder / "about.json").write_text(about)
    (folder / "trace.csv").write_text("time_s,red,green,blue\n0.0,1,1,1\n1.0,1,1,1\n")
    (found,) = broken_off_readings(home)
    assert found.began == then
    assert found.why == ""


def test_an_invented_recording_can_only_be_discarded(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "_STILL_WRITTEN_S", -1.0)
    with Journal.open(home) as journal:
        folder = journal.new_recording_folder(datetime.now().astimezone())
    (folder / "about.json").write_text('{"invented": true}')
    (folder / "trace.csv").write_text("time_s,red,green,blue\n0.0,1,1,1\n1.0,1,1,1\n")
    (found,) = broken_off_readings(home)
    with pytest.raises(DawnbeatError, match="it is invented"):
        keep_broken_off(found, home, Settings(), RANGES)
    discard_recording(found.path, home)
