"""`dawnbeat read`: a morning reading without a window."""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, TextIO, cast

import typer

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.ui.commands.options import (
    SOURCE_HELP,
    VIDEO_HELP,
    JournalFolder,
    Network,
    Quiet,
    SettingsFile,
    Settle,
    check_seconds,
)

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.capture.frames import FrameSource
    from dawnbeat.morning.answering import Grounds
    from dawnbeat.morning.keeping import Kept
    from dawnbeat.morning.taking import Order, Taken
    from dawnbeat.shared.morning import StoredReading

_HOLD = "Lay a fingertip over the whole lens and hold still. A lamp can get hot: take the finger off before it hurts."
_CHOSEN = "; else as chosen under Settings"


def read(
    source: str | None = typer.Option(None, help=f"{SOURCE_HELP.rstrip('.')}{_CHOSEN}."),
    seconds: float | None = typer.Option(None, help=f"Length of the reading in seconds{_CHOSEN}."),
    settle_s: Settle = 15.0,
    network: Network = "",
    posture: str | None = typer.Option(None, help=f"lying, sitting or standing{_CHOSEN}."),
    context: str | None = typer.Option(
        None, metavar="WORDS", help='Your morning, such as: sleep=2 hours=7.5 run="10 km easy". Not asked for then.'
    ),
    ask: bool = typer.Option(True, "--ask/--no-ask", help="Ask for the context in one line at the end."),
    save: bool | None = typer.Option(
        None, "--save/--no-save", help="Save the reading in the journal; invented light only in another that you name."
    ),
    taken: str | None = typer.Option(
        None, metavar="WHEN", help='When a recording or video was taken, such as "2026-11-24 06:40"; else its own word.'
    ),
    video: bool | None = typer.Option(None, "--video/--no-video", help=f"{VIDEO_HELP.rstrip('.')}{_CHOSEN}."),
    as_json: bool = typer.Option(False, "--json", help="Print one JSON object and nothing else."),
    quiet: Quiet = False,
    settings: SettingsFile = None,
    journal: JournalFolder = None,
) -> None:
    """Take a morning reading and save it.

    Waits until the finger lies well, measures, says what it means and saves it. Stop early with Ctrl+C: what was
    captured is saved.
    """
    from dawnbeat.journal.listing import NOTHING, context_from_line
    from dawnbeat.morning.choices import ChoiceStore, chosen_home, reading_settings
    from dawnbeat.morning.flow import plan_without_buttons
    from dawnbeat.morning.reading_text import clock_line
    from dawnbeat.morning.taking import Order
    from dawnbeat.shared.morning import posture_from
    from dawnbeat.ui.commands.light import opener

    choices = ChoiceStore().load()
    words = choices.source_words if source is None else source
    if not words.strip():
        raise DawnbeatError("no address of a camera is given: type it under Settings, or say --source")
    length_s = float(choices.duration_s) if seconds is None else seconds
    check_seconds(length_s, settle_s)
    order = Order(
        open_source=opener(words, length_s + settle_s, network),
        plan=plan_without_buttons(length_s, settle_s),
        settings=reading_settings(settings),
        posture=choices.lies if posture is None else posture_from(posture),
        context=context_from_line(context) if context else NOTHING,
        video=choices.video if video is None else video,
        began=None if save is False else _began(words, taken),
    )
    talk = _Talk(as_json, quiet)
    if length_s < order.settings.min_duration_s:
        least = f"{order.settings.min_duration_s:.0f} s"
        talk.say(f"{length_s:g} s can't become usable: a reading needs at least {least}, and two minutes say most.")
    frames = order.open_source()
    try:
        home = chosen_home(journal) if _is_kept(frames, save, journal, talk) else None
        order = _with_folder(order, frames, home, talk)
        if frames.about.live:
            talk.say(_HOLD)
        got, kept = _take(order, home, quiet or as_json)
        if frames.about.doubt:
            talk.say(clock_line(frames.about.doubt))
    finally:
        frames.close()
    # Saved before anything is said or asked, so that a closed pipe or an answer that never comes costs nothing.
    talk.tell(got, kept, home)
    if ask and context is None and home is not None and kept.stored is not None and not quiet and not as_json:
        _ask(talk, home, kept.stored.id)
    talk.end(kept)


def _began(words: str, taken: str | None) -> datetime | None:
    """When the light was taken: now for a camera, else as said, or by the file's own word, or as answered."""
    from dawnbeat.morning.sources import file_named, taken_at
    from dawnbeat.shared.wording import moment_from, past_moment

    path = file_named(words)
    if path is None or not path.exists():
        if taken is not None and path is None:
            raise DawnbeatError("--taken is for a recording or a video: a camera's reading is of now")
        return None
    if taken is not None:
        return past_moment(moment_from(taken))
    found = taken_at(path)
    if found is not None:
        return found
    if sys.stdin.isatty():
        return past_moment(moment_from(input(f"When was {path.name} taken, such as 2026-11-24 06:40? ")))
    raise DawnbeatError(f'{one_line(path)} does not say when it was taken: say it with --taken "2026-11-24 06:40"')


def _is_kept(frames: FrameSource, save: bool | None, journal: Path | None, talk: _Talk) -> bool:
    """Whether the reading goes into a journal; raises DawnbeatError where invented light was to go into the own one."""
    from dawnbeat.morning.keeping import refuse_invented

    if save is False or not frames.about.invented:
        return save is not False
    if journal is not None or save:
        refuse_invented(journal)
        return True
    talk.say("This light is invented, for trying things out: it is not saved in your journal.")
    return False


def _with_folder(order: Order, frames: FrameSource, home: Path | None, talk: _Talk) -> Order:
    """The order with the source that is open, and with the journal's folder to record into."""
    from dataclasses import replace

    from dawnbeat.morning.keeping import check_can_keep, folders_in

    order = replace(order, open_source=lambda: frames, keep_invented=frames.about.invented and home is not None)
    if home is None:
        return order
    check_can_keep(home)
    return replace(order, new_folder=folders_in(home))


def _take(order: Order, home: Path | None, silently: bool) -> tuple[Taken, Kept]:
    from dawnbeat.morning.choices import chosen_ranges
    from dawnbeat.morning.keeping import keep_taken
    from dawnbeat.ui.terminal import take_in_terminal

    got = take_in_terminal(order, silently)
    if not len(got.trace):
        raise DawnbeatError(f"no frame was captured that counts, nothing is saved: {got.ended.why}")
    return got, keep_taken(got, order, home, chosen_ranges())


@dataclass
class _Talk:
    """What is printed, and to whom. An output that is closed or full takes nothing away from the reading."""

    as_json: bool
    quiet: bool

    def __post_init__(self) -> None:
        from dawnbeat.ui.terminal import console

        self.out = _Steadfast(sys.stdout)
        self.screen: Console = console(cast(IO[str], self.out))

    def say(self, *what: Any) -> None:
        """Print on the output, unless that holds JSON or nothing."""
        if not self.as_json and not self.quiet:
            self.screen.print(*what)

    def tell(self, got: Taken, kept: Kept, home: Path | None) -> None:
        """The reading, and what became of it."""
        from dawnbeat.morning.reading_text import ended_sentence
        from dawnbeat.ui.as_json import reading_line
        from dawnbeat.ui.terminal import NOT_MEDICAL, reading

        ended = ended_sentence(got.ended, got.folder is not None)
        if self.as_json:
            self.screen.print(reading_line(kept, ended), soft_wrap=True)
            return
        if kept.grounds is not None:
            self._answer(kept.grounds)
        if ended:
            self.say(ended)
        self.say()
        self.say(reading("this reading", kept.analysis))
        if not self.quiet:
            self.screen.print(NOT_MEDICAL, style="italic")
        if kept.stored is not None:
            self.say()
            if not kept.known:
                self.say(f"Saved as reading {kept.stored.id}.{self._other(kept.stored)}")
            if kept.notice:
                self.say(kept.notice)

    def _answer(self, drawn_from: Grounds) -> None:
        from dawnbeat.morning.answer_text import NOT_FOR, lines

        for line in lines(drawn_from.answer()):
            self.say(line)
        if len(drawn_from.mornings) == 1:
            self.say(NOT_FOR)

    @staticmethod
    def _other(stored: StoredReading) -> str:
        if stored.counts or not stored.verdict.usable:
            return ""
        day = stored.local_date
        return f" Another one of that day counts; `dawnbeat note {day} --pick {stored.id}` lets this one count."

    def end(self, kept: Kept) -> None:
        """Raise DawnbeatError where the reading could not be saved, and say where it could not be shown."""
        if kept.trouble:
            raise DawnbeatError(
                f"the reading is not saved yet ({kept.trouble}); nothing is lost, and `dawnbeat rescue` saves it"
            )
        if self.out.failed is not None:
            where = "was not saved" if kept.stored is None else f"is saved as reading {kept.stored.id}"
            print(f"dawnbeat: the output took nothing more ({self.out.failed}): the reading {where}", file=sys.stderr)


class _Steadfast(io.TextIOBase):
    """An output that never raises: what it can't write goes nowhere, and `failed` says why."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self.failed: str | None = None

    def write(self, text: str) -> int:
        """Write and flush, so that a fault shows here and not at the end of the program."""
        if self.failed is None:
            try:
                self._stream.write(text)
                self._stream.flush()
            except (OSError, ValueError) as error:
                from dawnbeat.ui.main import let_output_go

                self.failed = one_line(getattr(error, "strerror", None) or error)
                let_output_go()
        return len(text)

    def isatty(self) -> bool:
        """Whether a person reads it."""
        return self._stream.isatty()

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """As the stream below."""
        return self._stream.encoding


def _ask(talk: _Talk, home: Path, reading_id: int) -> None:
    """Ask for the context in one line, again where it isn't understood."""
    from dawnbeat.journal.listing import HELP, context_from_line
    from dawnbeat.journal.store import Journal
    from dawnbeat.morning.answer_text import cautions, headline, lead
    from dawnbeat.morning.answering import grounds, keep_answer
    from dawnbeat.morning.choices import chosen_ranges

    if not sys.stdin.isatty():
        return
    talk.say()
    talk.say(f"How are you? One line, or Enter for nothing: {HELP}")
    with Journal.open(home) as journal:
        while line := _answer():
            try:
                stored = journal.edit_context(reading_id, context_from_line(line))
                drawn_from = grounds(journal, stored.local_date, chosen_ranges())
                keep_answer(journal, stored, drawn_from)
                answer = drawn_from.answer()
                talk.say(f"With that: {headline(answer)}. {lead(answer)}")
                for each in cautions(answer):
                    talk.say(each)
                return
            except DawnbeatError as error:
                talk.say(str(error))


def _answer() -> str:
    """One line from the keyboard; nothing where the runner ends the asking with Ctrl+D or Ctrl+C."""
    try:
        return input("> ").strip()
    except (EOFError, KeyboardInterrupt, OSError):
        return ""
