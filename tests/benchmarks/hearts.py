"""Fingers beside an electrocardiogram: how near the beats are to the heart's, what an interval holds, what is said.

Part of detection.py, by `--hearts FOLDER`. FOLDER holds NAME.csv (time_s, red, green, blue), NAME-heart.csv (time_s of
every R wave on the same clock) and index.csv (name, kind, heart_bpm, heart_rmssd_ms, source), where kind is "regular"
or "irregular".

Rules of others are computed as published, on the intervals that no gap and no movement has spoiled: RMSSD over the
mean interval above 0.1 with a Shannon entropy of sixteen classes above 0.7 (Dash et al. 2009, Ann Biomed Eng
37:1701-1709; thresholds from memory), and the entropy of words of three heart rates above 0.639 (Zhou et al. 2015,
PLoS ONE 10:e0136544).
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from dawnbeat.capture.recording import read_recording
from dawnbeat.recordings.invented.heart import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.compare import Comparison, Series, find_lag
from dawnbeat.signal.conditioning import running_median

# The light is called clear where the beats look alike; half of all irregular ones don't.
CLEAR_LIKENESS = 0.95
SOURCES = ("rest", "bidmc", "alarms")
_LATEST_S = 0.9


@dataclass(frozen=True)
class Heart:
    """One window with its truth. rmssd_ms: of the heart, None where it is irregular."""

    name: str
    kind: str
    source: str
    rmssd_ms: float | None
    trace: Trace
    beats_s: FloatArray
    analysis: Analysis

    @property
    def likeness(self) -> float:
        """Median of the beats' likeness, 0 without any."""
        return float(np.median(self.analysis.beats.likeness)) if len(self.analysis.beats) else 0.0


def hearts_of(folder: Path) -> list[Heart]:
    """Every window of the folder."""
    found = []
    with (folder / "index.csv").open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            trace = read_recording(folder / f"{row['name']}.csv").trace
            beats_s = np.genfromtxt(folder / f"{row['name']}-heart.csv", skip_header=1)
            rmssd = row["heart_rmssd_ms"]
            true_ms = float(rmssd) if rmssd else None
            found.append(Heart(row["name"], row["kind"], row["source"], true_ms, trace, beats_s, analyse(trace)))
    return found


def agreement(screen: Console, hearts: list[Heart], methods: dict[str, Callable[[Trace], Series | None]]) -> None:
    """Intervals and RMSSD of each method against the electrocardiogram's, on regular windows."""
    chosen = [heart for heart in hearts if heart.kind == "regular"]
    for source in ("all", "rest"):
        windows = [heart for heart in chosen if source in ("all", heart.source)]
        table = Table(title=f"electrocardiogram, {source}: {len(windows)} regular windows")
        for title in ("method", "interval diff. median (ms)", "90th pct (ms)", "RMSSD, times the heart's", "could do"):
            table.add_column(title, justify="left" if title == "method" else "right")
        for name, method in methods.items():
            found = [each for heart in windows if (each := _against(method(heart.trace), heart.beats_s)) is not None]
            difference = [each.mean_absolute_ms for each in found if each.mean_absolute_ms is not None]
            ratio = [each.rmssd_ms[0] / each.rmssd_ms[1] for each in found if each.rmssd_ms]
            median, most = np.percentile(difference, [50, 90])
            table.add_row(
                name, f"{median:.2f}", f"{most:.2f}", f"{np.median(ratio):.3f}", f"{len(found)} of {len(windows)}"
            )
        screen.print(table)


def _against(found: Series | None, beats_s: FloatArray) -> Comparison | None:
    """Held against the R waves, those left out whose intervals lie a fifth off the running median."""
    if found is None:
        return None
    step_ms = np.diff(beats_s) * 1000.0
    steady = np.abs(step_ms / running_median(step_ms, 11) - 1.0) < 0.2
    heart = Series(beats_s, steady)
    return Comparison(found, heart, find_lag(found, heart, _LATEST_S))


def coverage(screen: Console, hearts: list[Heart]) -> None:
    """How often the 95 % interval of RMSSD holds the heart's own."""
    for source in SOURCES:
        held, ratio = [], []
        for heart in hearts:
            bounds = heart.analysis.intervals95.get("rmssd_ms")
            if heart.source == source and heart.rmssd_ms and bounds and heart.analysis.verdict.usable:
                held.append(bounds[0] <= heart.rmssd_ms <= bounds[1])
                ratio.append((heart.analysis.metrics.rmssd_ms or np.nan) / heart.rmssd_ms)
        if held:
            screen.print(
                f"{source}: the interval holds the heart's RMSSD in {_share(held)} of usable regular readings; "
                f"the pulse's is {np.median(ratio):.3f} times the heart's (median)"
            )


def irregular(screen: Console, hearts: list[Heart], others: dict[str, list[Analysis]]) -> None:
    """Irregular said and missed, and false alarms, beside two published rules on the same intervals.

    others: analyses of readings by name in which nothing is irregular.
    """
    rules: dict[str, Callable[[Analysis], bool]] = {
        "dawnbeat": lambda analysis: analysis.verdict.irregular,
        "RMSSD and entropy": _by_spread,
        "words of heart rates": _by_words,
    }
    windows = {
        f"irregular, clear light (likeness over {CLEAR_LIKENESS})": [
            each.analysis for each in hearts if each.kind == "irregular" and each.likeness > CLEAR_LIKENESS
        ]
    }
    for kind, source in (("irregular", "bidmc"), ("irregular", "alarms"), *(("regular", each) for each in SOURCES)):
        windows[f"{kind}, {source}"] = [each.analysis for each in hearts if (each.kind, each.source) == (kind, source)]
    windows |= others
    table = Table(title="said to be irregular (95 % interval by Wilson 1927)")
    table.add_column("windows")
    for name in rules:
        table.add_column(name, justify="right")
    for title, analyses in windows.items():
        if analyses:
            table.add_row(title, *(_share([rule(each) for each in analyses]) for rule in rules.values()))
    screen.print(table)
    missed = Counter(
        "usable" if each.analysis.verdict.usable else each.analysis.verdict.findings[0].code
        for each in hearts
        if each.kind == "irregular" and each.likeness > CLEAR_LIKENESS and not each.analysis.verdict.irregular
    )
    screen.print("not said, clear light: " + ", ".join(f"{code} {count}" for code, count in missed.most_common()))
    pulses = [
        abs(60000.0 / (np.diff(each.beats_s).mean() * 1000.0) - (each.analysis.metrics.mean_hr_bpm or 0.0)) <= 3.0
        for each in hearts
        if each.kind == "irregular" and each.analysis.verdict.pulse_usable and each.analysis.verdict.irregular
    ]
    if pulses:
        screen.print(f"irregular with usable pulse: within 3 bpm of the electrocardiogram {_share(pulses)}")


def breathing_hearts() -> list[Analysis]:
    """Invented young hearts that swing by a fifth either way with each breath."""
    return [
        analyse(Scenario(Rhythm(bpm, 30.0, breaths, 0.2, seed=seed), seed=seed).trace())
        for seed, bpm in enumerate((42.0, 50.0, 58.0, 66.0, 74.0), start=1)
        for breaths in (7.0, 10.0, 13.0, 16.0, 19.0)
    ]


def _share(hit: Sequence[bool | np.bool_]) -> str:
    """A share in per cent with its 95 % interval."""
    count, share, z = len(hit), float(np.mean(hit)), 1.96
    middle = (share + z**2 / (2 * count)) / (1 + z**2 / count)
    half = z / (1 + z**2 / count) * np.sqrt(share * (1 - share) / count + z**2 / (4 * count**2))
    return f"{100 * share:.0f} % ({100 * max(middle - half, 0):.0f} to {100 * min(middle + half, 1):.0f} %) of {count}"


def _intervals(analysis: Analysis) -> FloatArray:
    there = [reason not in ("gap", "movement") for reason in analysis.intervals.left_out]
    return analysis.intervals.interval_ms[np.array(there, dtype=bool)]


def _by_spread(analysis: Analysis) -> bool:
    interval_ms = _intervals(analysis)
    if interval_ms.size < 32:
        return False
    rmssd = float(np.sqrt(np.mean(np.diff(interval_ms) ** 2)) / interval_ms.mean())
    # The eight longest and the eight shortest of 128 are left out, as published.
    apart = interval_ms.size // 16
    counts, _ = np.histogram(np.sort(interval_ms)[apart:-apart], 16)
    share = counts[counts > 0] / counts.sum()
    return rmssd > 0.1 and float(-(share * np.log(share)).sum() / np.log(16.0)) > 0.7


def _by_words(analysis: Analysis) -> bool:
    rate = 60000.0 / _intervals(analysis)
    if rate.size < 32:
        return False
    symbol = np.where(rate >= 315.0, 63, np.floor(rate / 5.0)).astype(int)
    _, counts = np.unique(symbol[:-2] * 4096 + symbol[1:-1] * 64 + symbol[2:], return_counts=True)
    share = counts / counts.sum()
    return float(-counts.size / (counts.sum() * np.log2(counts.sum())) * (share * np.log2(share)).sum()) > 0.639
