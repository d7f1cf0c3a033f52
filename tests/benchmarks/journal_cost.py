"""What the journal costs at ten years of mornings; prints a table of times against their targets.

    python tests/benchmarks/journal_cost.py
    python tests/benchmarks/journal_cost.py --analyse dawnbeat.signal.analysis:analyse \
        --read dawnbeat.capture.recording:read_recording

Without --analyse and --read, analysing a recording is a stand-in that reads the file and invents the figures,
so that the row shows what the journal itself adds.
"""

from __future__ import annotations

import argparse
import importlib
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.csv_files import export_mornings, plan_import
from dawnbeat.journal.ranges import daily_ranges
from dawnbeat.journal.store import Journal
from dawnbeat.morning.answer_text import lines
from dawnbeat.morning.answering import grounds
from dawnbeat.morning.revising import accept, reanalyse
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.morning import Circumstances, Context
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace

READINGS = 3650
RECORDINGS = 365
LAST = date(2025, 3, 30)
ZONE = timezone(timedelta(hours=1))


@dataclass(frozen=True)
class PlainRecording:
    trace: Trace


def read_plain(path: Path) -> PlainRecording:
    table = np.loadtxt(path / "trace.csv", delimiter=",", skiprows=1)
    return PlainRecording(Trace(table[:, 0], table[:, 1:]))


def analyse_stand_in(trace: Trace, settings: Settings) -> Analysis:
    return invented_analysis(4.0, 50.0, np.random.default_rng(len(trace)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--analyse", type=_function, default=analyse_stand_in, metavar="MODULE:NAME")
    parser.add_argument("--read", type=_function, default=read_plain, metavar="MODULE:NAME")
    parser.add_argument("--readings", type=int, default=READINGS)
    parser.add_argument("--recordings", type=int, default=RECORDINGS)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _ten_years(Path(folder), chosen.readings)
        _again(Path(folder), chosen.recordings, chosen.read, chosen.analyse)


def _ten_years(folder: Path, readings: int) -> None:
    rng = np.random.default_rng(3)
    began = time.perf_counter()
    with Journal.open(folder / "ten-years") as journal:
        for back in reversed(range(readings)):
            taken = _taken(LAST - timedelta(days=back))
            journal.save(taken, invented_analysis(rng.normal(4, 0.15), rng.normal(50, 2), rng))
    saving_ms = 1000 * (time.perf_counter() - began) / readings
    with Journal.open(folder / "ten-years") as journal:
        intervals = journal.connection.execute("SELECT count(*) FROM intervals").fetchone()[0]
        size_mb = journal.path.stat().st_size / 1e6
        print(f"{readings} readings, {intervals} intervals, {size_mb:.1f} MB\n")
        print(f"{'':44}{'median':>10}{'target':>10}")
        _row("save one reading (with its invention)", saving_ms, None)
        _row(
            "open, with quick_check of the whole file",
            _median(lambda: Journal.open(journal.home).close()),
            None,
        )
        _row("today's answer in words", _median(lambda: lines(grounds(journal, LAST).answer())), 50)
        _row("list all readings", _median(journal.readings), 100)
        _row("list the last eight weeks", _median(lambda: journal.readings(LAST - timedelta(days=55))), None)
        out = folder / "mornings.csv"
        _row("export all mornings as CSV", _median(lambda: export_mornings(journal, out, overwrite=True)), 1000)
        _row("plan the import of that CSV", _median(lambda: plan_import(journal, out), 2), None)
        mornings = journal.mornings()
        first = LAST - timedelta(days=364)
        _row("range of each day of a year", _median(lambda: daily_ranges(mornings, "ln_rmssd", first, LAST)), None)
        zipped = folder / "journal.zip"
        _row("backup", _median(lambda: backup(journal, zipped, overwrite=True), 2), None)
    _row("restore", _median(lambda: restore(zipped, folder / "restored"), 2), None)


def _again(folder: Path, recordings: int, read: Callable[..., Any], analyse: Callable[..., Any]) -> None:
    rng = np.random.default_rng(4)
    with Journal.open(folder / "again") as journal:
        for back in reversed(range(recordings)):
            taken = _taken(LAST - timedelta(days=back))
            place = journal.new_recording_folder(taken.began)
            _write_recording(place, taken.began, rng)
            journal.save(taken, invented_analysis(rng.normal(4, 0.15), 50, rng), place)
        began = time.perf_counter()
        outcome = reanalyse(journal, read, analyse, Settings())
        worked = time.perf_counter()
        accept(journal, outcome)
        ended = time.perf_counter()
    kind = "stand-in" if analyse is analyse_stand_in else analyse.__module__
    _row(f"analyse {recordings} recordings again ({kind})", 1000 * (worked - began), 30_000)
    _row("accept the new analyses", 1000 * (ended - worked), None)
    if outcome.failed:
        print(f"{len(outcome.failed)} recordings could not be read, the first: {outcome.failed[0][1]}")


def _write_recording(folder: Path, began: datetime, rng: np.random.Generator) -> None:
    """Two minutes at 30 frames a second with a pulse of 50 bpm, breathing and noise."""
    time_s = np.arange(3600) / 30 + rng.normal(0, 0.001, 3600).clip(-0.01, 0.01)
    time_s -= time_s[0]
    phase = 2 * np.pi * (0.83 * time_s + 0.05 * np.sin(2 * np.pi * 0.2 * time_s))
    beat = np.exp(3 * (np.cos(phase) - 1))
    red = 180 - 2.0 * beat + rng.normal(0, 0.05, 3600)
    table = np.column_stack((time_s, red, 30 - 0.4 * beat, 25 - 0.2 * beat))
    np.savetxt(
        folder / "trace.csv",
        table,
        fmt=["%.6f", "%.5f", "%.5f", "%.5f"],
        delimiter=",",
        header="time_s,red,green,blue",
        comments="",
    )
    about = f'{{"format": 1, "version": 1, "began": "{began.isoformat()}"}}'
    (folder / "about.json").write_text(about, encoding="utf-8")


def _taken(day: date) -> Circumstances:
    began = datetime(day.year, day.month, day.day, 6, 30, tzinfo=ZONE)
    return Circumstances(began, "lying", "invented camera", Context(sleep=3, hours_slept=7.5, note="slept well"))


def _median(work: Callable[[], object], times: int = 7) -> float:
    """Milliseconds; the first call, which fills caches, is not counted."""
    work()
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        spent.append(1000 * (time.perf_counter() - began))
    return statistics.median(spent)


def _row(name: str, spent_ms: float, target_ms: float | None) -> None:
    target = "" if target_ms is None else f"{target_ms:.0f} ms"
    missed = "  MISSED" if target_ms is not None and spent_ms > target_ms else ""
    print(f"{name:44}{spent_ms:>7.1f} ms{target:>10}{missed}", flush=True)


def _function(text: str) -> Callable[..., Any]:
    module, _, name = text.partition(":")
    found: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return found


if __name__ == "__main__":
    main()
