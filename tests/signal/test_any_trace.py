"""Any valid trace gets an analysis whose numbers are finite; only the project's own error is ever raised."""

from __future__ import annotations

import contextlib
import dataclasses
import warnings

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfiltfilt

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from tests.signal.fingers import finger, grey_trace
from tests.signal.sound import check


@st.composite
def traces(draw) -> Trace:
    """Frames of every kind: none, few, many; flat, noisy, pulsing, jumping; steps tiny, huge, torn."""
    count = draw(st.integers(0, 600))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    step_s = draw(st.sampled_from([1e-6, 1e-3, 1 / 240, 1 / 60, 1 / 30, 1 / 30, 1 / 15, 0.19, 0.25, 5.0, 1e5]))
    steps = np.full(count, step_s)
    shape = draw(st.sampled_from(["even", "jitter", "wild", "gaps", "changing"]))
    if shape == "jitter":
        steps = steps * rng.uniform(0.5, 1.5, count)
    elif shape == "wild":
        steps = steps * np.exp(rng.normal(0.0, 2.0, count))
    elif shape == "gaps":
        steps = np.where(rng.uniform(size=count) < 0.02, steps + rng.uniform(0.1, 30.0, count), steps)
    elif shape == "changing":
        steps[count // 2 :] *= draw(st.sampled_from([0.25, 0.5, 2.0, 4.0]))
    time_s = draw(st.sampled_from([0.0, -1000.0, 0.0, 1e6])) + np.cumsum(steps)
    since_s = np.cumsum(steps)
    colour = np.tile(draw(st.tuples(*[st.sampled_from([0.0, 0.3, 1.0, 40.0, 128.0, 254.9, 255.0])] * 3)), (count, 1))
    for part in draw(st.sets(st.sampled_from(["pulse", "noise", "jumps", "drift", "spike", "black", "white"]))):
        if part == "pulse":
            colour = colour + draw(st.floats(0.0, 20.0)) * np.sin(
                2 * np.pi * draw(st.floats(0.2, 9.0)) * since_s[:, None] + np.arange(3)
            )
        elif part == "noise":
            colour = colour + draw(st.sampled_from([1e-9, 0.02, 1.0, 100.0])) * rng.standard_normal((count, 3))
        elif part == "jumps":
            colour = colour + np.cumsum(rng.uniform(size=(count, 1)) < 0.02, axis=0) * draw(st.floats(-50, 50))
        elif part == "drift":
            colour = colour + np.linspace(0.0, draw(st.floats(-200, 200)), count)[:, None]
        elif part == "spike" and count:
            colour[rng.integers(count)] = rng.uniform(0.0, 255.0, 3)
        elif part == "black":
            colour[: count // 2] = 0.0
        elif part == "white":
            colour[count // 3 :, 0] = 255.0
    return Trace(time_s, np.clip(colour, 0.0, 255.0))


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(trace=traces(), channel=st.sampled_from(["auto", "auto", "red", "green", "blue"]))
def test_any_trace_gives_an_analysis_without_error(trace, channel):
    check(analyse(trace, Settings(channel=channel)))


@settings(max_examples=60, deadline=None)
@given(colour=st.lists(st.tuples(*[st.floats(0.0, 255.0)] * 3), min_size=0, max_size=120))
def test_any_few_seconds_of_colours_give_an_analysis(colour):
    analysis = analyse(Trace(np.arange(len(colour)) / 30.0, np.reshape(np.array(colour, dtype=float), (-1, 3))))
    check(analysis)
    assert not analysis.verdict.usable


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_allowed_settings_give_an_analysis(data, morning):
    values = {
        parameter.name: data.draw(st.floats(parameter.metadata["low"], parameter.metadata["high"]))
        for parameter in dataclasses.fields(Settings)
        if "choices" not in parameter.metadata
    }
    with contextlib.suppress(DawnbeatError):
        # Two settings may contradict each other, such as the cut-offs of a band.
        check(analyse(morning, Settings(**values)))


@pytest.fixture(scope="module")
def morning() -> Trace:
    return finger(seed=3, duration_s=40.0).trace()


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5, 10, 23, 24, 25, 30, 60, 89, 90, 91, 120])
def test_a_few_frames_are_not_usable_for_want_of_length(count):
    scenario = finger(seed=4, duration_s=10.0)
    trace = scenario.trace()
    analysis = analyse(Trace(trace.time_s[:count], trace.colour[:count]))
    check(analysis)
    assert not analysis.verdict.usable
    assert analysis.verdict.findings[0].code == "too_short"


@pytest.mark.parametrize("level", [0.0, 1.0, 63.7, 100.0, 128.0, 254.5, 255.0])
def test_a_constant_colour_has_no_pulse(level):
    analysis = analyse(grey_trace(np.arange(3600) / 30.0, np.full(3600, level)))
    check(analysis)
    assert not analysis.verdict.usable
    assert analysis.verdict.findings[0].code == "no_pulse"
    assert analysis.metrics.mean_hr_bpm is None


@pytest.mark.parametrize("rate_hz", [5.3, 14.6, 30.0])
@pytest.mark.parametrize("level", [0.0, 1.0, 128.0])
def test_a_short_constant_colour_takes_no_root_and_no_quotient_of_nothing(level, rate_hz):
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        analysis = analyse(grey_trace(np.arange(46) / rate_hz, np.full(46, level)))
    assert not analysis.verdict.usable


@pytest.mark.parametrize("kind", ["white", "brown", "like a pulse"])
def test_noise_is_never_usable_in_fifty_tries(kind):
    time_s = np.arange(3600) / 30.0
    band = butter(2, [0.7, 3.0], "bandpass", fs=30.0, output="sos")
    usable = []
    for seed in range(50):
        rng = np.random.default_rng(seed)
        if kind == "white":
            colour = 128.0 + 10.0 ** rng.uniform(-4, 1) * rng.standard_normal((3600, 3))
        elif kind == "brown":
            colour = 128.0 + np.cumsum(0.1 * rng.standard_normal((3600, 3)), axis=0)
        else:
            shared = sosfiltfilt(band, rng.standard_normal(3600))
            colour = 128.0 + 3.0 * shared[:, None] + 0.01 * rng.standard_normal((3600, 3))
        if analyse(Trace(time_s, np.clip(colour, 0.0, 255.0))).verdict.usable:
            usable.append(seed)
    assert usable == []


@pytest.mark.parametrize("rate_hz", [30.0, 60.0])
@pytest.mark.parametrize("noise", [0.0, 0.3, 2.0])
def test_five_hundred_beats_a_minute_are_not_usable(rate_hz, noise):
    time_s = np.arange(int(120 * rate_hz)) / rate_hz
    rng = np.random.default_rng(5)
    grey = 128.0 + 3.0 * np.sin(2 * np.pi * 500.0 / 60.0 * time_s) + noise * rng.standard_normal(time_s.size)
    analysis = analyse(grey_trace(time_s, grey))
    check(analysis)
    assert not analysis.verdict.usable


def test_two_hours_are_analysed_as_a_whole():
    scenario = finger(seed=6, duration_s=300.0, mean_hr_bpm=60.0)
    # Five minutes that repeat: drawing two hours would take longer than reading them.
    part = scenario.trace(gauge=False)
    beat_s = scenario.beats_s
    rows = np.concatenate([part.time_s + 300.0 * k for k in range(24)])
    analysis = analyse(Trace(rows, np.tile(part.colour, (24, 1))))
    check(analysis)
    assert analysis.verdict.usable
    assert analysis.metrics.mean_hr_bpm == pytest.approx(60.0 * (beat_s.size - 1) / np.ptp(beat_s), abs=0.5)
    assert analysis.metrics.kept_share > 0.97
