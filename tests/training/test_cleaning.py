from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.training.cleaning import codes_of, marks_of
from dawnbeat.training.run import Mark, MarkKind, Samples
from dawnbeat.training.run_figures import figures_of
from tests.training.invented import samples, swaying


def kinds(marks: tuple[Mark, ...]) -> list[MarkKind]:
    return [mark.kind for mark in marks]


def test_a_clean_run_is_left_alone() -> None:
    assert marks_of(samples(swaying(3600), steps_per_min=172)) == ()


def test_hard_repetitions_of_a_real_heart_are_left_alone() -> None:
    # Rising 1.5 beats a second and falling 0.8, faster than most hearts do.
    at = np.arange(3600)
    pulse = np.interp(at % 240, [0, 35, 120, 190, 240], [125, 177, 182, 126, 125])
    assert marks_of(samples(pulse, steps_per_min=178)) == ()


def test_a_spike_of_seconds_is_marked_and_its_neighbours_are_not() -> None:
    pulse = swaying(600)
    pulse[300:304] = 205
    (mark,) = marks_of(samples(pulse))
    assert mark == Mark("spike", 300.0, 304.0)


def test_a_plateau_between_two_jumps_is_marked() -> None:
    pulse = swaying(900)
    pulse[300:340] = 200 + np.arange(40) % 3
    marks = marks_of(samples(pulse))
    covered = sum(mark.end_s - mark.start_s for mark in marks)
    assert set(kinds(marks)) == {"spike"}
    assert 36 <= covered <= 44


def test_a_pulse_that_no_heart_has_is_a_drop_out() -> None:
    pulse = swaying(600)
    pulse[100:110] = 300
    pulse[200:230] = 0
    pulse[400:405] = np.nan
    marks = marks_of(samples(pulse))
    assert [(mark.kind, mark.start_s, mark.end_s) for mark in marks] == [
        ("drop-out", 100.0, 110.0),
        ("drop-out", 200.0, 230.0),
        ("drop-out", 400.0, 405.0),
    ]


def cut(full: Samples, first: int, last: int) -> Samples:
    keep = np.r_[0:first, last : len(full)]
    return Samples(
        full.time_s[keep],
        full.pulse_bpm[keep],
        full.distance_m[keep],
        full.steps_per_min[keep],
        full.stopped[keep],
    )


def test_a_hole_with_way_covered_is_a_gap_and_one_without_a_pause() -> None:
    moving = cut(samples(swaying(600)), 200, 260)
    assert [(m.kind, m.start_s, m.end_s) for m in marks_of(moving)] == [("gap", 199.0, 260.0)]
    standing = cut(samples(swaying(600), speed_m_per_s=0.01), 200, 260)
    assert kinds(marks_of(standing)) == ["pause"]


def test_samples_a_few_seconds_apart_hold_until_the_next() -> None:
    sparse = samples(swaying(400), step_s=7.0)
    assert marks_of(sparse) == ()
    assert figures_of(sparse, ()).measured_s == 399 * 7


def locked(seconds: int, from_s: int, to_s: int) -> Samples:
    rng = np.random.default_rng(1)
    steps = 171 + 2 * np.sin(np.arange(seconds) / 60) + rng.normal(0, 0.7, seconds)
    pulse = swaying(seconds)
    pulse[from_s:to_s] = steps[from_s:to_s] + rng.normal(0, 0.5, to_s - from_s)
    return samples(pulse, steps_per_min=steps)


def test_cadence_lock_of_minutes_is_marked() -> None:
    (mark,) = (mark for mark in marks_of(locked(1800, 600, 900)) if mark.kind == "cadence lock")
    assert mark.start_s == pytest.approx(600, abs=6)
    assert mark.end_s == pytest.approx(900, abs=6)


def test_cadence_lock_from_start_to_end_is_marked() -> None:
    assert "cadence lock" in kinds(marks_of(locked(1200, 0, 1200)))


def test_a_pulse_that_slowly_crosses_the_step_rate_is_not_locked() -> None:
    rng = np.random.default_rng(2)
    pulse = np.linspace(150, 184, 3600) + rng.normal(0, 0.6, 3600)
    steps = 168 + rng.normal(0, 1.2, 3600)
    assert marks_of(samples(pulse, steps_per_min=steps)) == ()


def test_an_overruled_mark_counts_again() -> None:
    pulse = swaying(600)
    pulse[300:304] = 205
    run = samples(pulse)
    (mark,) = marks_of(run)
    assert figures_of(run, (mark,)).measured_s == 595
    assert figures_of(run, (mark,)).missing_s == {"spike": 4.0}
    believed = Mark(mark.kind, mark.start_s, mark.end_s, overruled=True)
    assert figures_of(run, (believed,)).measured_s == 599


def test_a_drop_out_stays_out_even_when_nothing_is_marked() -> None:
    pulse = swaying(60)
    pulse[10:20] = 300
    assert np.count_nonzero(codes_of(samples(pulse), ())) == 10


def test_samples_twelve_seconds_apart_still_carry_their_pulse() -> None:
    run = samples(swaying(3600)[::12], step_s=12.0)
    assert marks_of(run) == ()
    assert codes_of(run, ()).max() == 0
