"""Load, estimates and correlation against published tables, worked examples and general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from dawnbeat.training.estimates import (
    Race,
    critical_speed,
    marathon_time,
    race_equivalents,
    race_time_s,
    threshold_pace,
    uptake_from_pulses,
    uptake_from_race,
)
from dawnbeat.training.maximum import Formula, maxima_by_age, maximum_by_age
from dawnbeat.training.mornings_after import association
from dawnbeat.training.periods import week_load
from dawnbeat.training.run_figures import Coefficients, figures_of, session_load, trimp_of
from dawnbeat.training.zones import METHODS, Anchors, default_scheme
from tests.training.invented import samples
from tests.training.run_files import fit_crc

# Race times of the table in Daniels, Daniels' Running Formula (from memory), which rests on Daniels & Gilbert
# 1979: uptake in ml/min/kg, then seconds over 5 km, 10 km, half marathon and marathon.
DANIELS_TABLE = {
    30: (30 * 60 + 40, 63 * 60 + 46, 2 * 3600 + 21 * 60 + 4, 4 * 3600 + 49 * 60 + 17),
    40: (24 * 60 + 8, 50 * 60 + 3, 1 * 3600 + 50 * 60 + 59, 3 * 3600 + 49 * 60 + 45),
    50: (19 * 60 + 57, 41 * 60 + 21, 1 * 3600 + 31 * 60 + 35, 3 * 3600 + 10 * 60 + 49),
    60: (17 * 60 + 3, 35 * 60 + 22, 1 * 3600 + 18 * 60 + 9, 2 * 3600 + 43 * 60 + 25),
}
DISTANCES_M = (5_000.0, 10_000.0, 21_097.5, 42_195.0)


@pytest.mark.parametrize("uptake", DANIELS_TABLE)
def test_race_times_agree_with_the_published_table(uptake: int) -> None:
    """Within 0.2 %: the printed rows of 30 and 40 differ from the formula by up to 13 s in two hours."""
    for distance_m, time_s in zip(DISTANCES_M, DANIELS_TABLE[uptake], strict=True):
        assert race_time_s(distance_m, uptake) == pytest.approx(time_s, rel=0.002)
        if time_s <= 4 * 3600:
            assert uptake_from_race(distance_m, time_s).value == pytest.approx(uptake, abs=0.08)


def test_equal_races_lie_in_one_row_of_the_table() -> None:
    found = {each.distance_m: each.duration_s for each in race_equivalents(10_000, 41 * 60 + 21)}
    for distance_m, time_s in zip(DISTANCES_M[:3], DANIELS_TABLE[50][:3], strict=True):
        assert found[distance_m] == pytest.approx(time_s, rel=0.001)
    # A marathon is left to a model that was made for it.
    assert DISTANCES_M[3] not in found


def test_oxygen_uptake_of_a_race_worked_by_hand() -> None:
    """5 km in 20 min: v = 250 m/min; cost = -4.60 + 0.182258 * 250 + 0.000104 * 62500 = 47.4645.

    Held for 20 min: 0.8 + 0.1894393 exp(-0.25556) + 0.2989558 exp(-3.86521) = 0.8 + 0.146722 + 0.006266 = 0.952988.
    47.4645 / 0.952988 = 49.81.
    """
    assert uptake_from_race(5000, 1200).value == pytest.approx(49.81, abs=0.01)


def test_threshold_pace_of_the_table() -> None:
    """The same table gives 4:15 min/km as threshold pace at 50 (from memory); one hour's race comes near it."""
    assert threshold_pace(5000, 19 * 60 + 57).value == pytest.approx(255, abs=4)


def test_oxygen_uptake_from_pulses() -> None:
    """Uth 2004, abstract: factor 15.3, error 2.7 ml/min/kg (4.5 %) with a measured maximum, 4.7 with one by age.

    190 / 50 = 3.8; 3.8 * 15.3 = 58.14; 95 % lie within 1.96 * 2.7 = 5.29. Uth 2005, abstract: 14.5 for women; 55.1.
    In 634 men around 50 the factor was about 12 (Kuopio study, World J Mens Health 2021, abstract): 15.3 / 12 = 1.28.
    """
    found = uptake_from_pulses(50, 190, True, "men")
    assert (found.low, found.value, found.high) == pytest.approx((52.85, 58.14, 63.43), abs=0.01)
    assert uptake_from_pulses(50, 190, False, "men").high == pytest.approx(58.14 + 1.959964 * 4.7)
    assert uptake_from_pulses(50, 190, True, "women").value == pytest.approx(55.1)
    assert "a quarter too high" in found.error


def test_a_marathon_from_one_race_and_from_two_worked_by_hand() -> None:
    """Vickers & Vertosick 2016, additional file, with 30 miles a week.

    10 km in 45:00: Riegel's exponent 1.07 gives 2700 * 4.2195^1.07 = 2700 * 4.66691 = 12 600.7 s, 3.34862 m/s; the
    model 0.16018617 + 0.83076202 * 3.34862 + 0.06423826 * 3 = 3.13481 m/s, so 13 460 s.
    5 km in 21:40 and a half marathon in 1:40:00: k = ln(6000 / 1300) / ln(4.2195) = 1.062289; exponent 1.4510756 -
    0.23797948 * 1.062289 - 0.01410023 * 3 = 1.155972; 6000 * 2^1.155972 = 13 370 s.
    The errors are the roots of 228 and 208 min^2, the abstract's mean squared errors.
    """
    one = marathon_time([Race(10_000, 2700)], 30 * 1.609344)
    assert (one.duration_s, one.error_s / 60, one.races) == (
        pytest.approx(13_460, abs=2),
        pytest.approx(15.1, abs=0.01),
        1,
    )
    two = marathon_time([Race(5_000, 1300), Race(21_097.5, 6000)], 30 * 1.609344)
    assert (two.duration_s, two.error_s / 60, two.races) == (
        pytest.approx(13_370, abs=2),
        pytest.approx(14.42, abs=0.01),
        2,
    )
    # The formula of Daniels and Gilbert promises more than ten minutes less.
    assert race_time_s(42_195, uptake_from_race(10_000, 2700).value) < one.duration_s - 600


def test_critical_speed_is_the_slope_of_distance_against_time() -> None:
    """1200 m in 245 s and 3600 m in 845 s: 2400 m in 600 s, so 4.0 m/s and 1200 - 4 * 245 = 220 m above it."""
    found = critical_speed([Race(1200, 245), Race(3600, 845)])
    assert (found.speed_m_per_s, found.reserve_m) == pytest.approx((4.0, 220.0))
    rng = np.random.default_rng(4)
    times = np.array([200.0, 480.0, 900.0])
    ways = 4.2 * times + 180 + rng.normal(0, 10, 3)
    line = stats.linregress(times, ways)
    found = critical_speed([Race(way, time) for way, time in zip(ways.tolist(), times.tolist(), strict=True)])
    assert (found.speed_m_per_s, found.reserve_m) == pytest.approx((line.slope, line.intercept))


def impulse(duration_s: int, pulse_bpm: float, coefficients: Coefficients) -> float | None:
    """Of a run at one pulse, of a runner with a resting pulse of 40 and a maximum of 200 bpm."""
    figures = figures_of(samples(np.full(duration_s + 1, pulse_bpm)), ())
    return trimp_of(figures, Anchors(40, 200), coefficients)


def test_the_impulse_of_two_halves_is_summed_by_segment() -> None:
    """Banister 1991 with 40 and 200: 30 min at 120 (x = 0.5) and 30 at 170 (x = 0.8125), men's coefficients.

    30 * 0.5 * 0.64 * exp(0.96) = 25.072; 30 * 0.8125 * 0.64 * exp(1.56) = 74.238; together 99.310. At the mean pulse of
    145 it would be 60 * 0.65625 * 0.64 * exp(1.26) = 88.841.
    """
    pulse = np.concatenate((np.full(1800, 120.0), np.full(1801, 170.0)))
    found = trimp_of(figures_of(samples(pulse), ()), Anchors(40, 200), "men")
    assert found == pytest.approx(99.310, abs=0.01)
    assert impulse(3600, 145, "men") == pytest.approx(88.841, abs=0.001)


def test_boundaries_by_maximum_are_of_the_same_effort_as_those_by_reserve() -> None:
    """Swain & Leutholtz 1997, abstract: % reserve = 1.12 * % uptake - 11.6; Swain et al. 1994: % maximum = 0.64 * %
    uptake
    + 37 (from memory). 60 % of reserve: (60 + 11.6) / 1.12 = 63.93; 0.64 * 63.93 + 37 = 77.9.

    American College of Sports Medicine (table in Garber et al. 2011): 60 to 89 % of reserve beside 77 to 95 % of
    maximum.
    """
    reserve, maximum = (default_scheme(method).boundaries_pct for method in METHODS[:2])
    for of_reserve, of_maximum in zip(reserve, maximum, strict=True):
        assert of_maximum == round(0.64 * (of_reserve + 11.6) / 1.12 + 37)
    assert maximum[0] == pytest.approx(77, abs=1)
    assert maximum[-1] == pytest.approx(95, abs=1)


@pytest.mark.parametrize(("formula", "at_40"), [("tanaka", 180.0), ("nes", 185.4), ("gellish", 179.0), ("fox", 180.0)])
def test_maxima_by_age_side_by_side(formula: Formula, at_40: float) -> None:
    """208 - 0.7 * 40, 211 - 0.64 * 40, 207 - 0.7 * 40 (Gellish et al. 2007, abstract) and 220 - 40."""
    assert maximum_by_age(40, formula).bpm == pytest.approx(at_40)
    assert [each.bpm for each in maxima_by_age(40)] == pytest.approx([180.0, 185.4, 179.0, 180.0])
    assert all(9 <= each.error_bpm <= 12 for each in maxima_by_age(40))


def test_training_impulse_worked_by_hand_for_both_sexes() -> None:
    """Banister 1991: 30 min at 130 with 40 and 200: x = 90 / 160 = 0.5625.

    Men: 30 * 0.5625 * 0.64 * exp(1.08) = 16.875 * 0.64 * 2.944680 = 31.803.
    Women: 16.875 * 0.86 * exp(0.939375) = 16.875 * 0.86 * 2.558382 = 37.129.
    """
    assert impulse(1800, 130, "men") == pytest.approx(31.803, abs=0.001)
    assert impulse(1800, 130, "women") == pytest.approx(37.129, abs=0.001)
    assert impulse(3600, 130, "men") == pytest.approx(2 * 31.803, abs=0.001)
    assert impulse(1800, 39, "men") == 0


def test_session_rating_monotony_and_strain_worked_by_hand() -> None:
    """Foster 1998: rating 5 for 80 min is 400. A week of 400, 0, 300, 0, 500, 0, 200:

    mean = 1400 / 7 = 200; squares of the differences 40000 + 40000 + 10000 + 40000 + 90000 + 40000 + 0 = 260000;
    SD = sqrt(260000 / 6) = 208.167; monotony = 200 / 208.167 = 0.96077; strain = 1400 * 0.96077 = 1345.1.
    """
    assert session_load(5, 80 * 60) == 400
    week = week_load([400, 0, 300, 0, 500, 0, 200])
    assert week.load == 1400
    assert week.monotony == pytest.approx(0.96077, abs=1e-5)
    assert week.strain == pytest.approx(1345.1, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_the_rank_correlation_is_that_of_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    # Whole numbers, so that ties are common.
    x = rng.integers(0, 8, 40)
    y = x + rng.integers(-6, 7, 40)
    found = association("", zip(x.tolist(), y.tolist(), strict=True))
    assert found is not None
    assert found.rho == pytest.approx(stats.spearmanr(x, y).statistic, abs=1e-12)


def test_the_interval_holds_the_true_correlation_about_as_often_as_it_says() -> None:
    """Bonett & Wright 2000: 95 %. Normal pairs of correlation r have a rank correlation 6 / pi * asin(r / 2)."""
    rng = np.random.default_rng(3)
    truth = 6 / np.pi * np.arcsin(0.5 / 2)
    held = 0
    for _ in range(400):
        pairs = rng.multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]], 40)
        found = association("", pairs.tolist())
        assert found is not None
        held += found.low <= truth <= found.high
    assert 0.92 <= held / 400 <= 0.98


def test_the_checksum_of_the_fit_files_written_in_tests_is_the_protocols() -> None:
    """CRC-16/ARC of the catalogue of parametrised CRC algorithms (from memory): 0xBB3D for "123456789"."""
    assert fit_crc(b"123456789") == 0xBB3D
