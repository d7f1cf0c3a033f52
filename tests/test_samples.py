"""The eight shipped recordings, replayed against their true beats and against the verdict that each must get."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import Recording, read_recording
from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.shared.reading import Analysis
from dawnbeat.signal.analysis import analyse
from tests.signal.fingers import against_truth, overlapping
from tests.signal.sound import check

RECORDINGS = Path(__file__).parents[1] / "recordings"
NAMES = sorted(path.parent.name for path in RECORDINGS.glob("*/about.json"))
USABLE = [n for n in NAMES if json.loads((RECORDINGS / n / "about.json").read_text())["verdict"] == "usable"]


@pytest.fixture(scope="module")
def replayed() -> dict[str, tuple[Recording, Analysis]]:
    read = {name: read_recording(RECORDINGS / name) for name in NAMES}
    return {name: (recording, analyse(recording.trace)) for name, recording in read.items()}


def test_there_are_eight_of_which_two_must_not_be_trusted():
    assert len(NAMES) == 8
    assert sorted(set(NAMES) - set(USABLE)) == ["finger-lifted", "poor-light"]


@pytest.mark.parametrize("name", NAMES)
def test_a_recording_gets_the_verdict_that_it_must(name, replayed):
    recording, analysis = replayed[name]
    check(analysis)
    said = "usable" if analysis.verdict.usable else "not usable"
    assert said == recording.about["verdict"], verdict_lines(analysis.verdict)


@pytest.mark.parametrize("name", USABLE)
def test_a_usable_recording_has_the_true_beats_rate_and_variability(name, replayed):
    recording, analysis = replayed[name]
    found = against_truth(analysis, recording.beats_s)
    assert found.matched_a >= 0.98
    # While the finger moves, beats are lost; nowhere else.
    assert found.matched_b >= (0.93 if name == "motion-burst" else 0.97)
    assert found.mean_absolute_ms <= 2.5
    ours_ms, true_ms = found.rmssd_ms
    assert ours_ms == pytest.approx(true_ms, rel=0.05)
    ours_bpm, true_bpm = found.mean_hr_bpm
    assert ours_bpm == pytest.approx(true_bpm, abs=0.1)
    whole_bpm = 60.0 * (recording.beats_s.size - 1) / np.ptp(recording.beats_s)
    assert analysis.metrics.mean_hr_bpm == pytest.approx(whole_bpm, abs=1.0)


@pytest.mark.parametrize("name", USABLE)
def test_the_truth_lies_within_the_interval_of_a_usable_recording(name, replayed):
    recording, analysis = replayed[name]
    found = against_truth(analysis, recording.beats_s)
    low, high = analysis.intervals95["rmssd_ms"]
    assert low <= found.rmssd_ms[1] <= high
    low, high = analysis.intervals95["mean_hr_bpm"]
    assert low <= found.mean_hr_bpm[1] <= high


def test_the_slow_heart_is_not_doubled(replayed):
    assert replayed["slow-heart"][1].metrics.mean_hr_bpm == pytest.approx(42.0, abs=1.5)


def test_the_premature_beats_are_left_out_as_irregular(replayed):
    recording, analysis = replayed["premature-beats"]
    steps = np.diff(recording.beats_s)
    # An early beat is one after less than four fifths of the interval before, with a longer one after it.
    early = [
        k + 1 for k in range(1, steps.size - 1) if steps[k] < 0.83 * steps[k - 1] and steps[k + 1] > 1.15 * steps[k - 1]
    ]
    assert len(early) >= 2
    around = [overlapping(analysis.intervals, at - 0.2, at + 0.2) for at in recording.beats_s[early]]
    assert not any(None in reasons for reasons in around)
    # An early beat can be too faint to time as well, which is said first.
    assert sum("irregular beat" in reasons for reasons in around) >= 0.5 * len(around)
    assert np.mean([reason is None for reason in analysis.intervals.left_out]) > 0.85


def test_the_burst_of_movement_is_left_out_as_movement(replayed):
    analysis = replayed["motion-burst"][1]
    there = overlapping(analysis.intervals, 62.0, 68.0)
    assert "movement" in there
    assert np.mean([reason is not None for reason in there]) > 0.7
    away = overlapping(analysis.intervals, 2.0, 58.0) + overlapping(analysis.intervals, 72.0, 137.0)
    assert np.mean([reason is None for reason in away]) > 0.93


def test_the_lifted_finger_is_told_with_where_it_was(replayed):
    recording, analysis = replayed["finger-lifted"]
    for low, high in ((31.5, 53.5), (76.5, 103.5)):
        assert sum(reason is None for reason in overlapping(analysis.intervals, low, high)) <= 1
    assert analysis.verdict.findings[0].code == "little_kept"
    found = against_truth(analysis, recording.beats_s)
    assert np.median(np.abs(found.difference_ms)) < 2.5


def test_poor_light_says_that_the_pulse_is_faint_or_drowned(replayed):
    said = "; ".join(verdict_lines(replayed["poor-light"][1].verdict))
    assert any(word in said for word in ("faint", "noise", "light"))


def test_the_changing_rate_loses_little(replayed):
    analysis = replayed["changing-rate"][1]
    assert analysis.metrics.kept_share > 0.85
