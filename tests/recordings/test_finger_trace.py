"""The rendered trace: known beats in, everything a camera does to them on top."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.recordings.invented.faults import ExposureStep, Faults, RateChange, Stretch
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, ROOM_FINGER, Finger, pulse_levels, render_trace
from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times
from dawnbeat.shared.errors import DawnbeatError

BEATS_S = beat_times(Rhythm(mean_hr_bpm=58, seed=3), 40.0, start_s=-4.0)
STILL = replace(LAMP_FINGER, noise=(0.0, 0.0, 0.0), level=(180.0, 60.0, 40.0))


def test_the_steepest_fall_of_brightness_is_the_beat():
    # A 240 Hz frame is 4 ms; a parabola through the three steepest steps finds the moment between frames.
    trace = render_trace(BEATS_S, STILL, duration_s=30, rate_hz=240)
    fall = -np.diff(np.log(trace.colour[:, 1]))
    middle_s = (trace.time_s[1:] + trace.time_s[:-1]) / 2
    beats_s = BEATS_S[(BEATS_S > 0.5) & (BEATS_S < 29.5)]
    found_s = []
    for beat_s in beats_s:
        near = np.flatnonzero(np.abs(middle_s - beat_s) < 0.06)
        top = near[np.argmax(fall[near])]
        before, at, after = fall[top - 1 : top + 2]
        found_s.append(middle_s[top] + (before - after) / (before - 2 * at + after) / 2 / 240)
    assert np.abs(np.array(found_s) - beats_s).max() < 0.001


def test_the_same_arguments_give_the_same_trace_and_another_seed_another():
    faults = Faults(drift=0.01, movement=(Stretch(5, 3, 0.1),), jitter_ms=2, dropped_share=0.05)
    first, again, other = (render_trace(BEATS_S, LAMP_FINGER, faults, 20, 30, seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(first.time_s, again.time_s)
    np.testing.assert_array_equal(first.colour, again.colour)
    assert len(first) != len(other) or not np.array_equal(first.colour, other.colour)


def test_the_pulse_of_a_clipped_channel_is_weaker():
    light, clipped, gone = (
        pulse_levels(replace(STILL, level=(level, 60.0, 40.0)))[0] for level in (180.0, 260.0, 300.0)
    )
    assert clipped < 0.7 * light
    assert gone < 0.02 * light
    trace = render_trace(BEATS_S, replace(STILL, level=(300.0, 60.0, 40.0)), duration_s=10)
    assert trace.colour[:, 0].max() <= 255.0
    assert trace.clipped is not None
    assert trace.clipped.min() > 0.95


def test_the_depth_of_the_pulse_is_the_one_asked():
    wave = Wave(dicrotic=0.0)
    trace = render_trace(np.arange(-4.0, 40.0, 1.5), replace(STILL, wave=wave), duration_s=30, rate_hz=60)
    swing = np.ptp(trace.colour[:, 1]) / trace.colour[:, 1].max()
    assert swing == pytest.approx(0.02, rel=0.15)


def test_a_long_exposure_blurs_the_pulse_but_does_not_shift_it():
    short, long = (
        render_trace(BEATS_S, replace(STILL, exposure_share=share), duration_s=30, rate_hz=15) for share in (0.05, 1.0)
    )
    pulses = [np.diff(trace.colour[:, 1]) for trace in (short, long)]
    assert np.std(pulses[1]) < np.std(pulses[0])
    ahead, same, behind = (np.corrcoef(np.roll(pulses[0], shift), pulses[1])[0, 1] for shift in (-1, 0, 1))
    assert same > 0.99 > max(ahead, behind)


def test_noise_has_the_spread_asked_for():
    finger = replace(ROOM_FINGER, pulse_pct=(0.0, 0.0, 0.0), noise=(0.1, 0.2, 0.3))
    trace = render_trace(np.empty(0), finger, duration_s=120)
    np.testing.assert_allclose(trace.colour.std(axis=0), [0.1, 0.2, 0.3], rtol=0.05)


def test_rounding_leaves_whole_grey_levels():
    trace = render_trace(BEATS_S, replace(LAMP_FINGER, rounding="mean"), duration_s=10)
    np.testing.assert_array_equal(trace.colour, np.round(trace.colour))


def test_a_lamp_on_the_mains_shows_as_a_slow_tone_at_30_frames_a_second():
    finger = replace(STILL, pulse_pct=(0.0, 0.0, 0.0), mains=0.05, exposure_share=0.5)
    trace = render_trace(np.empty(0), finger, duration_s=20)
    power = np.abs(np.fft.rfft(trace.colour[:, 1] - trace.colour[:, 1].mean()))
    assert np.fft.rfftfreq(len(trace), 1 / 30)[np.argmax(power)] == pytest.approx(10.0, abs=0.1)


def test_a_lifted_finger_shows_the_room_and_comes_back():
    trace = render_trace(BEATS_S, STILL, Faults(lifted=(Stretch(10, 5),)), 30)
    off = (trace.time_s > 10.3) & (trace.time_s < 14.7)
    on = (trace.time_s < 9.9) | (trace.time_s > 15.1)
    assert np.abs(trace.colour[off].mean(axis=0) - STILL.room).max() < 12
    assert np.abs(trace.colour[on].mean(axis=0) - STILL.level).max() < 5
    assert trace.covered is not None
    assert trace.covered[off].max() < 0.05
    assert trace.covered[on].min() > 0.9


def test_movement_disturbs_its_stretch_only():
    quiet = render_trace(BEATS_S, STILL, Faults(), 30)
    moved = render_trace(BEATS_S, STILL, Faults(movement=(Stretch(10, 5, 0.1),)), 30)
    ratio = moved.colour[:, 1] / quiet.colour[:, 1]
    inside = (quiet.time_s > 10.5) & (quiet.time_s < 14.5)
    np.testing.assert_allclose(ratio[quiet.time_s < 10], 1.0, atol=1e-9)
    assert np.ptp(ratio[quiet.time_s > 15.1]) < 1e-9
    assert np.std(ratio[inside]) > 0.03


def test_exposure_steps_scale_the_brightness():
    trace = render_trace(BEATS_S, STILL, Faults(exposure=(ExposureStep(10, 0.8),)), 20)
    before, after = trace.colour[trace.time_s < 9.9], trace.colour[trace.time_s > 10.4]
    np.testing.assert_allclose(after.mean(axis=0) / before.mean(axis=0), 0.8, rtol=0.01)


def test_a_weak_stretch_has_a_weak_pulse():
    trace = render_trace(BEATS_S, STILL, Faults(weak=(Stretch(10, 10, 0.1),)), 30)
    weak = trace.colour[(trace.time_s > 11.5) & (trace.time_s < 18.5), 1]
    assert np.ptp(weak) < 0.2 * np.ptp(trace.colour[trace.time_s < 9, 1])


def test_the_rate_halves_when_asked():
    trace = render_trace(BEATS_S, STILL, Faults(rate=(RateChange(10, 15),)), 20)
    steps_s = np.diff(trace.time_s)
    np.testing.assert_allclose(steps_s[trace.time_s[1:] <= 10], 1 / 30, atol=1e-9)
    np.testing.assert_allclose(steps_s[trace.time_s[:-1] >= 10], 1 / 15, atol=1e-9)
    assert len(trace) == 450


def test_dropped_frames_are_missing_rows():
    trace = render_trace(BEATS_S, STILL, Faults(dropped_share=0.1, dropped=(Stretch(5, 1),)), 30)
    assert 0.8 * 900 < len(trace) < 0.92 * 900
    assert np.diff(trace.time_s).max() == pytest.approx(1.0, abs=0.2)
    whole = np.round(trace.time_s * 30)
    np.testing.assert_allclose(trace.time_s * 30, whole, atol=1e-6)


def test_jitter_tells_the_truth_and_a_stamp_error_does_not():
    shaky = render_trace(BEATS_S, STILL, Faults(jitter_ms=4), 30)
    wrong = render_trace(BEATS_S, STILL, Faults(stamp_error_ms=4), 30)
    exact = render_trace(BEATS_S, STILL, Faults(), 30)
    fine = render_trace(BEATS_S, STILL, Faults(), 31, rate_hz=240)

    def misfit(trace):
        return np.std(np.interp(trace.time_s, fine.time_s, fine.colour[:, 1]) - trace.colour[:, 1])

    assert np.std(np.diff(shaky.time_s)) == pytest.approx(0.004 * np.sqrt(2), rel=0.15)
    assert misfit(shaky) < 1.3 * misfit(exact) + 1e-4
    assert misfit(wrong) > 1.5 * misfit(shaky)
    assert shaky.time_s[0] == wrong.time_s[0] == 0.0


@pytest.mark.parametrize("rate_hz", [24, 30, 60])
def test_frames_come_at_the_rate_asked(rate_hz):
    trace = render_trace(BEATS_S, STILL, duration_s=20, rate_hz=rate_hz)
    assert len(trace) == 20 * rate_hz
    assert trace.frame_rate_hz == pytest.approx(rate_hz)


stretches = st.lists(st.builds(Stretch, st.floats(0, 12), st.floats(0, 12), st.floats(0, 10)), max_size=3).map(tuple)
three_levels = st.tuples(*[st.floats(0.5, 400)] * 3)
fingers = st.builds(
    Finger,
    level=three_levels,
    pulse_pct=st.tuples(*[st.floats(0, 20)] * 3),
    noise=st.tuples(*[st.floats(0, 20)] * 3),
    flicker=st.floats(0, 0.1),
    shading=st.tuples(*[st.floats(0.5, 80)] * 3),
    exposure_share=st.floats(0.01, 1),
    rounding=st.sampled_from(["none", "mean"]),
    mains=st.floats(0, 0.5),
    room=st.tuples(*[st.floats(0, 255)] * 3),
    wave=st.builds(Wave, st.floats(90, 190), st.floats(0, 1.2), st.floats(0, 2)),
)
fault_sets = st.builds(
    Faults,
    drift=st.floats(0, 0.5),
    movement=stretches,
    lifted=stretches,
    weak=stretches,
    exposure=st.lists(st.builds(ExposureStep, st.floats(0, 12), st.floats(0.2, 5)), max_size=3).map(tuple),
    rate=st.lists(st.builds(RateChange, st.floats(0, 12), st.floats(5, 240)), max_size=3).map(tuple),
    jitter_ms=st.floats(0, 15),
    stamp_error_ms=st.floats(0, 15),
    late_share=st.floats(0, 0.5),
    dropped_share=st.floats(0, 0.8),
    dropped=stretches,
)


@settings(max_examples=80, deadline=None)
@given(
    finger=fingers,
    faults=fault_sets,
    mean_hr_bpm=st.floats(35, 180),
    duration_s=st.floats(0, 10),
    rate_hz=st.floats(5, 120),
    seed=st.integers(0, 2**31),
)
def test_whatever_is_asked_the_trace_is_finite_and_time_increases(
    finger, faults, mean_hr_bpm, duration_s, rate_hz, seed
):
    beats_s = beat_times(Rhythm(mean_hr_bpm=mean_hr_bpm, seed=seed), 14.0, start_s=-3.0)
    trace = render_trace(beats_s, finger, faults, duration_s, rate_hz, seed)
    assert np.isfinite(trace.colour).all()
    assert trace.colour.min(initial=0.0) >= 0.0
    assert trace.colour.max(initial=0.0) <= 255.0
    assert (np.diff(trace.time_s) > 0).all()
    assert trace.covered is not None
    assert trace.clipped is not None
    for share in (trace.covered, trace.clipped):
        assert share.min(initial=0.0) >= 0.0
        assert share.max(initial=0.0) <= 1.0


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: Finger(level=(0.0, 1.0, 1.0)), "level"),
        (lambda: Finger(noise=(0.0, float("nan"), 1.0)), "noise"),
        (lambda: Finger(rounding="some"), "rounding"),
        (lambda: Faults(drift=-0.1), "drift"),
        (lambda: Faults(dropped_share=1.0), "dropped_share"),
        (lambda: Stretch(-1.0, 2.0), "fault"),
        (lambda: Stretch(1.0, float("inf")), "fault"),
        (lambda: ExposureStep(1.0, 0.0), "exposure"),
        (lambda: RateChange(1.0, 1000.0), "frames a second"),
        (lambda: render_trace(BEATS_S, duration_s=-1), "-1"),
        (lambda: render_trace(BEATS_S, rate_hz=1), "frames a second"),
        (lambda: render_trace(BEATS_S[::-1]), "beats"),
    ],
)
def test_nonsense_is_refused_in_one_line(make, name):
    with pytest.raises(DawnbeatError, match=name) as caught:
        make()
    assert "\n" not in str(caught.value)
