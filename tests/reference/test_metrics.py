"""Metrics against worked examples, computed by hand from the published definitions.

Source of the definitions: Task Force of the European Society of Cardiology and the North American Society of Pacing
and Electrophysiology (1996), Heart rate variability: standards of measurement, physiological interpretation and
clinical use, Circulation 93:1043-1065, table 1. SD1 and SD2: Brennan, Palaniswami and Kamen (2001), IEEE Trans Biomed
Eng 48:1342-1347. The definitions are given here from memory; the arithmetic is shown.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.reading import Intervals, Metrics, Reason
from dawnbeat.signal.figures import metrics_of


def metrics(interval_ms: list[float], left_out: dict[int, Reason] | None = None) -> Metrics:
    length_ms = np.array(interval_ms, dtype=float)
    start_s = np.concatenate([[0.0], np.cumsum(length_ms)])[:-1] / 1000.0
    reasons = left_out or {}
    return metrics_of(Intervals(start_s, length_ms, tuple(reasons.get(k) for k in range(length_ms.size))))


def test_five_intervals_by_hand():
    """NN: 800, 860, 790, 850, 900 ms.

    Mean NN: 4200 / 5 = 840. Mean heart rate: 60000 / 840 = 71.42857.
    SDNN, standard deviation of all NN, over n - 1: deviations -40, 20, -50, 10, 60;
        squares 1600 + 400 + 2500 + 100 + 3600 = 8200; 8200 / 4 = 2050; root 45.27693.
    Successive differences: 60, -70, 60, 50.
    RMSSD, root of the mean of their squares: 3600 + 4900 + 3600 + 2500 = 14600; / 4 = 3650; root 60.41523.
    SDSD, standard deviation of the differences: mean 100 / 4 = 25; deviations 35, -95, 35, 25;
        squares 1225 + 9025 + 1225 + 625 = 12100; / 3 = 4033.333; root 63.50853.
    NN50, pairs that differ by more than 50 ms: 60, 70, 60 are more, 50 is not: 3.
    pNN50, NN50 over the total number of all NN intervals: 3 / 5 = 60 %.
    SD1: SDSD / root 2 = 63.50853 / 1.414214 = 44.90731.
    SD2: root of (2 x 2050 - 4033.333 / 2) = root of 2083.333 = 45.64355.
    Coefficient of variation: 45.27693 / 840 = 5.390111 %.
    """
    found = metrics([800, 860, 790, 850, 900])
    assert found.mean_nn_ms == pytest.approx(840.0)
    assert found.mean_hr_bpm == pytest.approx(71.42857, abs=1e-5)
    assert found.sdnn_ms == pytest.approx(45.27693, abs=1e-5)
    assert found.rmssd_ms == pytest.approx(60.41523, abs=1e-5)
    assert found.ln_rmssd == pytest.approx(math.log(60.41523), abs=1e-6)
    assert found.sdsd_ms == pytest.approx(63.50853, abs=1e-5)
    assert found.nn50 == 3
    assert found.pnn50_pct == pytest.approx(60.0)
    assert found.sd1_ms == pytest.approx(44.90731, abs=1e-5)
    assert found.sd2_ms == pytest.approx(45.64355, abs=1e-5)
    assert found.cv_nn_pct == pytest.approx(5.390111, abs=1e-5)
    assert (found.min_nn_ms, found.max_nn_ms) == (790.0, 900.0)
    assert found.kept_beats == 6
    assert found.kept_share == 1.0


def test_no_difference_is_taken_across_what_is_left_out():
    """Intervals: 1000, 1020, [400, 1600 left out], 980, 1040 ms.

    NN: 1000, 1020, 980, 1040; mean 4040 / 4 = 1010, heart rate 59.40594.
    Differences: 1020 - 1000 = 20 and 1040 - 980 = 60, and none from 1020 to 980.
    RMSSD: (400 + 3600) / 2 = 2000; root 44.72136. With the difference of -40 across it would have been 43.205.
    SDSD: mean 40, deviations -20, 20; 800 / 1 = 800; root 28.28427.
    SDNN: deviations -10, 10, -30, 30; 100 + 100 + 900 + 900 = 2000; / 3; root 25.81989.
    NN50: 1 (the 60). pNN50: 1 / 4 = 25 %.
    Beats that bound a kept interval: three before and three after: 6. Kept share: 4 / 6.
    """
    found = metrics([1000, 1020, 400, 1600, 980, 1040], {2: "irregular beat", 3: "irregular beat"})
    assert found.mean_nn_ms == pytest.approx(1010.0)
    assert found.mean_hr_bpm == pytest.approx(59.40594, abs=1e-5)
    assert found.rmssd_ms == pytest.approx(44.72136, abs=1e-5)
    assert found.sdsd_ms == pytest.approx(28.28427, abs=1e-5)
    assert found.sdnn_ms == pytest.approx(25.81989, abs=1e-5)
    assert found.nn50 == 1
    assert found.pnn50_pct == pytest.approx(25.0)
    assert (found.min_nn_ms, found.max_nn_ms) == (980.0, 1040.0)
    assert found.kept_beats == 6
    assert found.kept_share == pytest.approx(4 / 6)


def test_a_heart_that_only_alternates():
    """900, 1000, 900, 1000, ...: every difference is 100 ms, so RMSSD is 100; with 20 intervals NN50 is 19.

    SDNN: all deviations are 50; 20 x 2500 / 19 = 2631.579; root 51.29892. pNN50: 19 / 20 = 95 %.
    """
    found = metrics([900, 1000] * 10)
    assert found.rmssd_ms == pytest.approx(100.0)
    assert found.sdnn_ms == pytest.approx(51.29892, abs=1e-5)
    assert found.nn50 == 19
    assert found.pnn50_pct == pytest.approx(95.0)


def test_a_steady_drift():
    """800, 810, ..., 890: every difference is 10, so RMSSD is 10, SDSD and SD1 are 0, NN50 is 0.

    SDNN: an even row of ten in steps of ten has variance 100 x (100 - 1) / 12 x 10 / 9 = 916.667; root 30.27650.
    SD2: root of (2 x 916.667 - 0) = 42.81744.
    """
    found = metrics([800.0 + 10.0 * k for k in range(10)])
    assert found.rmssd_ms == pytest.approx(10.0)
    assert found.sdsd_ms == pytest.approx(0.0, abs=1e-9)
    assert found.sd1_ms == pytest.approx(0.0, abs=1e-9)
    assert found.sdnn_ms == pytest.approx(30.27650, abs=1e-5)
    assert found.sd2_ms == pytest.approx(42.81744, abs=1e-5)
    assert (found.nn50, found.pnn50_pct) == (0, 0.0)


@pytest.mark.parametrize(("step", "counts"), [(50.0, 0), (50.5, 1), (49.5, 0)])
def test_nn50_counts_differences_of_more_than_fifty(step, counts):
    assert metrics([1000.0, 1000.0 + step]).nn50 == counts


def test_what_cannot_be_computed_is_none():
    assert metrics([]) == Metrics()
    only_left_out = metrics([1000, 1000], {0: "gap", 1: "gap"})
    assert only_left_out == Metrics(kept_share=0.0)
    one = metrics([1000])
    assert (one.mean_nn_ms, one.kept_beats) == (1000.0, 2)
    assert one.sdnn_ms is one.rmssd_ms is one.ln_rmssd is one.sdsd_ms is one.nn50 is one.sd1_ms is None
    apart = metrics([1000, 700, 1000], {1: "movement"})
    assert apart.sdnn_ms == 0.0
    assert apart.rmssd_ms is apart.pnn50_pct is None


def test_a_heart_like_a_clock_has_no_logarithm_of_its_rmssd():
    found = metrics([1000] * 20)
    assert found.rmssd_ms == 0.0
    assert found.ln_rmssd is None


@given(
    nn_ms=st.lists(st.floats(250.0, 2500.0), min_size=0, max_size=80),
    holes=st.sets(st.integers(0, 79)),
)
def test_the_identities_of_the_definitions_hold(nn_ms, holes):
    found = metrics(nn_ms, dict.fromkeys(holes, "movement"))
    kept = [value for k, value in enumerate(nn_ms) if k not in holes]
    assert found.mean_nn_ms == (pytest.approx(np.mean(kept)) if kept else None)
    if found.mean_nn_ms is not None:
        assert found.mean_hr_bpm * found.mean_nn_ms == pytest.approx(60000.0)
        assert found.min_nn_ms <= found.mean_nn_ms + 1e-9
        assert found.mean_nn_ms <= found.max_nn_ms + 1e-9
    pairs = [(a, b) for k, (a, b) in enumerate(pairwise(nn_ms)) if not {k, k + 1} & holes]
    if pairs:
        squares = [(b - a) ** 2 for a, b in pairs]
        assert found.rmssd_ms == pytest.approx(math.sqrt(sum(squares) / len(squares)))
        assert found.nn50 == sum(abs(b - a) > 50.0 for a, b in pairs)
    else:
        assert found.rmssd_ms is None
    if found.sd1_ms is not None and found.sdnn_ms is not None and 2 * found.sdnn_ms**2 > found.sd1_ms**2:
        # Brennan et al. 2001: SD1^2 + SD2^2 = 2 SDNN^2.
        assert found.sd1_ms**2 + found.sd2_ms**2 == pytest.approx(2.0 * found.sdnn_ms**2, abs=1e-6)
