"""`dawnbeat replay`: recordings analysed again."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.ui.output_files import check_picture

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

    from dawnbeat.shared.reading import Analysis
    from dawnbeat.shared.settings import Settings


# Starting processes costs more than analysing so few.
_FEW = 4
SETTINGS_HELP = "File of detection settings, as name = value."


def replay(
    recordings: list[Path] = typer.Argument(..., help="Recordings: folders, CSV, .csv.gz or video files."),
    settings: Path | None = typer.Option(None, metavar="TOML", help=SETTINGS_HELP),
    plot: Path | None = typer.Option(
        None, metavar="PICTURE", help="Draw trace, beats and intervals; several recordings get a picture each."
    ),
    from_s: float | None = typer.Option(None, "--from", help="Only from this second of the recording's clock."),
    to_s: float | None = typer.Option(None, "--to", help="Only up to this second of the recording's clock."),
    channel: str | None = typer.Option(None, help="auto, red, green or blue, instead of what the settings say."),
    json: bool = typer.Option(False, "--json", help="One JSON object a line and a recording, in the order given."),
) -> None:
    """Analyse recordings and print their readings.

    A recording that can't be read gets a line of its own, the others are analysed all the same, and the exit code is 2.
    """
    import math

    chosen = chosen_settings(settings, channel)
    for option, second in (("--from", from_s), ("--to", to_s)):
        if second is not None and not math.isfinite(second):
            raise DawnbeatError(f"{option} {second:g} is no time: give seconds")
    if from_s is not None and to_s is not None and to_s <= from_s:
        raise DawnbeatError(f"--to {to_s:g} is not after --from {from_s:g}: give a later second")
    if plot is not None:
        check_picture(plot)
    pictures = _pictures(plot, recordings)
    failed = 0
    # Closed at once whatever happens, so that Ctrl+C between two recordings doesn't wait for all the others.
    with (
        contextlib.closing(_outcomes(recordings, chosen, from_s, to_s)) as outcomes,
        _progress(len(recordings)) as step,
    ):
        for path, picture, outcome in zip(recordings, pictures, outcomes, strict=True):
            step()
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
            if picture is not None:
                from dawnbeat.ui.plot import plot_reading

                try:
                    plot_reading(path.resolve().name, outcome, picture)
                except DawnbeatError as error:  # the readings stand without pictures
                    failed += 1
                    print(f"dawnbeat: {one_line(error)}", file=sys.stderr, flush=True)
                    pictures[:] = [None] * len(recordings)
    if failed:
        raise typer.Exit(2)


@contextlib.contextmanager
def _progress(count: int) -> Iterator[Callable[[], object]]:
    """A bar on the error output where the readings themselves go elsewhere; called once a recording."""
    if sys.stdout.isatty() or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("recordings", total=count)
        yield lambda: bar.advance(task)


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
        number, picture = 1, plot.with_name(f"{name}{plot.suffix}")
        while picture in pictures:
            number += 1
            picture = plot.with_name(f"{name}-{number}{plot.suffix}")
        pictures.append(picture)
    return pictures


def _outcomes(
    paths: list[Path], settings: Settings, from_s: float | None, to_s: float | None
) -> Generator[Analysis | str, None, None]:
    """The analysis of each recording in order, or in its place what is wrong with it; several use all cores."""
    jobs = [(path, settings, from_s, to_s) for path in paths]
    if len(jobs) <= _FEW:
        yield from map(_analyse_one, jobs)
        return
    import os

    from dawnbeat.shared.processes import Processes

    workers = min(len(jobs), len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)
    yield from Processes(_analyse_one, workers, "the analysis", "replay fewer recordings at a time").in_order(jobs)


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
