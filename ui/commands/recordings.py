"""`dawnbeat replay` and `dawnbeat agree`: recordings analysed again, and held against one another."""

from __future__ import annotations

import contextlib
import math
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import numbered
from dawnbeat.shared.wording import signed
from dawnbeat.ui.as_json import line_of
from dawnbeat.ui.commands.options import (
    JournalFolder,
    OneObject,
    Quiet,
    SaveAsBefore,
    SettingsFile,
    check_picture,
    open_journal,
)

if TYPE_CHECKING:
    from collections.abc import Generator, Iterable

    from dawnbeat.shared.reading import Analysis
    from dawnbeat.shared.settings import Settings
    from dawnbeat.signal.compare import Comparison, Series

    _Job = tuple[Path, Settings, float | None, float | None]

# Starting processes costs more than analysing so few.
_FEW = 4
# Where two series of one heart lie far from: 1 would be the spread between two hearts that know nothing of each other.
_LEAST_MATCHED = 0.8
_GREATEST_SPREAD = 0.5
_SMALL_SPREAD_MS = 10.0


def replay(
    recordings: list[Path] = typer.Argument(..., help="Recordings: folders, CSV, .csv.gz or video files."),
    settings: SettingsFile = None,
    plot: Path | None = typer.Option(
        None, metavar="PICTURE", help="Draw trace, beats and intervals; several recordings get a picture each."
    ),
    from_s: float | None = typer.Option(None, "--from", help="Only from this second of the recording's clock."),
    to_s: float | None = typer.Option(None, "--to", help="Only up to this second of the recording's clock."),
    channel: str | None = typer.Option(None, help="auto, red, green or blue, instead of what the settings say."),
    json: bool = typer.Option(False, "--json", help="One JSON object a line and a recording, in the order given."),
    quiet: Quiet = False,
) -> None:
    """Analyse recordings and print their readings.

    A recording that can't be read gets a line of its own, the others are analysed all the same, and the exit code is 2.
    """
    from dawnbeat.ui.terminal import on_ctrl_c, progress

    chosen = chosen_settings(settings, channel)
    for option, second in (("--from", from_s), ("--to", to_s)):
        if second is not None and not math.isfinite(second):
            raise DawnbeatError(f"{option} {second:g} is no time: give seconds")
    if from_s is not None and to_s is not None and to_s <= from_s:
        raise DawnbeatError(f"--to {to_s:g} is not after --from {from_s:g}: give a later second")
    if plot is not None:
        check_picture(plot)
    pictures = _pictures(plot, recordings)
    failed, stopped = 0, threading.Event()

    def stop() -> None:
        # Python drops what is raised where it happens to call back, such as while it imports.
        stopped.set()
        raise KeyboardInterrupt

    # Closed at once whatever happens, so that Ctrl+C between two recordings doesn't wait for all the others.
    with (
        on_ctrl_c(stop),
        contextlib.closing(_outcomes(recordings, chosen, from_s, to_s, stopped)) as outcomes,
        # Where the readings themselves go elsewhere.
        progress("recordings", hidden=quiet or sys.stdout.isatty()) as show,
    ):
        each_one = zip(recordings, pictures, outcomes, strict=False)
        for done, (path, picture, outcome) in enumerate(each_one, start=1):
            show(done, len(recordings))
            if isinstance(outcome, str):
                failed += 1
                print(f"dawnbeat: {outcome}", file=sys.stderr, flush=True)
                continue
            if json:
                from dawnbeat.ui.as_json import json_line

                print(json_line(str(path), outcome), flush=True)
            elif not quiet:
                from dawnbeat.ui.terminal import console, reading

                console().print(reading(str(path), outcome))
            if picture is not None:
                from dawnbeat.ui.plot import plot_reading

                try:
                    plot_reading(path.resolve().name, outcome, picture)
                except DawnbeatError as error:  # the readings stand without pictures
                    failed += 1
                    print(f"dawnbeat: {one_line(error)}", file=sys.stderr, flush=True)
                    pictures[:] = [None] * len(recordings)
    if stopped.is_set():
        raise KeyboardInterrupt
    if failed:
        raise typer.Exit(2)


def chosen_settings(path: Path | None, channel: str | None = None) -> Settings:
    """The settings of a TOML file, or the defaults, with the channel replaced where one is named."""
    import dataclasses

    from dawnbeat.shared.settings import Settings, settings_from_toml

    settings = settings_from_toml(path) if path is not None else Settings()
    return dataclasses.replace(settings, channel=channel) if channel is not None else settings


def _pictures(plot: Path | None, recordings: list[Path]) -> list[Path | None]:
    """Where each recording's picture goes: the name given, or that name with the recording's, each only once."""
    if plot is None or len(recordings) == 1:
        return [plot] * len(recordings)
    pictures: list[Path | None] = []
    for path in recordings:
        name = f"{plot.stem}-{path.resolve().name.split('.')[0] or 'recording'}"
        ways = (plot.with_name(f"{each}{plot.suffix}") for each in numbered(name))
        pictures.append(next(each for each in ways if each not in pictures))
    return pictures


def _outcomes(
    paths: list[Path], settings: Settings, from_s: float | None, to_s: float | None, stopped: threading.Event
) -> Generator[Analysis | str, None, None]:
    """The analysis of each recording in order, or in its place what is wrong with it; several use all cores."""
    jobs = [(path, settings, from_s, to_s) for path in paths]
    for outcome in _analysed(jobs):
        if stopped.is_set():
            return
        yield outcome


def _analysed(jobs: list[_Job]) -> Iterable[Analysis | str]:
    if len(jobs) <= _FEW:
        return map(_analyse_one, jobs)
    import os

    from dawnbeat.shared.processes import Processes

    workers = min(len(jobs), len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)
    return Processes(_analyse_one, workers, "the analysis", "replay fewer recordings at a time").in_order(jobs)


def _analyse_one(job: _Job) -> Analysis | str:
    from dawnbeat.capture.recording import read_recording
    from dawnbeat.signal.analysis import analyse

    path, settings, from_s, to_s = job
    try:
        trace = read_recording(path).trace
        if from_s is not None or to_s is not None:
            trace = trace.between(from_s, to_s)
            if len(trace) == 0:
                raise DawnbeatError(f"{path} has no frames between --from and --to: ask for other seconds")
        return analyse(trace, settings)
    except DawnbeatError as error:
        return one_line(error)


def agree(
    a: Path = typer.Argument(..., help="A recording, or a list of beats (s) or intervals (ms), one a line."),
    b: Path = typer.Argument(..., help="The other one."),
    settings: SettingsFile = None,
    lag_s: float | None = typer.Option(None, "--lag", help="Seconds to add to the first clock, where known."),
    max_lag_s: float = typer.Option(60.0, "--max-lag", help="How far apart the clocks may be, in seconds."),
    plot: Path | None = typer.Option(None, metavar="PICTURE", help="Draw the differences after Bland and Altman."),
    json: OneObject = False,
    save: bool = typer.Option(False, "--save", help="A is your camera and B a strap: save the result in the journal."),
    keep: SaveAsBefore = False,
    journal: JournalFolder = None,
) -> None:
    """Compare two recordings of one heart.

    Finds the lag of their clocks, then says how well beats, intervals, RMSSD and pulse agree.
    """
    from dawnbeat.signal.compare import compare

    if lag_s is not None and not math.isfinite(lag_s):
        raise DawnbeatError(f"--lag {lag_s:g} is no time: give seconds")
    if plot is not None:
        check_picture(plot)
    if not 0.0 < max_lag_s <= 3600.0:
        raise DawnbeatError(f"--max-lag {max_lag_s:g} is out of range: give 0 to 3600 seconds")
    chosen = chosen_settings(settings)
    found = compare(read_series(a, chosen), read_series(b, chosen), max_lag_s, lag_s)
    if json:
        name, words = _verdict(found)
        print(line_of({**_as_dict(found), "verdict": name, "verdict_words": words}))
    else:
        _print(found, a.name, b.name)
    if save or keep:
        from dawnbeat.morning.strap import keep_check

        with open_journal(journal) as opened:
            keep_check(opened, _as_dict(found), a.name, b.name)
        if not json:
            print("Saved: the page Mornings shows it under Months.")
    if plot is not None:
        from dawnbeat.ui.plot import plot_agreement

        plot_agreement(found, (a.name, b.name), plot)


def read_series(path: Path, settings: Settings) -> Series:
    """The beats of a recording, or of a list of beats in seconds or of intervals in milliseconds.

    A list is told from a recording by its first line: one column, a number or a header of one word. Numbers that only
    grow are beats, others intervals. Raises DawnbeatError for anything else.
    """
    import numpy as np

    from dawnbeat.capture.recording import read_recording
    from dawnbeat.morning.reading_text import verdict_lines
    from dawnbeat.morning.strap import numbers_in
    from dawnbeat.signal.analysis import analyse
    from dawnbeat.signal.compare import Series

    if not _is_list(path):
        analysis = analyse(read_recording(path).trace, settings)
        if len(analysis.beats) < 3:
            raise DawnbeatError(f"no beats were found in {path}: {verdict_lines(analysis.verdict)[0]}")
        return Series(analysis.beats.time_s, analysis.intervals.kept)
    table = numbers_in(path)
    values = table[:, 0] if table.shape[1] == 1 else np.zeros(0)
    grows = values.size > 1 and float(np.diff(values).min()) > 0
    if grows and float(np.median(np.diff(values))) < 10.0:
        return Series.of_beats(values)
    if grows or values.size == 0 or values.min() <= 0 or float(np.median(values)) < 100.0:
        raise DawnbeatError(f"{path} is neither a list of beats in seconds nor of intervals in milliseconds")
    return Series.of_beats(np.concatenate([[0.0], np.cumsum(values) / 1000.0]))


def _is_list(path: Path) -> bool:
    """Whether this is a text file of one column, by its first line."""
    if not path.is_file() or path.suffix.lower() in {".gz", ".avi", ".mp4", ".mkv", ".mov", ".webm"}:
        return False
    try:
        with path.open(encoding="utf-8-sig") as file:
            first = file.readline().strip()
    except (OSError, UnicodeDecodeError):
        return False
    return bool(first) and "," not in first and ";" not in first


def doubtful(found: Comparison) -> bool:
    """Whether so little fits that the two may not be of one heart at one time.

    Some lag always brings many beats of two like hearts within 150 ms. Their intervals give them away: those of two
    hearts differ about as much as each varies by itself.
    """
    import numpy as np

    if found.spread_ms is None or min(found.matched_a, found.matched_b) < _LEAST_MATCHED:
        return True
    own_ms = float(np.hypot(found.interval_a_ms.std(ddof=1), found.interval_b_ms.std(ddof=1)))
    return found.spread_ms > max(_GREATEST_SPREAD * own_ms, _SMALL_SPREAD_MS)


def _verdict(found: Comparison) -> tuple[str, str]:
    """By its name for programs, and in words."""
    if doubtful(found):
        return "doubtful", "They have little in common: perhaps not one heart, or not the same minutes."
    return "one_heart", "They fit one heart, seen by both in the same minutes."


def _as_dict(found: Comparison) -> dict[str, object]:
    rmssd, hr = found.rmssd_ms, found.mean_hr_bpm
    limits = found.limits_of_agreement_ms
    return {
        "lag_s": found.lag_s,
        "matched_beats": int(found.pairs.shape[0]),
        "matched_share_a": found.matched_a,
        "matched_share_b": found.matched_b,
        "intervals": int(found.difference_ms.size),
        "interval_mean_absolute_ms": found.mean_absolute_ms,
        "interval_sd_ms": found.spread_ms,
        "interval_p95_ms": found.p95_ms,
        "interval_bias_ms": limits[0] if limits else None,
        "limits_of_agreement_ms": list(limits[1:]) if limits else None,
        "rmssd_a_ms": rmssd[0] if rmssd else None,
        "rmssd_b_ms": rmssd[1] if rmssd else None,
        "mean_hr_a_bpm": hr[0] if hr else None,
        "mean_hr_b_bpm": hr[1] if hr else None,
        "doubtful": doubtful(found),
    }


def _print(found: Comparison, name_a: str, name_b: str) -> None:
    from rich import box
    from rich.table import Table

    from dawnbeat.ui.terminal import console

    table = Table(box=box.SIMPLE, show_header=False, title=f"{name_a} against {name_b}", title_justify="left")
    table.add_column("")
    table.add_column("", justify="right")
    table.add_row("lag of the clocks", f"{signed(found.lag_s, 3)} s")
    table.add_row("beats matched within 150 ms", f"{found.pairs.shape[0]}")
    table.add_row(f"  share of {name_a}", f"{100 * found.matched_a:.1f} %")
    table.add_row(f"  share of {name_b}", f"{100 * found.matched_b:.1f} %")
    table.add_row("intervals that both keep", f"{found.difference_ms.size}")
    for title, value in (
        ("interval difference, mean absolute", found.mean_absolute_ms),
        ("  standard deviation", found.spread_ms),
        ("  95th percentile, absolute", found.p95_ms),
    ):
        table.add_row(title, "unknown" if value is None else f"{value:.2f} ms")
    rmssd, hr = found.rmssd_ms, found.mean_hr_bpm
    if rmssd is not None:
        bias = signed(rmssd[0] - rmssd[1], 2)
        table.add_row("RMSSD of both over the same intervals", f"{rmssd[0]:.2f} and {rmssd[1]:.2f} ms ({bias} ms)")
    if hr is not None:
        table.add_row("pulse of both", f"{hr[0]:.2f} and {hr[1]:.2f} bpm ({signed(hr[0] - hr[1], 2)} bpm)")
    screen = console()
    screen.print(table)
    screen.print(_verdict(found)[1])
