from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen, run
from typing import Any

import numpy as np
import pytest

from dawnbeat.shared.installed import shipped_recording
from dawnbeat.shared.reading import REASONS
from dawnbeat.shared.settings import Settings
from tests.ui.command_line import CommandLine

# Each with words of the line that must come.
UNREADABLE = {
    "missing.csv": "can't read",
    "missing folder": "can't read",
    "empty.csv": "is empty",
    "header only.csv": "no frames",
    "text.csv": "line 2: red is 'ruddy', not a number",
    "nan.csv": "line 3: red is not a finite number",
    "infinite.csv": "line 3: green is not a finite number",
    "negative.csv": "line 2: the time is negative",
    "repeated.csv": "line 4: the time is not later than the one before",
    "columns.csv": "line 1: the column blue is missing",
    "ragged.csv": "line 3: 3 values",
    "half.csv.gz": "not a whole gzip file",
    "no frames.avi": "is empty",
    "text.avi": "not a video that can be read",
    "header.avi": "frames|not a video",
    "nothing inside": "is not a recording",
    "damaged about": "about.json is damaged",
}
# Each with words of the reason that must be given.
NOT_USABLE = {
    "one second.csv": "only 1.0 s long",
    "constant.csv": "",
    "racing.csv": "",
    "night.csv": "",
}
KEYS = {
    "recording": str,
    "duration_s": float,
    "frame_rate_hz": float,
    "usable": bool,
    "pulse_usable": bool,
    "irregular": bool,
    "findings": list,
    "reasons": list,
    "channel": str,
    "beats_s": list,
    "intervals_ms": list,
    "kept": list,
    "left_out": list,
    "metrics": dict,
    "intervals95": dict,
    "timing_error_ms": float,
    "version": str,
    "settings": dict,
}


def _check_shape(found: dict[str, Any]) -> None:
    assert list(found) == list(KEYS)
    for key, kind in KEYS.items():
        assert isinstance(found[key], kind) or found[key] is None, (key, found[key])
    intervals = max(len(found["beats_s"]) - 1, 0)
    assert len(found["intervals_ms"]) == len(found["kept"]) == len(found["left_out"]) == intervals
    assert [reason is None for reason in found["left_out"]] == found["kept"]
    assert set(found["left_out"]) <= {None, *REASONS}
    assert found["reasons"]
    assert all(isinstance(reason, str) for reason in found["reasons"])
    np.testing.assert_allclose(np.diff(found["beats_s"]) * 1000, found["intervals_ms"], atol=0.0025)
    for name, (low, high) in found["intervals95"].items():
        value = found["metrics"][name]
        assert value is not None
        assert low <= value <= high
    Settings(**found["settings"])


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_recording_that_cant_be_read_gets_one_line(cli: CommandLine, samples: Path, name: str) -> None:
    line = cli("replay", samples / name).refused()
    assert name.split(".")[0] in line
    assert any(words in line for words in UNREADABLE[name].split("|")), line
    assert cli("replay", "--json", samples / name).out == ""


@pytest.mark.parametrize("name", NOT_USABLE)
def test_a_recording_without_a_sound_pulse_says_why_it_is_not_usable(
    cli: CommandLine, samples: Path, name: str
) -> None:
    said = cli("replay", "--json", samples / name)
    said.fine()
    (found,) = said.objects()
    _check_shape(found)
    assert found["usable"] is False
    assert NOT_USABLE[name] in found["reasons"][0]
    shown = cli("replay", samples / name).fine()
    assert "NOT USABLE" in shown
    assert "because" in shown


def test_a_truncated_video_is_read_up_to_its_break(cli: CommandLine, samples: Path) -> None:
    whole, cut = cli("replay", "--json", shipped_recording("rehearsal.avi"), samples / "truncated.avi").objects()
    assert 0.3 * whole["duration_s"] < cut["duration_s"] < 0.7 * whole["duration_s"]
    agreeing = [beat for beat in cut["beats_s"] if beat < cut["duration_s"] - 4.0]
    np.testing.assert_allclose(agreeing, whole["beats_s"][: len(agreeing)], atol=0.01)


def test_good_recordings_come_in_the_order_given_around_a_bad_one(cli: CommandLine, samples: Path) -> None:
    names = ["calm", "nan.csv", "other", "calm.csv", "one second.csv", "calm.csv.gz"]
    said = cli("replay", "--json", *(samples / name for name in names))
    assert "nan.csv line 3" in said.refused()
    found = said.objects()
    assert [each["recording"] for each in found] == [str(samples / name) for name in names if name != "nan.csv"]
    for each in found:
        _check_shape(each)
    lengths_s = [each["duration_s"] for each in found]
    assert lengths_s == pytest.approx([60.0, 40.0, 60.0, 1.0, 60.0], abs=0.1)


def test_folder_csv_and_gzip_of_one_trace_say_the_same(cli: CommandLine, samples: Path) -> None:
    found = cli("replay", "--json", *(samples / name for name in ("calm", "calm.csv", "calm.csv.gz"))).objects()
    for each in found:
        each.pop("recording")
    assert found[0] == found[1] == found[2]


def test_json_holds_the_beats_of_the_heart_and_its_figures(cli: CommandLine, samples: Path) -> None:
    (found,) = cli("replay", "--json", samples / "calm").objects()
    _check_shape(found)
    true_s = np.loadtxt(samples / "calm" / "beats.csv", skiprows=1)
    beats_s = np.array(found["beats_s"])
    apart_s = np.abs(true_s[:, None] - beats_s[None, :]).min(axis=0)
    assert found["usable"] is True
    assert np.median(apart_s) < 0.02
    assert len(beats_s) >= len(true_s) - 3
    true_ms = np.diff(true_s) * 1000
    metrics = found["metrics"]
    assert metrics["mean_hr_bpm"] == pytest.approx(60_000 / true_ms.mean(), abs=0.5)
    assert metrics["rmssd_ms"] == pytest.approx(float(np.sqrt(np.mean(np.diff(true_ms) ** 2))), rel=0.1)
    assert metrics["ln_rmssd"] == pytest.approx(float(np.log(metrics["rmssd_ms"])))
    assert set(found["intervals95"]) >= {"mean_hr_bpm", "rmssd_ms", "ln_rmssd", "sdnn_ms"}


def test_figures_that_cant_be_computed_are_null(cli: CommandLine, samples: Path) -> None:
    (found,) = cli("replay", "--json", samples / "one second.csv").objects()
    for name in ("mean_hr_bpm", "mean_nn_ms", "sdnn_ms", "rmssd_ms", "ln_rmssd", "pnn50_pct"):
        assert found["metrics"][name] is None
    assert found["intervals95"] == {}
    assert found["timing_error_ms"] is None


def test_from_and_to_keep_the_clock_of_the_recording(cli: CommandLine, samples: Path) -> None:
    (whole,) = cli("replay", "--json", samples / "calm").objects()
    (part,) = cli("replay", "--json", "--from", 10, "--to", 50, samples / "calm").objects()
    assert part["duration_s"] == pytest.approx(40.0, abs=0.1)
    assert 10.0 <= part["beats_s"][0] < 12.0
    assert 48.0 < part["beats_s"][-1] <= 50.0
    inside = [beat for beat in whole["beats_s"] if 14.0 < beat < 46.0]
    near = np.abs(np.subtract.outer(inside, part["beats_s"])).min(axis=1)
    assert near.max() < 0.005


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--from", "50", "--to", "40"), "--to 40 is not after --from 50"),
        (("--from", "nan"), "--from nan is no time"),
        (("--to", "inf"), "--to inf is no time"),
        (("--from", "900"), "no frames between"),
        (("--from", "soon"), "--from"),
        (("--channel", "purple"), "choose one of auto, red, green, blue"),
        (("--no-such-option",), "--no-such-option"),
        (("--plot", "no such folder/x.png"), "there is no folder no such folder"),
        (("--plot", "picture.tiff"), "ends in .png, .svg, .pdf"),
        (("--plot", "."), "is a folder"),
        (("--settings", "missing.toml"), "can't read the settings"),
    ],
)
def test_a_mistaken_option_gets_one_line(cli: CommandLine, samples: Path, options: tuple[str, ...], words: str) -> None:
    said = cli("replay", samples / "calm", *options)
    assert words in said.refused()
    assert said.out == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("max_gap_s = = 3", "not a TOML file"),
        ("max_gap = 0.2", "unknown setting 'max_gap'"),
        ("max_gap_s = 50", "max_gap_s is 50: it goes from 0.05 to 1.0 s"),
        ("max_gap_s = -1", "max_gap_s is -1"),
        ("max_gap_s = nan", "max_gap_s is nan"),
        ('max_gap_s = "wide"', "give a number from 0.05 to 1.0 s"),
        ("max_gap_s = true", "give a number"),
        ('channel = "infrared"', "choose one of"),
        ("[section]\nmax_gap_s = 0.2", "unknown setting 'section'"),
    ],
)
def test_bad_settings_get_one_line(cli: CommandLine, samples: Path, place: Path, text: str, words: str) -> None:
    (place / "bad.toml").write_text(text)
    assert words in cli("replay", samples / "calm", "--settings", "bad.toml").refused()


def test_settings_and_channel_reach_the_analysis_and_its_result(cli: CommandLine, samples: Path, place: Path) -> None:
    (place / "mine.toml").write_text('channel = "green"\nmin_kept_s = 120.0\nmin_duration_s = 100.0\n')
    (found,) = cli("replay", "--json", "--settings", "mine.toml", samples / "calm").objects()
    assert found["settings"]["min_duration_s"] == 100.0
    assert found["usable"] is False
    assert found["channel"] == "green"
    (found,) = cli("replay", "--json", "--settings", "mine.toml", "--channel", "red", samples / "calm").objects()
    assert found["settings"]["channel"] == found["channel"] == "red"


def test_a_picture_of_each_recording_is_written(cli: CommandLine, samples: Path, place: Path) -> None:
    cli("replay", "--plot", "one.png", samples / "calm").fine()
    cli("replay", "--plot", "many.png", samples / "calm", samples / "calm.csv", samples / "one second.csv").fine()
    written = sorted(path.name for path in place.glob("*.png"))
    assert written == ["many-calm-2.png", "many-calm.png", "many-one second.png", "one.png"]


def test_nothing_to_replay_is_a_mistake(cli: CommandLine) -> None:
    assert "RECORDING" in cli("replay").refused().upper()


def test_as_a_process_the_answer_is_one_line_and_the_code_is_two(process: Callable[..., Popen[str]]) -> None:
    out, err = (started := process("replay", "missing.csv")).communicate(timeout=120)
    assert (started.returncode, out) == (2, "")
    assert err.splitlines() == ["dawnbeat: can't read the recording: missing.csv: No such file or directory"]


def test_as_a_process_several_recordings_come_in_order(process: Callable[..., Popen[str]], samples: Path) -> None:
    names = [samples / name for name in ("other", "calm", "empty.csv", "other")]
    out, err = (started := process("replay", "--json", *names)).communicate(timeout=120)
    assert started.returncode == 2
    assert len(err.splitlines()) == 1
    assert [json.loads(line)["recording"] for line in out.splitlines()] == [str(names[i]) for i in (0, 1, 3)]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal")
@pytest.mark.parametrize("quiet", [False, True])
def test_progress_is_shown_on_standard_error_where_the_readings_go_elsewhere(samples: Path, quiet: bool) -> None:
    ours, theirs = os.openpty()
    words = ["replay", "--json", *(["--quiet"] if quiet else []), str(samples / "calm"), str(samples / "other")]
    with Popen(
        [sys.executable, "-c", "from dawnbeat.ui.main import main; main()", *words],
        stdin=DEVNULL,
        stdout=PIPE,
        stderr=theirs,
        text=True,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "80"},
    ) as started:
        os.close(theirs)
        shown = b""
        with contextlib.suppress(OSError):  # how a terminal says that nobody writes to it any more
            while part := os.read(ours, 4096):
                shown += part
        out = started.communicate(timeout=120)[0]
    os.close(ours)
    assert started.returncode == 0
    assert [json.loads(line)["recording"] for line in out.splitlines()] == words[-2:]
    assert (b"recordings" in shown, b"100%" in shown) == (not quiet, not quiet)


def test_quiet_says_only_what_went_wrong(cli: CommandLine, samples: Path, place: Path) -> None:
    assert cli("replay", "--quiet", "--plot", "calm.png", samples / "calm").fine() == ""
    assert (place / "calm.png").stat().st_size > 0
    assert "can't read" in cli("replay", "--quiet", "missing.csv").refused()


@pytest.mark.skipif(sys.platform == "win32", reason="sends a POSIX signal")
def test_ctrl_c_ends_a_replay_of_several_with_one_line(process: Callable[..., Popen[str]], samples: Path) -> None:
    started = process("replay", *[samples / "calm"] * 600)
    assert started.stdout is not None
    started.stdout.readline()
    started.send_signal(signal.SIGINT)
    out, err = started.communicate(timeout=120)
    assert out.count("frames a second") < 300
    assert started.returncode == 130
    assert err.splitlines() == ["dawnbeat: stopped"]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")
def test_a_reader_that_has_enough_hears_no_complaint(samples: Path) -> None:
    words = "from dawnbeat.ui.main import main; main()"
    three = " ".join([f'"{samples}/calm"'] * 3)
    line = f'"{sys.executable}" -c "{words}" replay --json {three} | head -c 9'
    done = run(["sh", "-c", line], capture_output=True, text=True, timeout=120, check=True)
    assert done.stdout == '{"recordi'
    assert done.stderr == ""


def test_where_qt_cannot_draw_the_readings_stand_and_the_lack_is_said_once(
    cli: CommandLine, samples: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnbeat.ui.plot.drawing_problem", lambda: "pictures need libegl1")
    said = cli("replay", "--json", "--plot", "many.png", samples / "calm", samples / "calm.csv")
    assert len(said.objects()) == 2
    assert said.refused() == "dawnbeat: pictures need libegl1"
    assert not list(place.glob("*.png"))


@pytest.mark.parametrize("suffix", ["svg", "pdf"])
def test_a_picture_may_be_for_print(cli: CommandLine, samples: Path, place: Path, suffix: str) -> None:
    cli("replay", "--plot", f"one.{suffix}", samples / "calm").fine()
    begins = {"svg": b"<?xml", "pdf": b"%PDF"}[suffix]
    assert (place / f"one.{suffix}").read_bytes().startswith(begins)
    (place / f"mine.{suffix}").write_text("my own")
    assert "is another file" in cli("replay", "--plot", f"mine.{suffix}", samples / "calm").refused()
