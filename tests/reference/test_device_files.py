"""Runs that devices really wrote: the test data of open-source readers of these formats, never kept here.

Unpack what you have into one folder and name it in DAWNBEAT_DEVICE_FILES; what is not there is skipped:
- sweat 0.25.0 (PyPI, MIT license; `pip download --no-deps sweat==0.25.0`, then `unzip`): examples/data, one workout in
  three formats, another in three, a short one in three, a walk in TCX and two recordings without distance;
- gpxpy 1.6.2 (PyPI, Apache License 2.0; `pip download --no-deps --no-binary :all: gpxpy==1.6.2`): test_files, tracks
  of loggers without pulse, some of them without times, dated 1901 or out of order.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.import_runs import prepare
from dawnbeat.training.run import PreparedRun, samples_of

FOLDER = os.environ.get("DAWNBEAT_DEVICE_FILES", "")


def file(name: str) -> Path:
    """The file of this name below the folder; skips the test where it isn't there."""
    found = sorted(Path(FOLDER).rglob(name)) if FOLDER else []
    if not found:
        pytest.skip(f"{name} is not in DAWNBEAT_DEVICE_FILES")
    return found[0]


def only(name: str) -> PreparedRun:
    (found,) = prepare(file(name))
    return found


@pytest.mark.parametrize(
    ("names", "duration_s", "way_m"),
    [
        (("4078723797.fit", "activity_4078723797.tcx", "activity_4078723797.gpx"), 8356, 57_570),
        (("4801048867.fit", "activity_4801048867.tcx", "activity_4801048867.gpx"), 5158, 36_320),
    ],
)
def test_one_workout_in_three_formats_gives_the_same_figures(
    names: tuple[str, ...], duration_s: float, way_m: float
) -> None:
    runs = [only(name) for name in names]
    for run in runs:
        assert run.figures.duration_s == pytest.approx(duration_s, abs=1)
        assert run.figures.distance_m == pytest.approx(way_m, rel=0.002)
        assert run.figures.mean_bpm == pytest.approx(runs[0].figures.mean_bpm, abs=0.2)
        assert run.figures.peak_bpm == runs[0].figures.peak_bpm
        assert run.began == runs[0].began
    # All three are of one ride, and none of them counts as a run.
    assert not any(run.counts for run in runs)


def test_a_stop_of_the_timer_is_a_pause_in_every_format() -> None:
    fit, tcx = only("2020-06-01-16-52-40.fit"), only("activity_5039744860.tcx")
    assert fit.figures.elapsed_s == tcx.figures.elapsed_s == 126
    assert fit.figures.duration_s == tcx.figures.duration_s == 94
    assert fit.figures.mean_bpm == pytest.approx(tcx.figures.mean_bpm, abs=0.5)


def test_a_run_with_pauses_is_read_whole() -> None:
    run = only("3173437224.tcx")
    assert (run.figures.elapsed_s, run.figures.duration_s) == pytest.approx((3904, 3505), abs=1)
    assert run.figures.distance_m == pytest.approx(4508, abs=2)
    assert run.figures.mean_bpm == pytest.approx(131, abs=1)
    assert len(samples_of(run.blob)) > 1000


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_a_device_file_cut_short_gives_what_is_whole(share: float, tmp_path: Path) -> None:
    whole = only("4801048867.fit")
    data = file("4801048867.fit").read_bytes()
    (tmp_path / "cut.fit").write_bytes(data[: int(share * len(data))])
    (cut,) = prepare(tmp_path / "cut.fit")
    assert [note.code for note in cut.notes] == ["cut short"]
    kept, all_of_it = samples_of(cut.blob), samples_of(whole.blob)
    assert share - 0.1 < len(kept) / len(all_of_it) < share + 0.1
    np.testing.assert_array_equal(kept.pulse_bpm, all_of_it.pulse_bpm[: len(kept)])


@pytest.mark.parametrize(
    ("name", "began", "way_m"),
    [
        ("cerknicko-jezero.gpx", "2010-08-05T14:23:59+00:00", 4575),
        ("korita-zbevnica.gpx", "2010-10-03T09:36:30+00:00", 6262),
    ],
)
def test_a_logger_without_pulse_or_sport_gives_its_way_and_is_asked_about(name: str, began: str, way_m: float) -> None:
    run = only(name)
    assert (run.sport, run.counts, run.began.isoformat()) == ("not said", False, began)
    assert run.figures.distance_m == pytest.approx(way_m, rel=0.005)
    assert "no pulse" in [note.code for note in run.notes]


@pytest.mark.parametrize(("name", "said"), [("Mojstrovka.gpx", "dated 1901"), ("route.gpx", "no samples with a time")])
def test_a_file_without_a_usable_time_is_refused_in_one_line(name: str, said: str) -> None:
    with pytest.raises(DawnbeatError, match=said) as caught:
        prepare(file(name))
    assert "\n" not in str(caught.value)


def test_every_file_there_is_gives_runs_or_one_line() -> None:
    kinds = ("fit", "tcx", "gpx") if FOLDER else ()
    files = [each for kind in kinds for each in sorted(Path(FOLDER).rglob(f"*.{kind}"))]
    if not files:
        pytest.skip("no file is in DAWNBEAT_DEVICE_FILES")
    said: list[str] = []
    runs: list[PreparedRun] = []
    for each in files:
        try:
            runs += prepare(each)
        except DawnbeatError as error:
            said.append(str(error))
    assert not any("\n" in line for line in said)
    assert all(run.figures.duration_s > 0 for run in runs)
    assert len(runs) >= len(files) / 4
