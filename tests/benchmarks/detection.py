"""How well and how fast beats are found and timed, beside two general libraries, in one table.

    python tests/benchmarks/detection.py --pairs FOLDER --hearts FOLDER [--seeds 200]

FOLDER holds pair-N-left.csv, pair-N-right.csv (columns time_s, red, green, blue; two hands of one person on two
cameras, clocks up to a minute apart) and pair-N-oximeter.csv (time_s, pulse_bpm). The recordings come from Hoffman et
al. 2022, npj Digital Medicine 5:146 (repository ubicomplab/oximetry-phone-cam-data, MIT license). Without --pairs only
the generator's truth and the timings are measured. --hearts: a folder of fingers beside an electrocardiogram, see
hearts.py.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import hearts
import numpy as np
from rich.console import Console
from rich.table import Table

from dawnbeat.capture.recording import read_recording
from dawnbeat.recordings.invented.heart import heart_beats
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.compare import Comparison, Series, compare, find_lag
from tests.drawn_mornings import draw_scenario

WINDOW_S = 120.0
# A method gives beats and which intervals count; None where it finds too few.
Method = Callable[[Trace], Series | None]


@dataclass(frozen=True)
class Window:
    """The same two minutes of both hands, each on its own clock, with the lag of the clocks."""

    pair: int
    start_s: float
    lag_s: float
    left: Trace
    right: Trace
    oximeter_s: FloatArray
    oximeter_bpm: FloatArray


def own(trace: Trace) -> Series | None:
    """This project's beats and what it keeps."""
    found = analyse(trace)
    return Series(found.beats.time_s, found.intervals.kept) if len(found.beats) >= 3 else None


def by_neurokit2(trace: Trace) -> Series | None:
    """neurokit2: ppg_clean and ppg_findpeaks, both elgendi, on inverted green."""
    import neurokit2

    rate_hz = float(trace.frame_rate_hz or 30.0)
    clean = neurokit2.ppg_clean(-trace.colour[:, 1], sampling_rate=rate_hz, method="elgendi")
    peaks = neurokit2.ppg_findpeaks(clean, sampling_rate=rate_hz, method="elgendi")["PPG_Peaks"]
    return Series.of_beats(trace.time_s[np.asarray(peaks, dtype=int)]) if len(peaks) >= 3 else None


def by_heartpy(trace: Trace) -> Series | None:
    """heartpy: process on inverted green; its rejected beats take their intervals out."""
    import heartpy

    rate_hz = float(trace.frame_rate_hz or 30.0)
    data = heartpy.scale_data(heartpy.filter_signal(-trace.colour[:, 1], [0.7, 3.5], rate_hz, 3, "bandpass"))
    try:
        work, _ = heartpy.process(data, rate_hz)
    except Exception:  # heartpy raises its own errors, and plain ones, where it finds no fit
        return None
    peaks = np.asarray(work["peaklist"], dtype=int)
    if peaks.size < 3:
        return None
    accepted = np.asarray(work["binary_peaklist"], dtype=bool)
    return Series(trace.time_s[peaks], accepted[1:] & accepted[:-1])


METHODS: dict[str, Method] = {"dawnbeat": own, "neurokit2 (elgendi)": by_neurokit2, "heartpy": by_heartpy}


def windows_of(folder: Path) -> list[Window]:
    """Every full two-minute window of every pair, with the lag from the whole recordings."""
    windows = []
    for left_path in sorted(folder.glob("pair-*-left.csv")):
        pair = int(left_path.name.split("-")[1])
        left = read_recording(left_path).trace
        right = read_recording(folder / f"pair-{pair}-right.csv").trace
        both = [analyse(one) for one in (left, right)]
        lag_s = find_lag(*(Series(one.beats.time_s, one.intervals.kept) for one in both), 60.0)
        oximeter = np.genfromtxt(folder / f"pair-{pair}-oximeter.csv", delimiter=",", skip_header=1)
        oximeter = oximeter[np.isfinite(oximeter).all(axis=1)]
        start_s = max(0.0, -lag_s)
        while start_s + WINDOW_S <= min(left.time_s[-1], right.time_s[-1] - lag_s) + 1e-6:
            windows.append(
                Window(
                    pair,
                    start_s,
                    lag_s,
                    left.between(start_s, start_s + WINDOW_S),
                    right.between(start_s + lag_s, start_s + lag_s + WINDOW_S),
                    oximeter[:, 0],
                    oximeter[:, 1],
                )
            )
            start_s += WINDOW_S
    return windows


def two_hands(screen: Console, windows: list[Window]) -> None:
    """Agreement of the hands, each method on the same windows."""
    table = Table(title=f"two hands, {len(windows)} windows of two minutes")
    for title in (
        "method", "interval diff. median (ms)", "90th pct (ms)", "matched, worst window", "|ln RMSSD ratio| median",
        "maximum", "windows it could do",
    ):  # fmt: skip
        table.add_column(title, justify="left" if title == "method" else "right")
    for name, method in METHODS.items():
        found: list[Comparison] = []
        for window in windows:
            pair = method(window.left), method(window.right)
            if pair[0] is not None and pair[1] is not None:
                found.append(compare(pair[0], pair[1], lag_s=_lag_near(window.lag_s, *pair)))
        difference = [one.mean_absolute_ms for one in found if one.mean_absolute_ms is not None]
        ratios = [abs(float(np.log(one.rmssd_ms[0] / one.rmssd_ms[1]))) for one in found if one.rmssd_ms]
        worst = min(min(one.matched_a, one.matched_b) for one in found)
        table.add_row(
            name,
            f"{np.median(difference):.2f}",
            f"{np.percentile(difference, 90):.2f}",
            f"{worst:.3f}",
            f"{np.median(ratios):.4f}",
            f"{np.max(ratios):.4f}",
            f"{len(found)} of {len(windows)}",
        )
    screen.print(table)


def _lag_near(lag_s: float, left: Series, right: Series) -> float:
    """The lag within half a second of the known one that suits these beats, since each method has its own mark."""
    return lag_s + find_lag(Series(left.time_s + lag_s, left.kept), right, 0.5)


def verdicts_and_oximeter(screen: Console, windows: list[Window]) -> None:
    """Share of usable windows, and heart rate against the oximeters once their lag is found."""
    analyses = [(window, analyse(window.left), analyse(window.right)) for window in windows]
    usable = np.mean([one.verdict.usable for _, left, right in analyses for one in (left, right)])
    errors = []
    for pair in sorted({window.pair for window in windows}):
        of_pair = [(window, left) for window, left, _ in analyses if window.pair == pair]
        by_lag = {lag_s: _oximeter_errors(of_pair, float(lag_s)) for lag_s in range(-60, 61)}
        errors += min(by_lag.values(), key=lambda values: float(np.median(np.abs(values))))
    within = np.mean(np.abs(errors) <= 1.5)
    screen.print(
        f"usable windows: {100 * usable:.1f} %; heart rate within 1.5 bpm of the oximeters: {100 * within:.1f} %"
    )


def _oximeter_errors(of_pair: list[tuple[Window, Analysis]], lag_s: float) -> list[float]:
    errors = []
    for window, analysis in of_pair:
        inside = (window.oximeter_s >= window.start_s + lag_s) & (window.oximeter_s < window.start_s + lag_s + WINDOW_S)
        if inside.sum() > WINDOW_S / 2 and analysis.metrics.mean_hr_bpm is not None:
            errors.append(analysis.metrics.mean_hr_bpm - float(window.oximeter_bpm[inside].mean()))
    return errors or [float("inf")]


def generator_truth(screen: Console, seeds: int) -> None:
    """Clean and faulty traces of known beats."""
    errors, rmssd_errors, resting, covered = [], [], [], {"mean_hr_bpm": [], "sdnn_ms": [], "rmssd_ms": []}
    for seed in range(seeds):
        scenario = draw_scenario(seed, clean=True)
        found = analyse(scenario.trace())
        truth = Series.of_beats(scenario.beats_s)
        comparison = compare(Series(found.beats.time_s, found.intervals.kept), truth, lag_s=0.0)
        errors.append(comparison.mean_absolute_ms)
        inside = scenario.beats_s[np.searchsorted(scenario.beats_s, found.beats.time_s[0] - 0.2) :]
        rmssd_errors.append(
            (found.metrics.rmssd_ms or 0.0) / _rmssd(inside[inside < found.beats.time_s[-1] + 0.2]) - 1.0
        )
        resting.append(scenario.rhythm.mean_hr_bpm <= 95.0)
        for name, value in _long_run(scenario).items():
            low, high = found.intervals95[name]
            covered[name].append(low <= value <= high)
    within = np.abs(rmssd_errors) <= 0.03
    screen.print(
        f"{seeds} clean seeds: mean absolute interval error, median {np.median(errors):.2f} ms, "
        f"90th percentile {np.percentile(errors, 90):.2f} ms; RMSSD within 3 % in {100 * np.mean(within):.1f} % "
        f"({100 * np.mean(within[np.array(resting)]):.1f} % of those at rest, 95 bpm or less)"
    )
    shares = ", ".join(f"{name} {100 * np.mean(values):.1f} %" for name, values in covered.items())
    screen.print(f"95 % intervals that hold the long-run value: {shares}")
    right, usable = 0, 0
    for seed in range(seeds):
        scenario = draw_scenario(seed, clean=False)
        found = analyse(scenario.trace())
        if not found.verdict.usable:
            continue
        usable += 1
        right += _is_right(scenario, found)
    share = 100 * right / usable if usable else float("nan")
    screen.print(
        f"{seeds} faulty seeds: {usable} called usable, of these {right} ({share:.1f} %) with heart rate within 2 bpm "
        "and RMSSD within 15 %"
    )


def _is_right(scenario: Scenario, found: Analysis) -> bool:
    if scenario.beats_s.size < 10 or found.metrics.mean_hr_bpm is None or found.metrics.rmssd_ms is None:
        return False
    interval_ms = np.diff(scenario.beats_s) * 1000.0
    kept = ~(scenario.premature[1:] | scenario.premature[:-1])
    both = kept[1:] & kept[:-1]
    rmssd_ms = float(np.sqrt(np.mean(np.diff(interval_ms)[both] ** 2)))
    mean_hr_bpm = 60000.0 / float(interval_ms.mean())
    return abs(found.metrics.mean_hr_bpm - mean_hr_bpm) <= 2.0 and abs(found.metrics.rmssd_ms / rmssd_ms - 1.0) <= 0.15


def _rmssd(beats_s: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.diff(beats_s, 2) ** 2)) * 1000.0)


def _long_run(scenario: Scenario, mornings: int = 40) -> dict[str, float]:
    """What two minutes of this rhythm say on average over many mornings: the truth that an interval should hold."""
    from dataclasses import replace

    mean_ms, variance, squared = [], [], []
    for k in range(mornings):
        beats_s = heart_beats(replace(scenario.rhythm, seed=10_000 + k), 126.0, start_s=-4.0).time_s
        interval_ms = np.diff(beats_s[(beats_s > 0) & (beats_s < 120)]) * 1000.0
        mean_ms.append(interval_ms.mean())
        variance.append(interval_ms.var(ddof=1))
        squared.append(np.mean(np.diff(interval_ms) ** 2))
    return {
        "mean_hr_bpm": 60000.0 / float(np.mean(mean_ms)),
        "sdnn_ms": float(np.sqrt(np.mean(variance))),
        "rmssd_ms": float(np.sqrt(np.mean(squared))),
    }


def late_by_chance(trace: Trace) -> Trace:
    """The same frames, which come 10 ms late at the mean; none is lost."""
    late_s = np.random.default_rng(7).exponential(0.010, len(trace))
    # A late frame holds up those behind it.
    rising_s = 1e-4 * np.arange(len(trace))
    return Trace(np.maximum.accumulate(trace.time_s + late_s - rising_s) + rising_s, trace.colour)


def timings(screen: Console, what: str, trace: Trace, repeats: int = 15) -> None:
    """Time of one two-minute trace beside neurokit2's ppg_process and hrv_time, alternating in one process."""
    import neurokit2

    rate_hz = float(trace.frame_rate_hz or 30.0)

    def library() -> None:
        _, info = neurokit2.ppg_process(-trace.colour[:, 1], sampling_rate=rate_hz)
        neurokit2.hrv_time(info, sampling_rate=rate_hz)

    measured: dict[str, list[float]] = {"ours": [], "library": []}
    for _ in range(repeats):
        for name, run in (("ours", lambda: analyse(trace)), ("library", library)):
            began = time.perf_counter()
            run()
            measured[name].append(time.perf_counter() - began)
    ours, theirs = (float(np.median(measured[name][1:])) for name in ("ours", "library"))
    screen.print(
        f"analyse of {trace.duration_s:.0f} s, {what}: {1000 * ours:.1f} ms; neurokit2 ppg_process + hrv_time: "
        f"{1000 * theirs:.1f} ms; share {ours / theirs:.2f}"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=Path)
    parser.add_argument("--hearts", type=Path)
    parser.add_argument("--seeds", type=int, default=200)
    options = parser.parse_args()
    warnings.filterwarnings("ignore")
    screen = Console(width=150)
    trace = draw_scenario(1, clean=True).trace()
    windows: list[Window] = []
    if options.pairs:
        windows = windows_of(options.pairs)
        if not windows:
            parser.error(f"{options.pairs} holds no pair-N-left.csv with two full minutes")
        two_hands(screen, windows)
        verdicts_and_oximeter(screen, windows)
        trace = windows[0].left
    if options.hearts:
        found = hearts.hearts_of(options.hearts)
        if not found:
            parser.error(f"{options.hearts}/index.csv names no window")
        hearts.agreement(screen, found, METHODS)
        hearts.coverage(screen, found)
        hands = [analyse(trace) for window in windows for trace in (window.left, window.right)]
        breathing = hearts.breathing_hearts()
        hearts.irregular(screen, found, {"finger-pairs": hands, "invented, breathing by a fifth": breathing})
    generator_truth(screen, options.seeds)
    timings(screen, "as it came", trace)
    timings(screen, "frames 10 ms late by chance", late_by_chance(trace))


if __name__ == "__main__":
    main()
