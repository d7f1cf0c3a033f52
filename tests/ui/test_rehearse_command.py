from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import Recording, read_recording
from tests.ui.command_line import CommandLine


def _rehearsed(cli: CommandLine, place: Path, *options: object) -> Recording:
    name = f"out{len(list(place.iterdir()))}"
    out = cli("rehearse", name, "--seconds", 40, *options).fine()
    recording = read_recording(place / name)
    assert recording.beats_s is not None
    assert f"{name}: 40 s of an invented finger with {recording.beats_s.size} beats" in out
    return recording


def test_a_rehearsal_says_that_it_is_invented(cli: CommandLine, place: Path) -> None:
    about = _rehearsed(cli, place, "--seed", 5).about
    assert about["invented"] is True
    assert "invented" in about["notes"]
    assert about["seed"] == 5


def test_the_same_seed_is_the_same_morning_and_another_is_not(cli: CommandLine, place: Path) -> None:
    first, again, other = (_rehearsed(cli, place, "--seed", seed) for seed in (5, 5, 6))
    np.testing.assert_array_equal(first.trace.colour, again.trace.colour)
    assert not np.array_equal(first.beats_s, other.beats_s)


def test_rate_and_variability_reach_the_beats(cli: CommandLine, place: Path) -> None:
    for rate_bpm, rmssd_ms in ((48, 80), (150, 5)):
        beats_s = _rehearsed(cli, place, "--rate", rate_bpm, "--rmssd", rmssd_ms).beats_s
        interval_ms = np.diff(beats_s) * 1000
        assert 60_000 / interval_ms.mean() == pytest.approx(rate_bpm, rel=0.06)
        assert np.sqrt(np.mean(np.diff(interval_ms) ** 2)) == pytest.approx(rmssd_ms, rel=0.25)
    early = np.diff(_rehearsed(cli, place, "--premature", 0.15, "--rmssd", 10).beats_s)
    assert early.min() < 0.8 * np.median(early)


def test_frames_faults_and_light_reach_the_trace(cli: CommandLine, place: Path) -> None:
    plain = _rehearsed(cli, place).trace
    assert _rehearsed(cli, place, "--fps", 60).trace.frame_rate_hz == pytest.approx(60, rel=0.05)
    assert _rehearsed(cli, place, "--light", "room").trace.colour.mean() < 0.8 * plain.colour.mean()
    assert len(_rehearsed(cli, place, "--dropped", 0.3).trace) == pytest.approx(0.7 * len(plain), rel=0.1)
    dim_s = np.diff(_rehearsed(cli, place, "--dim-at", 20).trace.time_s)
    assert np.median(dim_s[-100:]) == pytest.approx(2 * np.median(dim_s[:100]), rel=0.1)
    assert np.diff(_rehearsed(cli, place, "--jitter", 8).trace.time_s).std() > 2 * np.diff(plain.time_s).std()
    rough = [np.diff(_rehearsed(cli, place, "--noise", noise).trace.colour[:, 1]).std() for noise in (0, 20)]
    assert rough[1] > 1.5 * rough[0]


def test_stretches_of_faults_come_where_they_were_asked_for(cli: CommandLine, place: Path) -> None:
    lifted = _rehearsed(cli, place, "--lift", "10:5").trace
    assert lifted.covered is not None
    inside = (lifted.time_s > 11) & (lifted.time_s < 14)
    assert lifted.covered[inside].max() < 0.5
    assert lifted.covered[lifted.time_s < 9].min() > 0.9
    moved = _rehearsed(cli, place, "--drift", 0, "--move", "10:5:0.3", "--move", "30:2").trace
    swing = [
        float(np.ptp(moved.colour[(moved.time_s > start_s) & (moved.time_s < end_s), 1]))
        for start_s, end_s in ((2, 7), (10, 15))
    ]
    assert swing[1] > 3 * swing[0]
    stepped = _rehearsed(cli, place, "--drift", 0, "--exposure", "20:0.5").trace
    before, after = (stepped.colour[part, 1].mean() for part in (stepped.time_s < 19, stepped.time_s > 22))
    assert after == pytest.approx(0.5 * before, rel=0.1)


def test_a_video_comes_with_the_trace_on_request(cli: CommandLine, place: Path) -> None:
    cli("rehearse", "film", "--seconds", 8, "--video").fine()
    assert (place / "film" / "video.avi").stat().st_size > 50_000
    assert len(read_recording(place / "film" / "video.avi").trace) == len(read_recording(place / "film").trace)


def test_a_rehearsal_replays_and_agrees_with_its_beats(cli: CommandLine, place: Path) -> None:
    cli("rehearse", "morning", "--seconds", 90, "--seed", 4, "--rate", 50, "--dicrotic", 0.9).fine()
    (found,) = cli("replay", "--json", "morning").objects()
    assert found["usable"] is True
    assert found["metrics"]["mean_hr_bpm"] == pytest.approx(50, abs=2)
    (agreed,) = cli("agree", "--json", "morning", "morning/beats.csv").objects()
    assert min(agreed["matched_share_a"], agreed["matched_share_b"]) > 0.98
    assert agreed["interval_mean_absolute_ms"] < 3.0
    assert abs(agreed["lag_s"]) < 0.05
    assert json.loads((place / "morning" / "about.json").read_text())["format_version"] == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--rate", "500"), "500"),
        (("--rmssd", "-1"), "-1"),
        (("--rate", "nan"), "nan"),
        (("--fps", "0"), "0"),
        (("--light", "neon"), "say lamp or room"),
        (("--noise", "-1"), "--noise -1 is out of range"),
        (("--seconds", "0"), "--seconds 0 is out of range"),
        (("--premature", "0.9"), "0.9"),
        (("--dicrotic", "9"), "9"),
        (("--dropped", "1"), "1"),
        (("--move", "soon"), "--move 'soon' can't be read"),
        (("--move", "10"), "--move '10' can't be read"),
        (("--move", "-5:3"), "-5"),
        (("--lift", "1:2:3"), "--lift '1:2:3' can't be read"),
        (("--lift", "nan:2"), "nan"),
        (("--exposure", "20"), "such as --exposure 60:1.5"),
        (("--exposure", "20:90"), "90"),
        (("--dim-at", "-1"), "-1"),
        (("--seed", "one"), "--seed"),
    ],
)
def test_what_cant_be_rehearsed_gets_one_line_and_no_folder(
    cli: CommandLine, place: Path, options: tuple[str, ...], words: str
) -> None:
    assert words in cli("rehearse", "out", *options).refused()
    assert not (place / "out").exists()


def test_nothing_is_rehearsed_over_what_is_there(cli: CommandLine, samples: Path) -> None:
    assert "nothing is overwritten" in cli("rehearse", samples / "calm", "--seconds", 5).refused()
