"""Metrics against the report that the pyhrv package (BSD licence) carries of its own long series of 4,684 intervals.

Files: pyhrv/files/SampleNNISeriesLong.npy and SampleReport.txt. They are read as they lie; the package is not
imported.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.shared.reading import Intervals, Metrics
from dawnbeat.signal.figures import metrics_of


@pytest.fixture(scope="module")
def files() -> Path:
    spec = importlib.util.find_spec("pyhrv")
    if spec is None or spec.origin is None:
        pytest.skip("pyhrv is not installed")
    return Path(spec.origin).parent / "files"


@pytest.fixture(scope="module")
def nn_ms(files):
    return np.load(files / "SampleNNISeriesLong.npy", allow_pickle=False).astype(float)


@pytest.fixture(scope="module")
def report(files) -> dict[str, float]:
    """The single numbers of the report by their names."""
    numbers = {}
    for line in (files / "SampleReport.txt").read_text(encoding="utf-8").splitlines():
        name, _, value = line.partition(";")
        try:
            numbers.setdefault(name.strip(), float(value))
        except ValueError:
            continue
    return numbers


@pytest.fixture(scope="module")
def found(nn_ms) -> Metrics:
    start_s = np.concatenate([[0.0], np.cumsum(nn_ms)[:-1]]) / 1000.0
    return metrics_of(Intervals(start_s, nn_ms, (None,) * nn_ms.size))


def test_the_series_and_its_report_are_those_that_are_meant(nn_ms, report):
    assert nn_ms.size == report["Number of NNIs (-)"] == 4684
    assert (report["RMSSD (ms)"], report["SDNN (ms)"], report["NN50 (-)"]) == (60.523, 85.357, 1338)


@pytest.mark.parametrize(
    ("field", "name"),
    [
        ("mean_nn_ms", "Mean NNI (ms)"),
        ("min_nn_ms", "Minimum NNI (ms)"),
        ("max_nn_ms", "Maximum NNI (ms)"),
        ("sdnn_ms", "SDNN (ms)"),
        ("rmssd_ms", "RMSSD (ms)"),
        ("nn50", "NN50 (-)"),
    ],
)
def test_a_figure_is_that_of_the_report(found, report, field, name):
    # The report rounds to three decimals.
    assert getattr(found, field) == pytest.approx(report[name], abs=0.0006)


def test_pnn50_divides_by_the_intervals_where_the_report_divides_by_the_differences(found, report):
    # The Task Force (1996, table 1) divides by the total number of NN intervals.
    assert found.pnn50_pct == pytest.approx(100.0 * 1338 / 4684)
    assert report["pNN50 (%)"] == pytest.approx(100.0 * 1338 / 4683, abs=0.0006)


def test_the_mean_heart_rate_is_that_of_the_mean_interval_where_the_report_averages_rates(found, report, nn_ms):
    assert found.mean_hr_bpm == pytest.approx(60000.0 / report["Mean NNI (ms)"], abs=1e-3)
    assert report["Mean Heart Rate (bpm)"] == pytest.approx(np.mean(60000.0 / nn_ms), abs=0.0006)


def test_sdsd_is_of_signed_differences_where_the_report_takes_absolute_ones(found, report, nn_ms):
    # The Task Force (1996, table 1): standard deviation of differences between adjacent NN intervals.
    assert found.sdsd_ms == pytest.approx(np.std(np.diff(nn_ms), ddof=1))
    assert report["SDSD (ms)"] == pytest.approx(np.std(np.abs(np.diff(nn_ms)), ddof=1), abs=0.0006)


def test_sd1_and_sd2_agree_with_the_report(found, report):
    # The report takes SD1 and SD2 with other degrees of freedom, which is 0.02 % with so many intervals.
    assert found.sd1_ms == pytest.approx(report["SD1 (ms)"], rel=4e-4)
    assert found.sd2_ms == pytest.approx(report["SD2 (ms)"], rel=4e-4)
