from __future__ import annotations

import io
import os
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from subprocess import Popen

import cv2
import numpy as np
import pytest

from dawnbeat.capture.frames import Frame
from dawnbeat.capture.recording import RecordedTraceSource, read_recording, write_recording
from dawnbeat.journal import store
from dawnbeat.journal.store import Journal
from dawnbeat.morning import sources
from dawnbeat.morning.choices import Choices, ChoiceStore
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.installed import shipped_recording
from dawnbeat.shared.morning import StoredReading
from tests.ui.command_line import CommandLine, a_while_ago

TAKEN = a_while_ago()
TAKEN_THEN = ("--taken", TAKEN.isoformat())


def _kept(place: Path) -> list[StoredReading]:
    with Journal.open(place / "journal") as journal:
        return journal.readings()


class _Breaking(RecordedTraceSource):
    """A recording whose camera is unplugged after so many frames."""

    frames_left = 0

    def frames(self) -> Iterator[Frame]:
        for number, frame in enumerate(super().frames()):
            if number == self.frames_left:
                raise DawnbeatError("the camera was unplugged: plug it in again")
            yield frame


@pytest.fixture
def breaking(samples: Path, monkeypatch: pytest.MonkeyPatch) -> type[_Breaking]:
    recording = read_recording(samples / "calm")
    monkeypatch.setattr(sources, "open_source", lambda words, **more: _Breaking(recording))
    return _Breaking


def test_a_reading_is_kept_with_posture_and_context(cli: CommandLine, place: Path, samples: Path) -> None:
    context = 'sleep=2 hours=7.5 ill=no run="10 km easy"'
    options = ("--source", samples / "calm", "--settle", 2, "--posture", "sitting", "--context", context, *TAKEN_THEN)
    out = cli("read", *options).fine()
    (kept,) = _kept(place)
    assert f"Saved as reading {kept.id}." in out
    assert "where 60 s are needed" in out
    assert kept.verdict.usable
    assert kept.counts
    assert kept.posture == "sitting"
    assert kept.began == TAKEN
    assert (kept.context.sleep, kept.context.hours_slept, kept.context.ill) == (2, 7.5, False)
    assert kept.context.yesterday_run == "10 km easy"
    assert kept.recording is not None
    recording = read_recording(place / "journal" / kept.recording)
    assert recording.trace.duration_s == pytest.approx(53.0, abs=0.2)  # five seconds of good contact, two of settling
    assert recording.about["context"] == {"sleep": 2, "hours_slept": 7.5, "ill": False, "yesterday_run": "10 km easy"}
    assert recording.about["finished"] is True


def test_a_second_reading_of_the_day_is_kept_and_the_first_counts(cli: CommandLine, place: Path, samples: Path) -> None:
    for name in ("calm", "other"):
        cli("read", "--source", samples / name, "--settle", 0, "--no-ask", *TAKEN_THEN).fine()
    first, second = _kept(place)
    assert (first.counts, second.counts) == (True, False)
    assert first.recording != second.recording
    note = cli("note", TAKEN.date()).fine()
    assert f"reading {first.id}, lying, usable, counts for its day" in note
    assert f"reading {second.id}, lying, usable" in note


def test_the_rehearsal_finger_is_kept_only_in_a_journal_of_its_own(cli: CommandLine, place: Path) -> None:
    rehearsal = ("read", "--source", "rehearsal", "--seconds", 1, "--settle", 0, "--no-ask")
    out = cli(*rehearsal).fine()
    assert "This light is invented" in out
    assert "NOT USABLE" in out
    assert _kept(place) == []
    assert not list(place.rglob("trace.csv"))
    assert "name another journal" in cli(*rehearsal, "--save").refused()
    assert "name another journal" in cli(*rehearsal, "--journal", place / "journal").refused()
    cli(*rehearsal, "--journal", place / "other").fine()
    with Journal.open(place / "other") as journal:
        (kept,) = journal.readings()
    assert "rehearsal" in kept.camera
    assert not kept.verdict.usable


@pytest.mark.parametrize("inside", ["", "trace.csv"])
def test_a_shipped_sample_never_becomes_a_reading_of_the_year_2001(cli: CommandLine, place: Path, inside: str) -> None:
    sample = shipped_recording("calm-morning") / inside
    assert "This light is invented" in cli("read", "--source", sample, "--settle", 0, "--no-ask").fine()
    assert "name another journal" in cli("read", "--source", sample, "--save").refused()
    video = shipped_recording("rehearsal.avi")
    refused = cli("read", "--source", video, "--settle", 0, "--save", *TAKEN_THEN).refused()
    assert "name another journal" in refused
    assert _kept(place) == []


def test_without_saving_nothing_is_left_behind(cli: CommandLine, place: Path, samples: Path) -> None:
    out = cli("read", "--source", samples / "calm", "--settle", 0, "--no-save").fine()
    assert "usable" in out
    assert "Saved" not in out
    assert list(place.iterdir()) == []


def test_what_the_runner_chose_in_the_window_holds_here(cli: CommandLine, place: Path, samples: Path) -> None:
    sample = write_recording(place / "mine", read_recording(samples / "calm").trace, {"began": TAKEN.isoformat()})
    ChoiceStore().save(Choices(posture="standing", duration_s=60))
    cli("read", "--source", sample, "--settle", 0, "--no-ask").fine()
    (kept,) = _kept(place)
    assert (kept.posture, kept.began) == ("standing", TAKEN)


def test_a_chosen_stream_without_an_address_is_said(cli: CommandLine, place: Path) -> None:
    ChoiceStore().save(Choices(source="stream"))
    assert "no address of a camera is given" in cli("read", "--no-ask").refused()


def test_json_is_one_object_with_everything(cli: CommandLine, place: Path, samples: Path) -> None:
    said = cli("read", "--source", samples / "calm", "--settle", 0, "--json", *TAKEN_THEN)
    (found,) = said.objects()
    (kept,) = _kept(place)
    assert (found["reading"], found["usable"], found["not_saved"]) == (kept.id, kept.verdict.usable, None)
    assert found["began"] == TAKEN.isoformat()
    assert found["metrics"]["rmssd_ms"] == pytest.approx(kept.metrics.rmssd_ms)
    assert found["beats_s"]


def test_the_same_recording_read_twice_is_one_reading_with_one_recording(
    cli: CommandLine, place: Path, samples: Path
) -> None:
    words = ("read", "--source", samples / "calm", "--settle", 0, "--no-ask", *TAKEN_THEN)
    cli(*words).fine()
    before = sorted((place / "journal" / "recordings").rglob("*"))
    out = cli(*words).fine()
    (kept,) = _kept(place)
    assert f"already, as reading {kept.id}" in out
    assert "Saved as" not in out
    assert sorted((place / "journal" / "recordings").rglob("*")) == before
    cli(*words[:-1], "2024-03-01 06:40").fine()
    cli("read", "--source", samples / "other", *words[3:]).fine()
    assert len(_kept(place)) == 3


def test_quiet_says_nothing_and_keeps_the_reading(cli: CommandLine, place: Path, samples: Path) -> None:
    assert cli("read", "--source", samples / "calm", "--settle", 0, "--quiet", *TAKEN_THEN).fine() == ""
    assert len(_kept(place)) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("output", ["full", "closed"])
def test_an_output_that_takes_nothing_costs_no_reading(place: Path, samples: Path, output: str) -> None:
    words = ["read", "--source", str(samples / "calm"), "--settle", "0", "--no-ask", *TAKEN_THEN]
    command = [sys.executable, "-c", "from dawnbeat.ui.main import main; main()", *words]
    if output == "full":
        target = open("/dev/full", "w")  # noqa: SIM115
    else:
        reads, writes = os.pipe()
        os.close(reads)
        target = os.fdopen(writes, "w")
    with target:
        done = subprocess.run(command, stdout=target, stderr=subprocess.PIPE, text=True, timeout=120, check=False)
    (kept,) = _kept(place)
    assert f"is saved as reading {kept.id}" in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.returncode == 0


def test_a_clip_is_a_reading_of_when_it_was_filmed(cli: CommandLine, place: Path) -> None:
    filmed = datetime(2026, 3, 1, 5, 40, tzinfo=UTC)
    since_1904 = int((filmed - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds())
    writer = cv2.VideoWriter("clip.mp4", cv2.VideoWriter_fourcc(*"mp4v"), 30.0, (64, 48))
    for number in range(90):
        writer.write(np.full((48, 64, 3), (20, 30, 120 + number % 9), dtype=np.uint8))
    writer.release()
    data = bytearray(Path("clip.mp4").read_bytes())
    assert "say it with --taken" in cli("read", "--source", "clip.mp4", "--no-ask").refused()
    at = data.index(b"mvhd") + 8
    data[at : at + 4] = struct.pack(">I", since_1904)
    Path("clip.mp4").write_bytes(data)
    cli("read", "--source", "clip.mp4", "--settle", 0, "--no-ask").fine()
    (kept,) = _kept(place)
    assert kept.began == filmed
    assert kept.began.utcoffset() == filmed.astimezone().utcoffset()


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ({}, "say it with --taken"),
        ({"began": "2026-02-30T06:40:00+01:00"}, "which is no time"),
        ({"began": "0001-01-01T00:00:00"}, "which is no time"),
        ({"began": ["then"]}, "which is no time"),
        ({"began": "0001-01-01T00:00:00+14:00"}, "can't be right"),
        ({"began": "1980-01-01T00:00:00+00:00"}, "can't be right"),
        ({"began": "9999-12-31T00:00:00-12:00"}, "still to come"),
    ],
)
def test_light_without_a_date_is_asked_for_it(
    cli: CommandLine, place: Path, samples: Path, about: dict[str, object], words: str
) -> None:
    sample = write_recording(place / "mine", read_recording(samples / "calm").trace, about)
    assert words in cli("read", "--source", sample, "--no-ask").refused()
    assert "still to come" in cli("read", "--source", sample, "--taken", "2999-01-01 06:40").refused()
    assert "is not a time" in cli("read", "--source", sample, "--taken", "yesterday").refused()
    assert "a camera's reading is of now" in cli("read", "--source", "0", "--taken", "2024-01-01 06:40").refused()
    cli("read", "--source", sample, "--settle", 0, "--no-ask", "--taken", "2024-01-01 06:40").fine()
    assert _kept(place)[0].local_date == date(2024, 1, 1)


def test_a_camera_that_vanishes_leaves_what_came_before(
    cli: CommandLine, place: Path, breaking: type[_Breaking]
) -> None:
    breaking.frames_left = 1500
    out = cli("read", "--source", "camera", "--settle", 0, "--no-ask").fine()
    assert "The reading ended after 0:49: the camera was unplugged" in out
    (kept,) = _kept(place)
    assert kept.duration_s == pytest.approx(50.0, abs=0.5)


def test_a_journal_that_refuses_costs_nothing(
    cli: CommandLine, place: Path, samples: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise DawnbeatError("can't save the reading: the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(Journal, "save", refuse)
        said = cli("read", "--source", samples / "calm", "--settle", 0, "--no-ask")
    line = said.refused()
    assert "the disk is full" in line
    assert "`dawnbeat rescue`" in line
    assert "RMSSD" in said.out
    (recording,) = (place / "journal" / "recordings").glob("*/*")
    for each in (recording, *recording.iterdir()):
        os.utime(each, (1.7e9, 1.7e9))
    cli("rescue", recording).fine()
    assert len(_kept(place)) == 1


def test_a_journal_that_can_only_be_read_is_said_before_the_reading(
    cli: CommandLine, place: Path, samples: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cli("mornings").fine()
    monkeypatch.setattr(store, "is_read_only", lambda _home: True)
    assert "can only be read" in cli("read", "--source", samples / "calm", "--no-ask").refused()
    assert not list(place.rglob("trace.csv"))


def test_a_camera_that_gives_no_frame_leaves_no_reading_and_no_folder(
    cli: CommandLine, place: Path, breaking: type[_Breaking]
) -> None:
    breaking.frames_left = 0
    assert "no frame was captured" in cli("read", "--source", "camera", "--no-ask").refused()
    with Journal.open(place / "journal") as journal:
        assert journal.readings() == []
        assert journal.orphans() == []


class _Keyboard(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("typed", "sleep", "said"),
    [
        ("sleep=3 note=fine\n", 3, ""),
        ("sleep=12\nsleep=4\n", 4, "it goes from 1 to 7"),
        ("\n", None, ""),
        ("", None, ""),  # the end of the input, as of Ctrl+D
    ],
)
def test_the_context_is_asked_for_once_the_reading_is_safe(
    cli: CommandLine,
    place: Path,
    samples: Path,
    monkeypatch: pytest.MonkeyPatch,
    typed: str,
    sleep: int | None,
    said: str,
) -> None:
    monkeypatch.setattr("sys.stdin", _Keyboard(typed))
    out = cli("read", "--source", samples / "other", "--settle", 0, *TAKEN_THEN).fine()
    assert "How are you?" in out
    assert said in out
    (kept,) = _kept(place)
    assert kept.context.sleep == sleep


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--source", "7"), "there is no camera 7"),
        (("--source", "missing"), "there is no source 'missing'"),
        (("--posture", "flying"), "say lying, sitting or standing"),
        (("--context", "mood=3"), "'mood=3' is not understood"),
        (("--context", "sleep=9"), "sleep is 9"),
        (("--context", 'note="open'), "close it"),
        (("--seconds", "0"), "--seconds 0 is out of range"),
        (("--settle", "90"), "--settle 90 is out of range"),
        (("--settings", "missing.toml"), "can't read the settings"),
    ],
)
def test_a_reading_that_cant_be_taken_gets_one_line_and_leaves_nothing(
    cli: CommandLine, place: Path, options: tuple[str, ...], words: str
) -> None:
    assert words in cli("read", "--no-ask", *options).refused()
    assert not list(place.rglob("trace.csv"))


def test_a_journal_that_cant_be_opened_gets_one_line(cli: CommandLine, place: Path, samples: Path) -> None:
    (place / "file").write_text("")
    options = ("--source", samples / "calm", "--no-ask", "--journal", place / "file", *TAKEN_THEN)
    assert "name a folder for the journal" in cli("read", *options).refused()


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_ctrl_c_during_a_reading_keeps_and_saves_it(process: Callable[..., Popen[str]], place: Path) -> None:
    other = place / "other"
    started = process(
        *("read", "--source", "rehearsal", "--settle", 0, "--seconds", 60, "--no-ask", "--journal", other)
    )
    deadline_s = time.monotonic() + 20.0
    while time.monotonic() < deadline_s:
        if any(path.stat().st_size > 1500 for path in place.rglob("trace.csv")):
            break
        time.sleep(0.05)
    started.send_signal(signal.SIGINT)
    out, err = started.communicate(timeout=120)
    assert (started.returncode, err) == (0, "")
    with Journal.open(other) as journal:
        (kept,) = journal.readings()
    assert f"Saved as reading {kept.id}." in out
    assert not kept.verdict.usable
    assert 0.5 < kept.duration_s < 30.0


def test_beat_intervals_given_for_light_are_pointed_to_their_own_command(cli: CommandLine, place: Path) -> None:
    (place / "strap.txt").write_text("\n".join(str(950 + 37 * beat % 90) for beat in range(60)), encoding="utf-8")
    for words in (("--no-ask",), ("--no-save",), TAKEN_THEN):
        said = cli("read", "--source", place / "strap.txt", *words).refused()
        assert "dawnbeat import intervals" in said
    assert not (place / "journal").exists()
