"""`dawnbeat demo` and `dawnbeat rehearse`: what can be tried without a camera, and recordings whose truth is known."""

from __future__ import annotations

import os
import shlex
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import numbered
from dawnbeat.ui.display import is_seen

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.recordings.invented.faults import Stretch
    from dawnbeat.recordings.invented.scenario import Scenario

_SECONDS = 120.0
_USUAL_SWING = 0.05


def demo(
    out: Path | None = typer.Option(
        None, metavar="FOLDER", help="New or empty folder for what the demo writes; one is made here unless given."
    ),
    window: bool = typer.Option(
        True, "--window/--no-window", help="End by opening the window, where there is a display."
    ),
) -> None:
    """Show everything once, without a camera.

    Plays a shipped fingertip video through the path that a camera's frames take, then shows an invented runner's
    mornings. Writes only into its own folder.
    """
    from dawnbeat.ui.terminal import NOT_MEDICAL, console

    screen = console()
    folder = _new_folder(out)
    _reading(screen, folder)
    home = folder / "journal"
    screen.print()
    _mornings(screen, home)
    screen.print()
    screen.print(NOT_MEDICAL, style="italic")
    screen.print()
    _next_steps(screen, folder)
    if window and is_seen():
        screen.print("The window opens on the invented journal; close it to end the demo.")
        from dawnbeat.ui.window.shell.main_window import run_window

        raise typer.Exit(run_window(home, "mornings", folder / "settings"))


def _next_steps(screen: Console, folder: Path) -> None:
    """What to type next, written so that it can be copied."""
    program = _program()
    screen.print("What to do next:", style="bold")
    for step, words in (
        ("see which cameras there are", "cameras"),
        ("take your own reading; a lamp can get hot: take the finger off before it hurts", "read"),
        ("try that without a camera, with an invented finger", "read --source rehearsal --no-save"),
        ("analyse this recording again", f"replay {shlex.quote(str(folder / 'recording'))}"),
        ("look at the invented runner's mornings again", f"mornings --journal {shlex.quote(str(folder / 'journal'))}"),
        ("and at the runs", f"runs week --journal {shlex.quote(str(folder / 'journal'))}"),
        ("everything else", "--help"),
    ):
        screen.print(f"  {step}:", soft_wrap=True)
        screen.print(f"    {program} {words}", soft_wrap=True)


def _program() -> str:
    """How this program is started from here: by its name where the shell finds it, else by its path."""
    started = Path(sys.argv[0])
    if not started.name.startswith("dawnbeat"):
        return "dawnbeat"
    found = shutil.which("dawnbeat")
    same = found is not None and Path(found).resolve() == started.resolve()
    return "dawnbeat" if same else shlex.quote(str(started))


def _reading(screen: Console, folder: Path) -> None:
    """The shipped video through decoder, gauge, recorder, live and final analysis."""
    from dawnbeat.capture.recording import read_recording
    from dawnbeat.morning.flow import plan_without_buttons
    from dawnbeat.morning.sources import open_source
    from dawnbeat.morning.taking import Order
    from dawnbeat.shared.installed import shipped_recording
    from dawnbeat.signal.analysis import analyse
    from dawnbeat.ui.plot import plot_reading
    from dawnbeat.ui.terminal import reading, take_in_terminal

    screen.print("An invented finger, shipped as a video, takes the way of a camera's frames.", style="bold")
    recording = folder / "recording"
    taken = take_in_terminal(
        Order(
            open_source=lambda: open_source(str(shipped_recording("rehearsal.avi"))),
            plan=plan_without_buttons(_SECONDS, 0.0),
            new_folder=lambda _began: recording,
            keep_invented=True,
        )
    )
    taken.let_go()
    screen.print(f"{len(taken.trace)} frames, {taken.dropped} dropped; {taken.ended.why}")
    analysis = analyse(read_recording(recording).trace)
    picture = folder / "reading.png"
    try:
        plot_reading("invented finger", analysis, picture)
        drawn = f"  picture:   {picture}"
    except DawnbeatError as error:  # the reading stands without it
        drawn = f"  no picture: {error}"
    screen.print()
    screen.print(reading("invented finger", analysis))
    screen.print(f"  recording: {recording}", soft_wrap=True)
    screen.print(drawn, soft_wrap=True)


def _mornings(screen: Console, home: Path) -> None:
    """An invented runner's journal, and where today stands in it."""
    from datetime import date

    from dawnbeat.journal.store import Journal
    from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
    from dawnbeat.recordings.invented.runs import fill_with_invented_runs
    from dawnbeat.ui.commands.mornings import print_mornings

    with Journal.open(home) as journal:
        count = fill_with_invented_mornings(journal, date.today())
        screen.print(f"The last two weeks of an invented runner's journal of {count} readings:", style="bold")
        print_mornings(screen, journal, date.today(), weeks=2)
        runs = fill_with_invented_runs(journal, date.today())
        screen.print(f"Beside them the journal holds {runs} runs of the same invented runner, and zones.")


def _new_folder(out: Path | None) -> Path:
    """A folder for the user alone: the one named, else a new one here, or among the temporary files.

    Raises DawnbeatError when the one named holds something already or can't be made.
    """
    from dawnbeat.capture.recording import new_folder

    if out is not None:
        return new_folder(out)
    if not os.access(Path.cwd(), os.W_OK):
        return Path(tempfile.mkdtemp(prefix="dawnbeat-demo-"))
    return new_folder(next(each for each in map(Path, numbered("dawnbeat-demo")) if not each.exists()))


def rehearse(
    out: Path = typer.Argument(..., help="Folder for the recording; it must be new or empty."),
    seconds: float = typer.Option(120.0, help="Length in seconds."),
    seed: int = typer.Option(1, help="A whole number; another seed is another morning."),
    fps: float = typer.Option(30.0, help="Frames a second: 5 to 240."),
    light: str = typer.Option("lamp", help="lamp (a phone with its lamp on) or room (a webcam in room light)."),
    rate_bpm: float = typer.Option(55.0, "--rate", help="Mean pulse: 35 to 180 bpm."),
    rmssd_ms: float = typer.Option(45.0, "--rmssd", help="RMSSD without premature beats: 0 to 250 ms."),
    breathing_depth: float | None = typer.Option(
        None, help="Swing of the interval with breathing, as a share of it: 0 to 0.2; follows --rmssd unless given."
    ),
    dicrotic: float = typer.Option(0.35, help="Height of the second wave beside the first: 0 to 1.2."),
    premature: float = typer.Option(0.0, help="Share of premature beats: 0 to 0.2."),
    drift: float = typer.Option(0.004, help="Slow wander of brightness with pressure, as a share of it: 0 to 0.5."),
    noise: float = typer.Option(1.0, help="Noise of the camera, times the usual: 0 to 500."),
    jitter_ms: float = typer.Option(1.0, "--jitter", help="Uneven pace of the frames: 0 to 15 ms."),
    dropped: float = typer.Option(0.0, help="Share of frames that never come: 0 to 0.8."),
    move: list[str] = typer.Option(
        [],
        metavar="AT:SECONDS[:SWING]",
        help="Movement from this second for so long; the swing is a share of the brightness (0.05). Repeatable.",
    ),
    lift: list[str] = typer.Option(
        [], metavar="AT:SECONDS", help="Finger off the lens from this second for so long. Repeatable."
    ),
    exposure: list[str] = typer.Option(
        [], metavar="AT:FACTOR", help="Brightness times a factor of 0.2 to 5 from this second on. Repeatable."
    ),
    dim_at_s: float | None = typer.Option(None, "--dim-at", help="From this second the frame rate halves."),
    video: bool = typer.Option(False, "--video", help="Write video.avi too."),
) -> None:
    """Write an invented recording with known beats.

    beats.csv beside it holds the true beats; `dawnbeat agree OUT OUT/beats.csv` shows how well they are found.
    """
    from dataclasses import replace

    from dawnbeat.recordings.invented.faults import ExposureStep, Faults, RateChange, Stretch
    from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, ROOM_FINGER
    from dawnbeat.recordings.invented.heart import Rhythm, Wave
    from dawnbeat.recordings.invented.scenario import Scenario

    if light not in ("lamp", "room"):
        raise DawnbeatError(f"--light {light!r} is unknown: say lamp or room")
    if not 0.0 <= noise <= 500.0:
        raise DawnbeatError(f"--noise {noise:g} is out of range: give 0 to 500")
    if not 1.0 <= seconds <= 36000.0:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 1 to 36000")
    finger = LAMP_FINGER if light == "lamp" else ROOM_FINGER
    levels = tuple(min(20.0, noise * level) for level in finger.noise)
    steps = [_numbers(text, 2, "--exposure", "AT:FACTOR", "60:1.5") for text in exposure]
    scenario = Scenario(
        rhythm=Rhythm(
            mean_hr_bpm=rate_bpm,
            rmssd_ms=rmssd_ms,
            breathing_depth=breathing_depth,
            premature_share=premature,
            seed=seed,
        ),
        finger=replace(finger, wave=Wave(dicrotic=dicrotic), noise=(levels[0], levels[1], levels[2])),
        faults=Faults(
            drift=drift,
            movement=tuple(_movement(text) for text in move),
            lifted=tuple(Stretch(*_numbers(text, 2, "--lift", "AT:SECONDS", "40:8")) for text in lift),
            exposure=tuple(ExposureStep(time_s, factor) for time_s, factor in steps),
            rate=(RateChange(dim_at_s, fps / 2.0),) if dim_at_s is not None else (),
            jitter_ms=jitter_ms,
            dropped_share=dropped,
        ),
        duration_s=seconds,
        rate_hz=fps,
        seed=seed,
        description=f"an invented finger, seed {seed}",
    )
    _write(out, scenario, video)
    print(f"{out}: {seconds:g} s of an invented finger with {scenario.beats_s.size} beats")


def _write(out: Path, scenario: Scenario, video: bool) -> None:
    from datetime import datetime

    from dawnbeat.capture.recording import VIDEO, write_recording
    from dawnbeat.recordings.invented.finger_video import REHEARSAL_CAMERA

    about = {
        "began": datetime.now().astimezone().isoformat(timespec="seconds"),
        "camera": REHEARSAL_CAMERA,
        "nominal_rate_hz": scenario.rate_hz,
        "dropped_frames": int(scenario.light().dropped_before.sum()),
        "controls": {},
        "notes": f"invented: {scenario.description}",
        "invented": True,
        "seed": scenario.seed,
    }
    write_recording(out, scenario.trace(), about, scenario.beats_s)
    if video:
        from dawnbeat.recordings.invented.finger_video import write_video

        write_video(out / VIDEO, scenario)


def _movement(text: str) -> Stretch:
    from dawnbeat.recordings.invented.faults import Stretch

    numbers = _numbers(text, 2, "--move", "AT:SECONDS or AT:SECONDS:SWING", "40:8", optional=1)
    return Stretch(numbers[0], numbers[1], numbers[2] if len(numbers) > 2 else _USUAL_SWING)


def _numbers(text: str, count: int, option: str, form: str, example: str, optional: int = 0) -> tuple[float, ...]:
    try:
        numbers = tuple(float(part) for part in text.split(":"))
    except ValueError:
        numbers = ()
    if not count <= len(numbers) <= count + optional:
        raise DawnbeatError(f"{option} {text!r} can't be read: give {form}, such as {option} {example}")
    return numbers
