"""The shipped recordings are the ones that the generator makes, and say what they are."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import read_recording
from dawnbeat.capture.video import VideoFileSource
from dawnbeat.recordings.invented.samples import (
    REHEARSAL,
    REHEARSAL_BEATS,
    REHEARSAL_VIDEO,
    SAMPLES,
    write_rehearsal_video,
    write_samples,
)

RECORDINGS = Path(__file__).parents[2] / "recordings"
# The last digit that trace.csv keeps, since another system may round the last bit of a number differently.
ONE_DIGIT = 1.1e-5


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_a_sample_is_what_its_seed_makes(sample):
    shipped = read_recording(RECORDINGS / sample.name)
    made = sample.scenario.trace()
    np.testing.assert_allclose(shipped.trace.time_s, made.time_s, atol=1.1e-6, rtol=0)
    np.testing.assert_allclose(shipped.trace.colour, made.colour, atol=ONE_DIGIT, rtol=0)
    np.testing.assert_allclose(shipped.beats_s, sample.scenario.beats_s, atol=1.1e-6, rtol=0)


def test_making_a_sample_twice_gives_the_same_bytes(tmp_path):
    calm = SAMPLES[0].scenario
    first, again = calm.trace(), calm.trace()
    assert first.colour.tobytes() == again.colour.tobytes()
    assert first.time_s.tobytes() == again.time_s.tobytes()
    write_samples(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.csv")}
    write_samples(tmp_path)
    assert len(before) == 2 * len(SAMPLES)
    assert before == {path: path.read_bytes() for path in tmp_path.rglob("*.csv")}


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_a_sample_says_that_it_is_invented_and_what_it_must_get(sample):
    about = json.loads((RECORDINGS / sample.name / "about.json").read_text(encoding="utf-8"))
    assert about["format_version"] == 1
    assert about["invented"] is True
    assert about["seed"] == sample.scenario.seed
    assert about["verdict"] == ("usable" if sample.usable else "not usable")
    assert about["notes"].startswith("invented")
    assert 120 <= about["duration_s"] <= 150


def test_the_samples_are_the_eight_of_the_readme_with_their_seeds():
    rows = re.findall(
        r"^\| `([a-z-]+)` \| (\d+) \| (\d+) s \|.*\| (usable|not usable) \|$",
        (RECORDINGS / "README.md").read_text(encoding="utf-8"),
        flags=re.MULTILINE,
    )
    assert len(rows) == 8
    assert rows == [
        (
            sample.name,
            str(sample.scenario.seed),
            f"{sample.scenario.duration_s:.0f}",
            "usable" if sample.usable else "not usable",
        )
        for sample in SAMPLES
    ]


def test_the_samples_show_what_they_are_named_for():
    by_name = {sample.name: sample.scenario for sample in SAMPLES}
    rmssd_ms = {name: 1000 * np.sqrt(np.mean(np.diff(one.beats_s, 2) ** 2)) for name, one in by_name.items()}
    assert rmssd_ms["tired-morning"] < 0.5 * rmssd_ms["calm-morning"]
    assert 60 / np.diff(by_name["slow-heart"].beats_s).mean() < 45
    assert 2 <= by_name["premature-beats"].premature.sum() <= 8
    lifted_s = sum(stretch.duration_s for stretch in by_name["finger-lifted"].faults.lifted)
    assert by_name["finger-lifted"].duration_s - lifted_s < 90
    steps_s = np.diff(by_name["changing-rate"].trace().time_s)
    assert np.sum(steps_s > 0.06) > 600
    assert np.sum(steps_s < 0.04) > 2000


def test_the_shipped_video_is_small_and_keeps_the_mean_colour():
    path = RECORDINGS / REHEARSAL_VIDEO
    assert path.stat().st_size < 2_000_000
    source = VideoFileSource(path)
    shown = np.array([frame.image.mean(axis=(0, 1))[::-1] for frame in source.frames()])
    source.close()
    drawn = REHEARSAL.trace().colour
    assert shown.shape == drawn.shape
    error = shown - drawn
    assert error.std(axis=0).max() < 0.08
    assert error[:, 1].std() < 0.05
    beats_s = np.loadtxt(RECORDINGS / REHEARSAL_BEATS, skiprows=1)
    np.testing.assert_allclose(beats_s, REHEARSAL.beats_s, atol=1.1e-6)


def test_the_video_can_be_made_again(tmp_path):
    write_rehearsal_video(tmp_path)
    made = VideoFileSource(tmp_path / REHEARSAL_VIDEO)
    shipped = VideoFileSource(RECORDINGS / REHEARSAL_VIDEO)
    for _, one, other in zip(range(100), made.frames(), shipped.frames(), strict=False):
        # Versions of the JPEG library may round differently, by little.
        assert np.abs(one.image.astype(int) - other.image.astype(int)).mean() < 1.0
    made.close()
    shipped.close()
