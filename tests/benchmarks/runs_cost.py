"""What importing and listing runs costs; prints a table of times against their targets.

python tests/benchmarks/runs_cost.py
python tests/benchmarks/runs_cost.py --runs 500 --format gpx
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dawnbeat.journal.store import Journal
from dawnbeat.training import run_store
from dawnbeat.training.import_runs import import_runs
from dawnbeat.training.periods import judge_runs, weeks_of
from dawnbeat.training.zone_store import ZoneSet
from dawnbeat.training.zones import Anchors, default_scheme, zones
from tests.training.run_files import START, csv_text, fit_bytes, gpx_text, steady, tcx_text, write

LISTED = 3000
MAKERS: dict[str, Callable[..., bytes | str]] = {"fit": fit_bytes, "tcx": tcx_text, "gpx": gpx_text, "csv": csv_text}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--format", choices=MAKERS, default="fit")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _write(folder / "files", chosen.runs, chosen.format)
        with Journal.open(folder / "journal") as journal:
            _import(journal, folder / "files", chosen.runs, chosen.format)
            _multiply(journal, LISTED)
            _list(journal)
        _row(
            "open the journal, with quick_check", 1000 * _timed(lambda: Journal.open(folder / "journal").close()), None
        )


def _write(folder: Path, count: int, format_name: str) -> None:
    folder.mkdir()
    samples = steady(3600)
    for n in range(count):
        for place in range(n % 60, 3600, 97):
            samples[place].pulse_bpm = 120 + (n + place) % 60
        write(folder / f"run{n:04d}.{format_name}", MAKERS[format_name](samples, START + timedelta(days=n / 2)))


def _import(journal: Journal, folder: Path, count: int, format_name: str) -> None:
    waits: list[float] = []
    done = threading.Event()

    def another_program_writes() -> None:
        n = 0
        with Journal.open(journal.home) as other:
            while not done.wait(0.25):
                began = time.perf_counter()
                run_store.add_by_hand(other, START - timedelta(days=900 + n), 600)
                waits.append(1000 * (time.perf_counter() - began))
                n += 1

    writer = threading.Thread(target=another_program_writes)
    writer.start()
    began = time.perf_counter()
    result = import_runs(journal, [folder])
    spent = time.perf_counter() - began
    done.set()
    writer.join()
    print(result.lines()[0])
    _row(f"import {count} runs of an hour at 1 Hz ({format_name})", 1000 * spent, 60_000)
    if waits:
        _row("  another program's save meanwhile, longest", max(waits), None)


def _multiply(journal: Journal, wanted: int) -> None:
    """Rows copied until there are enough of them; listing reads no samples."""
    columns = [row[1] for row in journal.connection.execute("PRAGMA table_info(runs)")]
    own = [name for name in columns if name not in ("id", "sha256")]
    while (present := journal.connection.execute("SELECT count(*) FROM runs").fetchone()[0]) < wanted:
        with journal.transaction("copy runs") as connection:
            connection.execute(
                f"INSERT INTO runs ({', '.join(own)}) SELECT {', '.join(own)} FROM runs LIMIT ?", (wanted - present,)
            )


def _list(journal: Journal) -> None:
    first = date(2020, 1, 1)
    sets = [
        ZoneSet(first + timedelta(days=100 * n), zones(Anchors(50, 190 - n), default_scheme("heart-rate reserve")), "")
        for n in range(10)
    ]
    found = run_store.runs(journal)
    judged = judge_runs(found, sets)
    days = [run.local_date for run in found]
    _row(f"list {len(found)} runs", 1000 * _timed(lambda: run_store.runs(journal)), None)
    _row("  judge them by their zones", 1000 * _timed(lambda: judge_runs(found, sets)), None)
    _row("  make weeks of them", 1000 * _timed(lambda: weeks_of(judged, min(days), max(days))), None)
    _row(
        "all three, what the page of runs needs",
        1000 * _timed(lambda: weeks_of(judge_runs(run_store.runs(journal), sets), min(days), max(days))),
        300,
    )


def _timed(work: Callable[[], object], times: int = 5) -> float:
    """Median seconds; the first call, which fills caches, is not counted."""
    work()
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return statistics.median(spent)


def _row(name: str, spent_ms: float, target_ms: float | None) -> None:
    target = "" if target_ms is None else f"{target_ms:.0f} ms"
    missed = "  MISSED" if target_ms is not None and spent_ms > target_ms else ""
    print(f"{name:52}{spent_ms:>9.1f} ms{target:>10}{missed}", flush=True)


if __name__ == "__main__":
    main()
