"""`dawnbeat replay`: recordings analysed again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError, one_line

if TYPE_CHECKING:
    from dawnbeat.shared.reading import Analysis
    from dawnbeat.shared.settings import Settings


def replay(
    recordings: list[Path] = typer.Argument(..., help="Recordings: folders, CSV, .csv.gz or video files."),
    settings: Path | None = typer.Option(None, help="TOML file of detection settings."),
    plot: Path | None = typer.Option(None, help="Write a PNG of trace, beats and intervals."),
    from_s: float | None = typer.Option(None, "--from", help="Only from this second of the recording."),
    to_s: float | None = typer.Option(None, "--to", help="Only up to this second of the recording."),
    channel: str | None = typer.Option(None, help="auto, red, green or blue instead of the setting."),
    json: bool = typer.Option(False, "--json", help="One JSON object a line and a recording, in the order given."),
) -> None:
    """Analyse recordings and print their readings."""
    chosen = chosen_settings(settings, channel)
    if from_s is not None and to_s is not None and to_s <= from_s:
        raise DawnbeatError(f"--to {to_s:g} is not after --from {from_s:g}: give a later second")
    failed = 0
    for path, outcome in zip(recordings, _outcomes(recordings, chosen, from_s, to_s), strict=True):
        if isinstance(outcome, str):
            failed += 1
            print(f"dawnbeat: {outcome}", file=sys.stderr, flush=True)
            continue
        if json:
            from dawnbeat.ui.as_json import json_line

            print(json_line(str(path), outcome), flush=True)
        else:
            from dawnbeat.ui.report import console, reading

            console().print(reading(str(path), outcome))
        if plot is not None:
            from dawnbeat.ui.plot import plot_reading

            out = plot if len(recordings) == 1 else plot.with_name(f"{plot.stem}-{path.stem}{plot.suffix or '.png'}")
            plot_reading(path.name, outcome, out)
    if failed:
        raise typer.Exit(2)


def chosen_settings(path: Path | None, channel: str | None = None) -> Settings:
    """The settings of a TOML file, or the defaults, with the channel replaced where one is named."""
    import dataclasses

    from dawnbeat.shared.settings import Settings, settings_from_toml

    settings = settings_from_toml(path) if path is not None else Settings()
    return dataclasses.replace(settings, channel=channel) if channel is not None else settings


def _outcomes(
    paths: list[Path], settings: Settings, from_s: float | None, to_s: float | None
) -> list[Analysis | str] | map[Analysis | str]:
    """The analysis of each recording in order, or in its place what is wrong with it; several use all cores."""
    if len(paths) == 1:
        return [_analyse_one((paths[0], settings, from_s, to_s))]
    import os
    from concurrent.futures import ProcessPoolExecutor

    jobs = [(path, settings, from_s, to_s) for path in paths]
    workers = min(len(paths), len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(_analyse_one, jobs, chunksize=max(1, min(8, len(jobs) // (4 * workers)))))


def _analyse_one(job: tuple[Path, Settings, float | None, float | None]) -> Analysis | str:
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
