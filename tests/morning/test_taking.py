"""The loop of a reading, by script and with invented clocks."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture import recorder as recorders
from dawnbeat.capture.frames import Frame, FrameSource, SourceAbout
from dawnbeat.capture.recorder import is_being_taken
from dawnbeat.capture.recording import RecordedTraceSource, read_recording, write_recording
from dawnbeat.morning.flow import LOST, NOBODY, SLEPT, TIME_UP, Plan, plan_without_buttons
from dawnbeat.morning.reading_text import ended_sentence, gentle
from dawnbeat.morning.taking import SILENT, STOPPED, Order, Snapshot, Taken, Taking
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Context
from dawnbeat.shared.trace import Trace
from tests.capture.fakes import FakeSource
from tests.capture.scenes import as_frame, plain_wall, webcam_finger
from tests.morning.scripted import Clocks, Scripted

SHORT = Plan(duration_s=60.0)


class Played:
    """One reading by script, with all that it told."""

    def __init__(self, source: FrameSource, plan: Plan = SHORT, clocks: Clocks | None = None, **more: object) -> None:
        self.moments: list[Snapshot] = []
        self.order = replace(Order(lambda: source, plan, watched=False), **more)  # type: ignore[arg-type]
        self.taking = Taking(self.order, self.moments.append, **(clocks or Clocks()).all)

    def run(self) -> Taken:
        return self.taking.run()


def taken(source: FrameSource, plan: Plan = SHORT, **more: object) -> Taken:
    return Played(source, plan, **more).run()


def folder_in(home: Path):  # type: ignore[no-untyped-def]
    return lambda _began: home / "one"


def test_it_settles_locks_the_camera_and_keeps_what_was_asked_for() -> None:
    source = Scripted()
    played = Played(source)
    got = played.run()
    phases = list(dict.fromkeys(moment.phase for moment in played.moments))
    assert phases == ["finger", "settling", "reading", "over"]
    assert (source.settled, source.closed) == (1, 1)
    assert got.trace.time_s[0] == 0.0
    assert got.trace.duration_s == pytest.approx(60.0, abs=0.05)
    first = next(moment for moment in played.moments if moment.phase == "reading")
    assert first.time_s == pytest.approx(20.0, abs=0.1)
    assert (got.ended.why, got.ended.broken) == (TIME_UP, False)
    assert ended_sentence(got.ended, True) == ""


def test_without_settling_the_first_frame_counts_and_nothing_is_locked() -> None:
    source = Scripted()
    got = taken(source, plan_without_buttons(5.0, 0.0))
    assert got.trace.duration_s == pytest.approx(5.0, abs=0.04)
    assert source.settled == 0


def test_a_finger_that_never_lies_well_begins_in_the_end_where_nobody_can_press_a_button() -> None:
    source = Scripted(partly=((0.0, 199.0),))
    got = taken(source, plan_without_buttons(30.0, 2.0))
    assert source.settled == 1
    assert got.trace.duration_s == pytest.approx(30.0, abs=0.1)


def test_no_finger_at_all_ends_it_without_a_reading() -> None:
    got = taken(Scripted(away=((0.0, 199.0),)), replace(plan_without_buttons(30.0), give_up_s=90.0))
    assert got.ended.why == NOBODY
    assert len(got.trace) == 0
    assert "No finger came" in ended_sentence(got.ended, False)


def test_starting_by_hand_goes_on_with_half_a_finger() -> None:
    source = Scripted(partly=((0.0, 199.0),))
    played = Played(source)
    source.at = {2.0: played.taking.begin_now}
    assert played.run().trace.duration_s == pytest.approx(60.0, abs=0.1)


def test_a_lifted_finger_pauses_and_its_frames_do_not_count() -> None:
    played = Played(Scripted(away=((50.0, 60.0),)))
    got = played.run()
    assert got.trace.covered is not None
    assert np.count_nonzero(got.trace.covered < 0.5) == 29  # one second less a frame, until it is sure
    assert np.diff(got.trace.time_s).max() == pytest.approx(10.0, abs=0.2)
    assert got.ended.why == TIME_UP
    paused = [moment for moment in played.moments if moment.phase == "paused"]
    assert gentle(paused[0]).startswith("Put the finger back on the lens")
    assert paused[-1].pause_left_s == pytest.approx(20.0, abs=0.2)


def test_a_finger_that_stays_away_ends_it_with_what_was_kept() -> None:
    got = taken(Scripted(away=((60.0, 199.0),)))
    assert got.ended.why == LOST
    assert got.trace.duration_s == pytest.approx(41.0, abs=0.2)
    assert "away too long" in ended_sentence(got.ended, True)


def test_a_recording_command_keeps_a_lifted_finger_too() -> None:
    plan = replace(plan_without_buttons(30.0, 0.0), lost_s=float("inf"))
    assert taken(Scripted(away=((5.0, 20.0),)), plan).trace.duration_s == pytest.approx(30.0, abs=0.05)


def test_an_unplugged_camera_keeps_what_was_captured_and_says_so_in_one_sentence(tmp_path: Path) -> None:
    source = Scripted(breaks_at_s=70.0)
    got = taken(source, new_folder=folder_in(tmp_path))
    got.let_go()
    assert got.ended.broken
    assert got.trace.duration_s == pytest.approx(50.0, abs=0.1)
    assert source.closed == 1
    told = ended_sentence(got.ended, True)
    assert told.startswith("The reading ended after 0:49: camera 0 stopped sending frames")
    assert told.endswith("what was captured until then is not lost.")
    assert len(read_recording(tmp_path / "one").trace) == len(got.trace)


def test_a_source_that_falls_silent_is_given_up_after_five_seconds() -> None:
    clocks = Clocks()
    got = taken(Scripted(silent_at_s=60.0), clocks=clocks)
    assert (got.ended.why, got.ended.broken) == (SILENT.format(5.0), True)
    assert got.trace.duration_s == pytest.approx(40.0, abs=0.1)
    assert clocks.now_s - 1000.0 == pytest.approx(65.0, abs=0.3)


def test_a_source_that_is_silent_from_the_start_leaves_no_reading() -> None:
    got = taken(Scripted(silent_at_s=0.0001))
    assert len(got.trace) == 0
    assert got.ended.why == SILENT.format(5.0)


@pytest.mark.parametrize("length_s", [0.03, 0.3, 2.0])
def test_what_breaks_off_at_its_first_frames_leaves_no_reading_and_no_recording(
    tmp_path: Path, length_s: float
) -> None:
    got = taken(Scripted(breaks_at_s=length_s), plan_without_buttons(30.0, 0.0), new_folder=folder_in(tmp_path))
    got.let_go()
    assert got.ended.broken
    assert (len(got.trace) > 0) == (got.folder is not None) == (length_s > 1)
    assert bool(list(tmp_path.iterdir())) == (length_s > 1)


@pytest.mark.parametrize("by_the_wall_clock", [False, True])
def test_a_sleep_of_the_computer_keeps_what_came_before(by_the_wall_clock: bool) -> None:
    clocks = Clocks()
    source = Scripted(jumps_at_s=None if by_the_wall_clock else 70.0)
    if by_the_wall_clock:
        source.at = {70.0: lambda: setattr(clocks, "ahead_s", 600.0)}
    got = taken(source, clocks=clocks)
    assert got.ended.why == SLEPT
    assert got.trace.duration_s == pytest.approx(50.0, abs=0.1)


def test_a_gap_of_a_recording_is_no_sleep() -> None:
    got = taken(Scripted(jumps_at_s=70.0, as_recording=True))
    assert got.ended.why == TIME_UP
    assert got.trace.duration_s == pytest.approx(120.0, abs=0.2)


def test_a_full_disk_in_the_middle_keeps_what_was_captured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written = [0]
    real = recorders._write_all

    def full(descriptor: int, data: bytes) -> None:
        written[0] += 1
        if written[0] > 1500:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(descriptor, data)

    monkeypatch.setattr(recorders, "_write_all", full)
    got = taken(Scripted(), new_folder=folder_in(tmp_path))
    assert "make room on the disk" in ended_sentence(got.ended, True)
    assert len(read_recording(tmp_path / "one").trace) == len(got.trace) == 1499


def test_a_folder_that_can_not_be_made_is_an_error_and_the_source_is_let_go() -> None:
    def refuse(_began: object) -> Path:
        raise DawnbeatError("can't make a folder for the recording: no room left")

    source = Scripted()
    with pytest.raises(DawnbeatError, match="no room left"):
        taken(source, new_folder=refuse)
    assert source.closed == 1


def test_a_source_that_can_not_be_opened_is_an_error() -> None:
    def refuse() -> FrameSource:
        raise DawnbeatError("camera 0 can't be opened")

    with pytest.raises(DawnbeatError, match="can't be opened"):
        Taking(Order(refuse, SHORT)).run()


def test_what_is_known_of_the_morning_is_on_the_disk_before_the_first_frame(tmp_path: Path) -> None:
    seen: list[dict[str, object]] = []
    source = Scripted()
    source.at = {20.2: lambda: seen.append(json.loads((tmp_path / "one" / "about.json").read_text()))}
    said = Context(sleep=2, hours_slept=7.5, note="late")
    got = taken(source, new_folder=folder_in(tmp_path), posture="sitting", context=said)
    assert seen[0]["posture"] == "sitting"
    assert seen[0]["context"] == {"sleep": 2, "hours_slept": 7.5, "note": "late"}
    assert seen[0]["finished"] is False
    assert (got.circumstances.posture, got.circumstances.context) == ("sitting", said)


def test_the_recording_is_held_until_it_is_let_go(tmp_path: Path) -> None:
    held: list[bool] = []
    source = Scripted()
    source.at = {30.0: lambda: held.append(is_being_taken(tmp_path / "one"))}
    got = taken(source, new_folder=folder_in(tmp_path))
    assert held == [True]
    assert is_being_taken(tmp_path / "one")
    got.let_go()
    assert not is_being_taken(tmp_path / "one")
    assert sorted(path.name for path in (tmp_path / "one").iterdir()) == ["about.json", "trace.csv"]


def test_stopping_keeps_leaving_leaves_and_discarding_deletes(tmp_path: Path) -> None:
    for wish in ("stop", "leave", "discard"):
        source = Scripted()
        played = Played(source, new_folder=lambda _began, wish=wish: tmp_path / wish)
        source.at = {40.0: getattr(played.taking, wish)}
        got = played.run()
        got.let_go()
        assert got.ended.why == STOPPED
        assert got.left == (wish == "leave")
        assert (tmp_path / wish).exists() == (wish != "discard")
        assert len(got.trace) == (0 if wish == "discard" else 601)
    assert read_recording(tmp_path / "leave").about["finished"] is True


def test_going_back_before_anything_counted_leaves_nothing(tmp_path: Path) -> None:
    source = Scripted()
    played = Played(source, new_folder=folder_in(tmp_path))
    source.at = {10.0: played.taking.cancel}
    assert len(played.run().trace) == 0
    assert list(tmp_path.iterdir()) == []


def test_invented_light_is_not_recorded_beside_the_runners_own(tmp_path: Path) -> None:
    for keeps in (False, True):
        source = Scripted()
        source.about = replace(source.about, invented=True)
        got = taken(source, new_folder=folder_in(tmp_path), keep_invented=keeps)
        got.let_go()
        assert got.invented
        assert (tmp_path / "one").exists() == keeps
    assert read_recording(tmp_path / "one").about["invented"] is True


def test_light_of_a_file_keeps_its_own_date() -> None:
    then = datetime.now().astimezone() - timedelta(days=3)
    assert taken(Scripted(), began=then).circumstances.began == then


def test_frames_that_were_lost_are_counted_from_the_first_that_counts() -> None:
    got = taken(Scripted(lost_every=10))
    assert got.dropped == pytest.approx(60 * 3, abs=2)


def test_pictures_come_only_while_the_finger_is_not_where_it_should_be() -> None:
    finger, wall = as_frame(webcam_finger(160, 120)), as_frame(plain_wall(130, 160, 120))
    pictures = [Frame(i / 30, 0, wall if i > 240 else finger) for i in range(360)]
    source = FakeSource(pictures, live=True, width=160, height=120)
    played = Played(source, Plan(duration_s=60.0, good_s=1.0, settle_s=1.0), watched=True)
    got = played.run()
    with_picture = {moment.phase for moment in played.moments if moment.picture is not None}
    assert {"finger", "paused"} <= with_picture <= {"finger", "paused", "settling"}
    assert got.trace.covered is not None
    assert got.trace.covered[5] > 0.95
    assert got.trace.covered[-1] < 0.05


def test_the_pulse_is_found_while_frames_come() -> None:
    played = Played(Scripted(duration_s=45.0), watched=True)
    played.run()
    last = played.moments[-1]
    assert last.live is not None
    assert last.live.pulse_bpm == pytest.approx(55.0, abs=3.0)
    assert last.kept_share is not None
    assert last.kept_share > 0.9


def test_a_recording_is_taken_again_unchanged(tmp_path: Path) -> None:
    time_s = 3.0 + np.delete(np.arange(200) / 30.0, [90, 91])
    colour = np.random.default_rng(0).uniform(20, 60, (198, 3))
    clipped = np.linspace(0, 0.4, 198)
    recording = read_recording(write_recording(tmp_path / "one", Trace(time_s, colour, np.full(198, 0.9), clipped), {}))
    source = RecordedTraceSource(recording)
    plan = replace(plan_without_buttons(60.0, 0.0), lost_s=float("inf"))
    got = taken(source, plan)
    np.testing.assert_allclose(got.trace.time_s, time_s - 3.0, atol=2e-6)
    np.testing.assert_allclose(got.trace.colour, colour, atol=1e-5)
    assert got.trace.clipped is not None
    np.testing.assert_allclose(got.trace.clipped, clipped, atol=1e-4)
    assert got.dropped == 2
    assert len(list(source.frames())) == 198  # it can be played again


def test_what_the_watcher_raises_is_passed_on_and_the_source_is_closed() -> None:
    def fall_over(_moment: Snapshot) -> None:
        raise LookupError("mine")

    source = Scripted()
    with pytest.raises(LookupError, match="mine"):
        Taking(Order(lambda: source, SHORT), fall_over, **Clocks().all).run()
    assert source.closed == 1


def test_a_source_knows_its_camera_only_once_it_is_open() -> None:
    source = Scripted()
    source.about = SourceAbout("phone of an invented runner", live=True)
    assert taken(source).circumstances.camera == "phone of an invented runner"
