"""Each cause of doubt is named in words, and a sound morning says what its trust rests on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, Finger
from dawnbeat.recordings.invented.heart import Wave
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.origin import Origin
from tests.signal.fingers import finger, grey_trace

NOISY = replace(LAMP_FINGER, noise=(0.6, 0.35, 0.3))


def verdict(trace: Trace, settings: Settings | None = None) -> tuple[bool, str]:
    found = analyse(trace, settings).verdict
    return found.usable, "; ".join(verdict_lines(found))


def test_a_sound_morning_is_usable_and_says_why():
    usable, said = verdict(finger(seed=61).trace())
    assert usable
    assert "kept" in said
    assert "timed" in said
    assert "agree" in said


def test_twenty_seconds_are_too_short_and_so_is_one():
    for duration_s in (20.0, 1.0):
        usable, said = verdict(finger(seed=62, duration_s=duration_s).trace())
        assert not usable
        assert "long" in said
        assert f"{Settings().min_duration_s:.0f} s" in said


def test_a_minute_can_be_usable():
    assert verdict(finger(seed=63, duration_s=60.0).trace())[0]


def test_a_finger_that_moves_half_of_the_time_is_named_with_its_time():
    scenario = finger(seed=64, faults=Faults(movement=(Stretch(30.0, 55.0, 0.2),)))
    usable, said = verdict(scenario.trace())
    assert not usable
    assert "finger moved" in said
    assert "mostly from 0:" in said


def test_missing_frames_are_named():
    scenario = finger(seed=65, faults=Faults(dropped=(Stretch(40.0, 45.0),)))
    usable, said = verdict(scenario.trace())
    assert not usable
    assert "frames were missing" in said
    assert "0:39 to 1:25" in said or "0:40 to 1:25" in said or "0:39 to 1:26" in said


def test_a_lifted_finger_is_not_usable():
    scenario = finger(seed=66, faults=Faults(lifted=(Stretch(20.0, 30.0), Stretch(70.0, 30.0))))
    usable, said = verdict(scenario.trace())
    assert not usable
    assert said


def test_a_pulse_under_the_noise_is_not_usable():
    usable, said = verdict(finger(seed=67, optics=NOISY).trace())
    assert not usable
    assert any(word in said for word in ("faint", "noise", "no pulse", "disagree"))


def test_timing_that_would_make_up_the_variability_is_not_usable():
    """A steady heart and a weak pulse: the rate is plain, the variability is the camera's."""
    optics = replace(LAMP_FINGER, noise=(0.1, 0.07, 0.07), wave=Wave(180.0, 0.1))
    scenario = finger(seed=68, optics=optics, rmssd_ms=4.0, slow_depth=0.002)
    analysis = analyse(scenario.trace())
    assert not analysis.verdict.usable
    assert any("faint" in reason or "noise" in reason for reason in verdict_lines(analysis.verdict))


def test_too_few_frames_a_second_are_named():
    usable, said = verdict(finger(seed=69, rate_hz=6.0).trace())
    assert not usable
    assert "frames a second" in said or "frames a beat" in said


def test_no_finger_at_all_says_what_to_do():
    usable, said = verdict(finger(seed=70, optics=replace(LAMP_FINGER, pulse_pct=(0.0, 0.0, 0.0))).trace())
    assert not usable
    assert said
    usable, said = verdict(grey_trace(np.arange(3600) / 30.0, np.full(3600, 90.0)))
    assert not usable
    assert "cover the whole lens" in said


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        (Settings(min_kept_s=600.0, min_kept_share=1.0), "kept"),
        (Settings(min_duration_s=200.0), "long"),
        (Settings(min_frame_rate_hz=60.0), "frames a second"),
        (Settings(max_timing_share=0.0), "timing|time"),
    ],
)
def test_stricter_settings_give_the_reason_that_they_ask_for(settings, word):
    usable, said = verdict(finger(seed=61).trace(), settings)
    assert not usable
    assert any(each in said for each in word.split("|"))


def test_reasons_are_whole_short_lines():
    for optics in (LAMP_FINGER, NOISY, Finger(pulse_pct=(0.0, 0.0, 0.0))):
        for reason in verdict_lines(analyse(finger(seed=71, optics=optics).trace()).verdict):
            assert 5 < len(reason) < 200
            assert reason == reason.strip()
            assert "%%" not in reason


def test_more_time_is_asked_of_a_longer_reading_only_up_to_a_limit():
    """90 s kept of two minutes make a reading; so do 90 s kept of 130 s."""
    faults = Faults(lifted=(Stretch(0.0, 24.0),))
    usable, said = verdict(finger(seed=72, duration_s=130.0, faults=faults).trace())
    assert usable, said


@pytest.mark.parametrize("bpm", [36.0, 40.0, 48.0])
def test_no_short_reading_is_called_usable_without_saying_how_sure_it_is(bpm):
    for seed in (73, 74):
        scenario = finger(seed=seed, duration_s=Settings().min_duration_s + 1.0, mean_hr_bpm=bpm)
        analysis = analyse(scenario.trace())
        if analysis.verdict.usable:
            assert set(analysis.intervals95) == {"mean_hr_bpm", "sdnn_ms", "rmssd_ms", "ln_rmssd"}


def test_a_pulse_without_a_finger_on_the_lens_is_not_usable():
    trace = finger(seed=75).trace()
    bare = replace(trace, covered=np.full(len(trace), 0.1))
    verdict_ = analyse(bare).verdict
    assert not verdict_.usable
    assert not verdict_.pulse_usable
    assert {each.code for each in verdict_.findings} & {"no_finger", "no_pulse"}


def test_intervals_count_only_while_the_finger_is_on_the_lens():
    trace = finger(seed=76).trace()
    covered = np.where((trace.time_s > 20.0) & (trace.time_s < 40.0), 0.0, 1.0)
    intervals = analyse(replace(trace, covered=covered)).intervals
    inside = (intervals.end_s > 20.1) & (intervals.start_s < 39.9)
    assert not intervals.kept[inside].any()
    assert intervals.kept[~inside].mean() > 0.95


@pytest.mark.parametrize(
    ("steepness", "red_share", "usable"), [(2.4, 0.6, True), (1.5, 0.6, False), (2.4, None, False)]
)
def test_a_very_blunt_wave_is_a_pulse_where_it_is_lopsided_and_has_the_colours_of_blood(
    monkeypatch: pytest.MonkeyPatch, steepness: float, red_share: float | None, usable: bool
) -> None:
    blunt = Origin(red_share, None, 2, rise_ms=160.0, edge_ms=230.0, steepness=steepness, height_spread=0.08)
    monkeypatch.setattr("dawnbeat.signal.analysis.origin_of", lambda *_: blunt)
    assert verdict(finger(seed=61).trace())[0] is usable
