"""An irregular pulse is said to be one, breathing and poor light are not, and half or double is said, not guessed."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.recordings.invented.heart import Rhythm, Wave, beat_times, blood_volume
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.judging import premature_beats
from dawnbeat.signal.rhythm import irregularity_of, unpredicted
from dawnbeat.signal.second_beats import latest_dicrotic_s
from tests.signal.fingers import finger

LEAD_S, LENGTH_S = 5.0, 120.0


def seen(beats_s: FloatArray, weak: FloatArray | None = None, strength: float = 1.0, dicrotic: float = 0.4) -> Trace:
    """A finger with these beats, and with weaker ones among them."""
    time_s = np.arange(int(LENGTH_S * 30)) / 30.0
    volume = blood_volume(beats_s, Wave(dicrotic=dicrotic, filling=0.0), time_s)
    if weak is not None:
        volume += strength * blood_volume(weak, Wave(dicrotic=dicrotic, filling=0.0), time_s)
    light = np.exp(-volume[:, None] * np.array([0.012, 0.02, 0.014])) * np.array([200.0, 60.0, 45.0])
    return Trace(time_s, light + np.random.default_rng(len(beats_s)).normal(0.0, 0.02, light.shape))


def steps_to_beats(step_s: FloatArray) -> FloatArray:
    beats_s = np.cumsum(step_s) - LEAD_S
    return beats_s[beats_s < LENGTH_S + LEAD_S]


def codes(analysis: Analysis) -> list[str]:
    return [finding.code for finding in analysis.verdict.findings]


def scattered(seed: int, mean_s: float, spread: float) -> FloatArray:
    """Intervals without any order, as in fibrillation."""
    rng = np.random.default_rng(seed)
    return steps_to_beats(np.clip(mean_s * (1.0 + spread * rng.standard_normal(500)), 0.35, 2.0))


@lru_cache(maxsize=8)
def resting(bpm: float, seed: int, spread: float = 0.02, breathing: float = 0.05) -> FloatArray:
    """Beats with a little chance and breathing, which the beats of a test are made from."""
    rng = np.random.default_rng(seed)
    count = int((LENGTH_S + 2 * LEAD_S) * bpm / 60.0) + 20
    swing = breathing * np.sin(2 * np.pi * 0.22 * np.arange(count) * 60.0 / bpm + rng.uniform(0, 6))
    return steps_to_beats(60.0 / bpm * (1.0 + swing + spread * rng.standard_normal(count)))


@pytest.mark.parametrize(
    ("seed", "mean_s", "spread"), [(1, 0.95, 0.16), (2, 0.85, 0.2), (3, 0.75, 0.2), (4, 0.65, 0.24), (5, 1.0, 0.25)]
)
def test_scattered_intervals_are_irregular_and_sent_to_a_doctor(seed, mean_s, spread):
    analysis = analyse(seen(scattered(seed, mean_s, spread)))
    assert analysis.verdict.irregular
    assert not analysis.verdict.usable
    assert codes(analysis)[0] == "irregular"


@pytest.mark.parametrize("bpm", [44.0, 52.0, 60.0, 70.0])
@pytest.mark.parametrize("breaths", [7.0, 12.0, 18.0])
def test_breathing_by_a_fifth_is_not_irregular(bpm, breaths):
    scenario = finger(
        seed=int(bpm + breaths), mean_hr_bpm=bpm, rmssd_ms=30.0, breathing_per_min=breaths, breathing_depth=0.2
    )
    verdict = analyse(scenario.trace()).verdict
    assert not verdict.irregular
    assert verdict.usable, verdict.findings


def breaths_at_a_stroke(seed: int) -> FloatArray:
    """Intervals that each breath out lengthens at once by a quarter to nearly a half, five to nine a breath."""
    rng = np.random.default_rng(seed)
    steps_s: list[float] = []
    usual_s = rng.uniform(0.75, 1.0)
    while sum(steps_s) < LENGTH_S + 2 * LEAD_S:
        fading = np.exp(-np.arange(rng.integers(5, 10)) / 2.5)
        steps_s += list(usual_s * (1.0 + rng.uniform(0.25, 0.45) * fading) * rng.normal(1.0, 0.02, fading.size))
        usual_s = float(np.clip(usual_s * rng.normal(1.0, 0.03), 0.65, 1.1))
    return np.array(steps_s)


def test_breath_that_lengthens_the_interval_at_one_stroke_is_not_irregular():
    for seed in range(6):
        assert not analyse(seen(steps_to_beats(breaths_at_a_stroke(seed)))).verdict.irregular


def test_a_step_of_breathing_is_told_by_what_follows_it():
    """By those before it alone, a tenth of these intervals stands out."""
    shares = []
    for seed in range(20):
        step_ms = 1000.0 * breaths_at_a_stroke(seed)
        _, odd, _ = unpredicted(step_ms, np.ones(step_ms.size, dtype=bool))
        shares.append(odd.mean())
    assert np.mean(shares) <= 0.04


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_single_premature_beats_are_left_out_and_no_more(seed):
    analysis = analyse(finger(seed=seed, mean_hr_bpm=62.0, premature_share=0.025).trace())
    assert not analysis.verdict.irregular
    assert analysis.verdict.usable
    assert not analysis.intervals.kept.all()


@pytest.mark.parametrize("seed", [1, 2])
def test_one_beat_in_six_that_comes_early_at_random_is_irregular(seed):
    beats_s = resting(66.0, seed)
    early = np.random.default_rng(seed).uniform(size=beats_s.size) < 0.17
    moved_s = np.where(early, beats_s - 0.36 * np.diff(beats_s, prepend=beats_s[0] - 0.9), beats_s)
    assert analyse(seen(moved_s[~early], moved_s[early], 0.7)).verdict.irregular


@pytest.mark.parametrize("seed", [1, 2])
def test_every_third_beat_early_is_irregular_or_of_two_rates(seed):
    beats_s = resting(72.0, seed)
    early = np.arange(beats_s.size) % 3 == 2
    moved_s = np.where(early, beats_s - 0.36 * np.diff(beats_s, prepend=beats_s[0] - 0.8), beats_s)
    verdict = analyse(seen(moved_s)).verdict
    assert not verdict.usable
    assert not verdict.pulse_usable
    assert verdict.irregular or verdict.findings[0].code == "half_or_double"


def test_blocks_that_change_by_chance_are_irregular():
    """Two, three or four waves of a fluttering atrium to each beat, 0.21 s apart."""
    rng = np.random.default_rng(6)
    analysis = analyse(seen(steps_to_beats(0.21 * rng.choice([3, 4, 5, 6], 400))))
    assert analysis.verdict.irregular
    assert not analysis.verdict.usable


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_movement_is_no_irregular_heart(seed):
    moves = Faults(movement=(Stretch(20.0, 9.0, 0.1), Stretch(60.0, 5.0, 0.05), Stretch(90.0, 8.0, 0.15)))
    assert not analyse(finger(seed=seed, faults=moves).trace()).verdict.irregular


@pytest.mark.parametrize("seed", [1, 2])
def test_a_faint_stretch_and_a_lifted_finger_are_no_irregular_heart(seed):
    faults = Faults(weak=(Stretch(30.0, 25.0, 0.05),), lifted=(Stretch(80.0, 6.0),))
    assert not analyse(finger(seed=seed, faults=faults).trace()).verdict.irregular


@pytest.mark.parametrize(("strength", "early"), [(0.3, 0.42), (0.5, 0.4), (0.5, 0.34), (0.7, 0.36), (0.7, 0.45)])
def test_two_beats_a_wave_apart_name_both_rates(strength, early):
    """Bigeminy at 81 beats a minute: every second beat early and weak, so that a counter of crests says 40."""
    strong_s = resting(40.5, 3)
    weak_s = strong_s[:-1] + early * np.diff(strong_s)
    analysis = analyse(seen(strong_s, weak_s, strength))
    assert not analysis.verdict.usable
    assert not analysis.verdict.pulse_usable
    (finding,) = (each for each in analysis.verdict.findings if each.code == "half_or_double")
    assert finding.values["half_bpm"] == pytest.approx(40.5, abs=1.5)
    assert finding.values["double_bpm"] == pytest.approx(81.0, abs=3.0)


# At 40.5 a minute one after 0.5 s hides behind the dicrotic wave, as the room's text on second beats says.
@pytest.mark.parametrize(
    ("bpm", "dicrotic", "later_s"),
    [
        *((40.5, 0.2, later_s) for later_s in (0.53, 0.55, 0.6, 0.64, 0.7)),
        *((44.0, 0.6, later_s) for later_s in (0.5, 0.55, 0.6, 0.64, 0.7)),
        *((47.0, 0.2, later_s) for later_s in (0.5, 0.55, 0.6, 0.64, 0.7)),
    ],
)
def test_a_very_weak_premature_beat_after_each_beat_names_both_rates(bpm, dicrotic, later_s):
    beats_s = resting(bpm, int(bpm))
    verdict = analyse(seen(beats_s, beats_s[:-1] + later_s, 0.15, dicrotic)).verdict
    assert not verdict.usable
    assert not verdict.pulse_usable
    assert "half_or_double" in [finding.code for finding in verdict.findings]


@pytest.mark.parametrize(("bpm", "strength"), [(64.0, 0.3), (80.0, 0.4), (96.0, 0.5), (110.0, 0.6)])
def test_every_second_beat_weak_names_both_rates(bpm, strength):
    beats_s = resting(bpm, 4)
    verdict = analyse(seen(beats_s[::2], beats_s[1::2], strength)).verdict
    assert not verdict.usable
    (finding,) = (each for each in verdict.findings if each.code == "half_or_double")
    assert finding.values["half_bpm"] == pytest.approx(bpm / 2, rel=0.03)
    assert finding.values["double_bpm"] == pytest.approx(bpm, rel=0.03)


@pytest.mark.parametrize("bpm", [28.5, 32.0, 40.0])
@pytest.mark.parametrize("dicrotic", [0.3, 0.8, 1.1])
def test_a_slow_heart_with_a_strong_dicrotic_wave_is_one_heart(bpm, dicrotic):
    beats_s = resting(bpm, 5, breathing=0.1)
    analysis = analyse(seen(beats_s, dicrotic=dicrotic))
    assert analysis.verdict.usable, analysis.verdict.findings
    assert analysis.metrics.mean_hr_bpm == pytest.approx(bpm, rel=0.03)


def test_the_dicrotic_wave_is_expected_where_ejection_ends():
    """Weissler et al. 1968: 0.413 s less 1.7 ms for each beat a minute, from foot to closing valve."""
    for bpm in (45.0, 60.0, 90.0):
        assert 0.0 < latest_dicrotic_s(60.0 / bpm) - (0.413 - 0.0017 * bpm) <= 0.12
    assert latest_dicrotic_s(2.1) > latest_dicrotic_s(1.0)


def test_a_wave_of_intervals_can_be_told_and_chance_can_not():
    rng = np.random.default_rng(7)
    every = np.ones(150, dtype=bool)
    breathing_ms = 1000.0 * (1.0 + 0.2 * np.sin(1.9 * np.arange(150)) + 0.02 * rng.standard_normal(150))
    asked, odd, _ = unpredicted(breathing_ms, every)
    assert asked.all()  # the first four by those after them
    assert odd.sum() == 0
    _, odd, _ = unpredicted(1000.0 * (1.0 + 0.2 * rng.standard_normal(150)), every)
    assert 0.2 < odd.mean() < 0.45  # a normal value lies more than one standard deviation off in 32 %


def test_a_premature_beat_and_its_pause_are_known_as_single():
    interval_ms = np.full(120, 900.0) + 10.0 * np.random.default_rng(8).standard_normal(120)
    interval_ms[[40, 80]] -= 300.0
    interval_ms[[41, 81]] += 290.0
    _, odd, single = unpredicted(interval_ms, np.ones(120, dtype=bool))
    assert {40, 80} <= set(np.flatnonzero(odd)) <= {40, 41, 80, 81}
    assert np.array_equal(single, odd)


@pytest.mark.parametrize("count", [0, 1, 5, 20])
def test_too_few_intervals_say_nothing(count):
    asked, odd, single = unpredicted(np.full(count, 1000.0), np.ones(count, dtype=bool))
    assert asked.size == odd.size == single.size == count
    assert not odd.any()


def test_a_regular_heart_of_the_generator_is_never_irregular():
    for seed in range(20, 32):
        rhythm = Rhythm(mean_hr_bpm=45.0 + 3.0 * (seed - 20), rmssd_ms=40.0, seed=seed)
        step_ms = np.diff(beat_times(rhythm, 120.0)) * 1000.0
        _, odd, _ = unpredicted(step_ms, np.ones(step_ms.size, dtype=bool))
        assert odd.mean() <= 0.02


def with_premature(seed: int, share: float, early: float) -> tuple[FloatArray, FloatArray]:
    """Intervals of a resting heart with beats early by this share, each made up for; and which intervals end at one."""
    rng = np.random.default_rng(seed)
    interval_ms = 1000.0 * np.diff(resting(60.0, seed))
    comes_early = rng.uniform(size=interval_ms.size) < share
    comes_early[1:] &= ~comes_early[:-1]
    comes_early[[0, 1, -2, -1]] = False
    moved_ms = np.where(comes_early, early * interval_ms, 0.0)
    return interval_ms - moved_ms + np.roll(moved_ms, 1), comes_early


@pytest.mark.parametrize("early", [0.18, 0.22, 0.3])
@pytest.mark.parametrize("seed", range(3))
def test_many_beats_that_come_a_little_early_are_irregular_and_left_out(seed, early):
    interval_ms, comes_early = with_premature(seed, 0.2, early)
    measured = np.ones(interval_ms.size, dtype=bool)
    assert irregularity_of(interval_ms, measured)[1]
    assert premature_beats(interval_ms, measured)[comes_early].mean() > 0.7


@pytest.mark.parametrize("seed", range(3))
def test_few_beats_that_come_a_little_early_are_only_left_out(seed):
    interval_ms, _ = with_premature(seed, 0.03, 0.2)
    assert not irregularity_of(interval_ms, np.ones(interval_ms.size, dtype=bool))[1]


@pytest.mark.parametrize("turns_a_beat", [0.1, 0.2, 0.3, 0.37, 0.45])
def test_breathing_by_a_fifth_has_no_premature_beats(turns_a_beat):
    rng = np.random.default_rng(9)
    turn = np.arange(130) * turns_a_beat + np.cumsum(0.05 * rng.standard_normal(130))
    interval_ms = 1000.0 * (1.0 + 0.2 * np.sin(2 * np.pi * turn) + 0.02 * rng.standard_normal(130))
    assert premature_beats(interval_ms, np.ones(130, dtype=bool)).sum() <= 1
