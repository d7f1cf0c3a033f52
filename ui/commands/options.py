"""What several commands share: options, the checks of what is typed, and the question before what can't be undone."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Generic, Protocol, TypeVar

import typer

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import STANDARD_OUTPUT, refuse_existing

if TYPE_CHECKING:
    from rich.console import RenderableType

    from dawnbeat.journal.store import Journal


class _Numbered(Protocol):
    @property
    def id(self) -> int: ...


Binned = TypeVar("Binned", bound=_Numbered)

JournalFolder = Annotated[
    Path | None,
    typer.Option(
        "--journal", metavar="FOLDER", help="Folder of the journal instead of the usual one (or set DAWNBEAT_HOME)."
    ),
]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", metavar="TOML", help="File of detection settings, as name = value.")
]
# What --save was called before; scripts go on working.
SaveAsBefore = Annotated[bool, typer.Option("--keep", hidden=True)]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing unless something goes wrong.")]
OneObject = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
ObjectsByLine = Annotated[bool, typer.Option("--json", help="Print JSON, one object a line.")]
BinAsJson = Annotated[bool, typer.Option("--json", help="List the bin as JSON, one object a line.")]
EmptyBin = Annotated[bool, typer.Option("--empty", help="Delete what is in the bin for good.")]
UnaskedBin = Annotated[bool, typer.Option("--yes", help="Don't ask before emptying.")]
CsvOut = Annotated[Path, typer.Argument(help="CSV file to write; - is standard output.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file of that name.")]
RunId = Annotated[int, typer.Argument(help="Number of the run, as `runs list` shows it.")]
First = Annotated[str | None, typer.Option("--from", help="First day, as 2025-03-01.")]
Last = Annotated[str | None, typer.Option("--to", help="Last day, as 2025-03-31.")]
SOURCE_HELP = (
    "Where frames come from: camera (the first one) or a camera's number, phone (its browser), an http, https or rtsp "
    "address, a recording, a video file, or rehearsal (an invented finger)."
)
VIDEO_HELP = "Save a small video too (off by default: privacy and size)."
Settle = Annotated[
    float,
    typer.Option(
        "--settle",
        help="Start after five seconds of good contact and so many more of lying still, with the camera locked; 0 "
        "starts with the first frame and locks nothing.",
    ),
]
Network = Annotated[
    str,
    typer.Option(help="With --source phone: this computer's address or card to open to the phone; else the usual one."),
]

_LONGEST_S = 12 * 3600.0
# How files of each kind of picture begin.
_PICTURES = {".png": (b"\x89PNG",), ".svg": (b"<?xml", b"<svg"), ".pdf": (b"%PDF",)}
_LONGEST = max(len(each) for begins in _PICTURES.values() for each in begins)


def open_journal(asked: Path | None, new: bool = False) -> Journal:
    """As `morning.choices.open_journal`, which takes a while to import: only commands that run do."""
    from dawnbeat.morning import choices

    return choices.open_journal(asked, new)


def show(*what: RenderableType, style: str | None = None) -> None:
    """Print tables and paragraphs on the terminal, broken between words where it ends."""
    from dawnbeat.ui.terminal import console

    screen = console()
    for each in what:
        screen.print(each, style=style)


def check_seconds(seconds: float, settle_s: float) -> None:
    """Raise DawnbeatError for a length that can't be recorded, or a settling that can't be."""
    if not 1.0 <= seconds <= _LONGEST_S:
        raise DawnbeatError(f"--seconds {seconds:g} is out of range: give 1 to {_LONGEST_S:.0f}")
    if not 0.0 <= settle_s <= 60.0:
        raise DawnbeatError(f"--settle {settle_s:g} is out of range: give 0 to 60 seconds")


def day_of(text: str) -> date:
    """A day by its ISO date or by today or yesterday; raises DawnbeatError for anything else."""
    if text in ("today", "yesterday"):
        return date.today() - timedelta(days=text == "yesterday")
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise DawnbeatError(f"{text!r} is not a day: write it like 2026-05-03, or today or yesterday") from None


def days_between(first: str | None, last: str | None) -> tuple[date | None, date | None]:
    """The two days, None where one is not given; raises DawnbeatError where the later one stands first."""
    start, end = (None if each is None else day_of(each) for each in (first, last))
    if start is not None and end is not None and start > end:
        raise DawnbeatError(f"nothing lies between {start} and {end}: give the earlier day first")
    return start, end


def check_picture(path: Path) -> None:
    """As `check_output` for a picture; a file of that name that is no such picture is somebody's own, and stays."""
    check_output(path)
    begins = _PICTURES.get(path.suffix.lower())
    if begins is None:
        raise DawnbeatError(f"can't write {one_line(path)}: give a name that ends in {', '.join(_PICTURES)}")
    if path.exists() and not _begins_with(path, begins):
        raise DawnbeatError(f"{one_line(path)} exists and is another file: choose another name")


def check_output(path: Path) -> None:
    """Raise DawnbeatError where a file can't be written: no such folder, or a folder or pipe of that name.

    `-`, the standard output, can be written to.
    """
    if path == STANDARD_OUTPUT:
        return
    refuse_existing(path, overwrite=True)
    if not path.parent.is_dir():
        raise DawnbeatError(f"can't write {one_line(path)}: there is no folder {one_line(path.parent)}, make it first")


def _begins_with(path: Path, begins: tuple[bytes, ...]) -> bool:
    """Whether a file begins like one of these; an empty one may be replaced."""
    try:
        with path.open("rb") as file:
            found = file.read(_LONGEST)
    except OSError:
        return False
    return not found or found.startswith(begins)


@dataclass(frozen=True)
class Bin(Generic[Binned]):
    """A bin of the journal. what: is put in it, such as "Reading". command: in words. line, content: of one thing."""

    what: str
    command: str
    put_in: Callable[[int], object]
    take_out: Callable[[int], object]
    held: Callable[[], Sequence[Binned]]
    delete: Callable[[list[int]], int]
    line: Callable[[Binned], str]
    content: Callable[[Binned], Mapping[str, Any]]


def use_bin(it: Bin[Binned], number: int | None, back: int | None, empty: bool, yes: bool, as_json: bool) -> None:
    """Do what is asked of a bin and say it, or list it. Raises DawnbeatError where two things are asked for."""
    from dawnbeat.ui.as_json import line_of

    if sum((number is not None, back is not None, empty)) > 1:
        raise DawnbeatError("give one of a number, --back and --empty")
    if number is not None:
        it.put_in(number)
        said = [f"{it.what} {number} is in the bin; `dawnbeat {it.command} --back {number}` takes it out again."]
    elif back is not None:
        it.take_out(back)
        said = [f"{it.what} {back} is out of the bin again."]
    elif empty:
        ids = [each.id for each in it.held()]
        if ids:
            ask_first(f"Delete {len(ids)} from the bin for good?", yes)
        said = [f"{it.delete(ids)} deleted for good."]
    else:
        said = [it.line(each) for each in it.held()] or ["The bin is empty."]
    for line in [line_of(it.content(each)) for each in it.held()] if as_json else said:
        typer.echo(line)


def ask_first(question: str, yes: bool) -> None:
    """Go on only with a yes; raises DawnbeatError where nobody can be asked or the answer is another."""
    if yes:
        return
    if not sys.stdin.isatty():
        raise DawnbeatError(f"{question} Nobody is there to ask: say --yes, nothing was changed")
    try:
        answer = input(f"{question} (yes/no) ").strip().lower()
    except EOFError:
        answer = ""
    if answer not in ("y", "yes"):
        raise DawnbeatError("nothing was changed")
