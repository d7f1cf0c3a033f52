from __future__ import annotations

import dataclasses
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.recording import Recording, read_recording
from dawnbeat.morning.bench import (
    MISSING,
    MOST_LAG_S,
    BenchRun,
    edges_between,
    run_bench,
    second_opinion,
    spectrum_between,
)
from dawnbeat.morning.bench_text import beat_words, left_out_words, run_words, share_words
from dawnbeat.morning.sources import read_with_reference, recordings_in
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.compare import Series, compare
from dawnbeat.ui.window.bench.scoring import differences, effect_on, effect_row
from dawnbeat.ui.window.bench.settings import plain_name

SAMPLES = Path(__file__).parents[3] / "recordings"


@pytest.fixture(scope="module")
def calm() -> BenchRun:
    return run_bench(read_recording(SAMPLES / "calm-morning"), Settings())


@pytest.fixture(scope="module")
def lifted() -> BenchRun:
    return run_bench(read_recording(SAMPLES / "finger-lifted"), Settings())


def test_the_bench_analyses_as_readings_are_analysed(calm: BenchRun) -> None:
    analysis = analyse(calm.recording.trace, Settings())
    assert np.array_equal(calm.analysis.beats.time_s, analysis.beats.time_s)
    assert calm.analysis.metrics == analysis.metrics
    assert calm.misfit.size == calm.height.size == len(analysis.beats) == calm.beat.size


def test_every_beat_was_once_a_candidate(calm: BenchRun) -> None:
    apart_s = np.abs(calm.candidate_s[None, :] - calm.analysis.beats.time_s[:, None]).min(axis=1)
    assert calm.candidate_s.size > len(calm.analysis.beats)
    assert apart_s.max() < 0.06


def test_the_wave_is_broken_where_frames_are_missing() -> None:
    trace = read_recording(SAMPLES / "calm-morning").trace
    hole = (trace.time_s > 40.0) & (trace.time_s < 45.0)
    cut = Trace(trace.time_s[~hole], trace.colour[~hole])
    run = run_bench(Recording(cut, {}, None, "cut", Path("cut")), Settings())
    assert len(run.stretches) == 2
    assert np.isnan(run.wave).sum() == 2
    assert spectrum_between(run, 39.0, 46.0) is None
    assert edges_between(run, 41.0, 44.0) is None


def test_edges_rise_through_the_beat_and_are_steepest_there(calm: BenchRun) -> None:
    edges = edges_between(calm, 0.0, 200.0)
    assert edges is not None
    assert edges.rows.shape == (len(calm.analysis.beats), edges.offset_s.size)
    steepest_s = edges.offset_s[np.gradient(edges.median).argmax()]
    assert abs(steepest_s) < 0.02


def test_an_edge_that_begins_before_the_recording_is_unknown_there(calm: BenchRun) -> None:
    trace = calm.recording.trace
    later = trace.time_s > calm.analysis.beats.time_s[3] - 0.25
    cut = Trace(trace.time_s[later], trace.colour[later])
    run = run_bench(Recording(cut, {}, None, "cut", Path("cut")), Settings())
    edges = edges_between(run, 0.0, 200.0)
    assert edges is not None
    early = edges.beat_s[:, None] + edges.offset_s < run.stretches[0].start_s - 1e-9
    assert early.any()
    assert np.isnan(edges.rows[early]).all()
    assert np.isfinite(edges.rows[5]).all()
    assert np.isfinite(edges.median).all()


def test_edges_are_thinned_out_evenly(calm: BenchRun) -> None:
    edges = edges_between(calm, 0.0, 200.0, most=20)
    assert edges is not None
    assert 10 <= edges.rows.shape[0] <= 20
    assert edges.beat_s[-1] > 100.0


def test_the_spectrum_is_tallest_at_the_pulse(calm: BenchRun) -> None:
    spectrum = spectrum_between(calm, 0.0, 200.0)
    assert spectrum is not None
    assert spectrum.pulse_hz == pytest.approx(calm.analysis.metrics.mean_hr_bpm / 60.0, rel=0.01)  # type: ignore[operator]
    assert spectrum.frequency_hz[spectrum.after.argmax()] == pytest.approx(spectrum.pulse_hz, abs=0.08)


def test_the_spectrum_of_a_sine_has_its_amplitude() -> None:
    time_s = np.arange(0.0, 60.0, 1.0 / 30.0)
    sine = 5.0 * np.sin(2.0 * np.pi * 1.25 * time_s)  # a multiple of 1/16 Hz, so that nothing leaks
    colour = np.repeat((100.0 * np.exp(-sine / 1000.0))[:, None], 3, axis=1)
    run = run_bench(Recording(Trace(time_s, colour), {}, None, "sine", Path("sine")), Settings(channel="green"))
    spectrum = spectrum_between(run, 0.0, 60.0)
    assert spectrum is not None
    assert spectrum.before.max() == pytest.approx(5.0, rel=0.03)
    assert spectrum.frequency_hz[spectrum.before.argmax()] == pytest.approx(1.25, abs=0.03)


def test_a_trace_without_pulse_makes_an_empty_run() -> None:
    time_s = np.arange(0.0, 2.0, 1.0 / 30.0)
    run = run_bench(Recording(Trace(time_s, np.full((time_s.size, 3), 90.0)), {}, None, "x", Path("x")), Settings())
    assert run.wave.size == run.candidate_s.size == run.misfit.size == 0
    assert spectrum_between(run, 0.0, 2.0) is None
    with pytest.raises(DawnbeatError):
        _ = run.series
    assert "no pulse" in run_words(run)


def test_words_tell_each_beat_and_what_was_left_out(calm: BenchRun, lifted: BenchRun) -> None:
    words = beat_words(calm, 10)
    assert "Beat 11 of" in words
    assert "kept" in words
    assert "fit residual" in words
    left_out = sum(reason is not None for reason in lifted.analysis.intervals.left_out)
    said = left_out_words(lifted.analysis)
    assert said.startswith(f"Left out {left_out} of {len(lifted.analysis.intervals)} ")
    _, reasons = said.split(": ")
    # Each mark, its reason and its count stand in one line.
    assert " " not in reasons.replace(", ", "")
    assert sum(int(each) for each in re.findall(r"\d+", reasons)) == left_out
    assert share_words(0.998) == "99.8 %"
    assert share_words(1.0) == "100 %"


def test_neurokit2_finds_the_same_beats_in_a_calm_recording(calm: BenchRun) -> None:
    pytest.importorskip("neurokit2")
    found = compare(calm.series, second_opinion(calm), MOST_LAG_S)
    assert found.matched_a == found.matched_b == 1.0
    assert 0.0 < found.lag_s < 0.3  # crests come after edges
    assert found.mean_hr_bpm is not None
    assert found.mean_hr_bpm[0] == pytest.approx(found.mean_hr_bpm[1], rel=0.002)


def test_without_neurokit2_one_sentence_says_how_to_get_it(calm: BenchRun, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "neurokit2", None)
    with pytest.raises(DawnbeatError, match=r"pip install 'dawnbeat\[test\]'") as caught:
        second_opinion(calm)
    assert str(caught.value) == MISSING


def test_opening_means_recordings_and_not_the_files_inside(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    for name in ("trace.csv", "about.json", "beats.csv"):
        (tmp_path / "a" / name).write_text("{}")
    (tmp_path / "bare.csv").write_text("time_s,red,green,blue\n")
    (tmp_path / "pulse.csv").write_text("time_s,pulse_bpm\n")
    (tmp_path / "beats.csv").write_text("time_s\n")
    (tmp_path / ".hidden.csv").write_text("time_s,red,green,blue\n")
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (tmp_path / "deep" / "er" / "clip.avi").write_bytes(b"")
    found = [path.relative_to(tmp_path).as_posix() for path in recordings_in([tmp_path])]
    assert found == ["a", "bare.csv", "deep/er/clip.avi"]
    assert recordings_in([tmp_path / "a" / "trace.csv"]) == [tmp_path / "a"]
    assert recordings_in([tmp_path / "pulse.csv"]) == [tmp_path / "pulse.csv"]  # named on purpose: the reader complains
    assert recordings_in([tmp_path / "deep" / "er" / "none"]) == [tmp_path / "deep" / "er" / "none"]


def test_reference_beats_beside_a_bare_file_belong_to_it(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text((SAMPLES / "calm-morning" / "trace.csv").read_text())
    assert read_with_reference(tmp_path / "one.csv").beats_s is None
    (tmp_path / "one.beats.csv").write_text("time_s\n1.0\n2.0\n")
    beats_s = read_with_reference(tmp_path / "one.csv").beats_s
    assert beats_s is not None
    assert beats_s.tolist() == [1.0, 2.0]


def test_the_reference_of_a_sample_is_met(calm: BenchRun) -> None:
    assert calm.recording.beats_s is not None
    found = compare(calm.series, Series.of_beats(calm.recording.beats_s), 0.6)
    assert found.matched_a == found.matched_b == 1.0


def test_differences_name_exactly_what_differs() -> None:
    other = dataclasses.replace(Settings(), lowpass_hz=6.0, channel="red")
    assert [(name, now, then) for name, _, now, then in differences(Settings(), other)] == [
        (plain_name("channel"), "auto", "red"),
        (plain_name("lowpass_hz"), "8 Hz", "6 Hz"),
    ]
    assert differences(Settings(), Settings()) == []


def test_the_effect_on_a_recording_tells_pulse_rmssd_and_verdict() -> None:
    strict = dataclasses.replace(Settings(), min_kept_s=600.0, min_kept_share=1.0)
    effect = effect_on(SAMPLES / "motion-burst", Settings(), strict)
    name, pulse, rmssd, verdict = effect_row(effect)
    assert name == "motion-burst"
    assert pulse.endswith("bpm, as now")
    assert rmssd.endswith("ms, as now")
    assert verdict == "usable → not usable"
    missing = effect_row(effect_on(SAMPLES / "nowhere", Settings(), strict))
    assert missing[0] == "nowhere"
    assert "nowhere" in missing[3]
