"""The page Read: a morning reading with a camera, from the first look at the lens to the figures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QPushButton, QStackedWidget, QWidget

from dawnbeat.capture.frames import FrameSource
from dawnbeat.capture.recording import is_video
from dawnbeat.morning.background import BackgroundReading, LiveFigures, Outcome
from dawnbeat.morning.flow import Phase, Plan, plan_without_buttons
from dawnbeat.morning.keeping import Kept, saved
from dawnbeat.morning.reading_text import clock_line, phone_line
from dawnbeat.morning.sources import file_named, is_phone, open_source, rehearsal_or
from dawnbeat.morning.taking import Order, Snapshot
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import capital
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.read.finger import FingerView
from dawnbeat.ui.window.read.phone import PhoneView
from dawnbeat.ui.window.read.reading import ReadingView, Tone, Which
from dawnbeat.ui.window.read.start import StartView, read_file

if TYPE_CHECKING:
    from pathlib import Path

    from dawnbeat.capture.phone.link import News
    from dawnbeat.capture.phone.server import PhoneServer
    from dawnbeat.ui.window.read.result import ResultView

_LOOK_EVERY_MS = 30
_CLOSING_S = 10.0
# While the finger is off, eyes may be closed: the tone calls again.
_CALL_AGAIN_S = 10.0
# The invented finger lies still for as long as somebody may look at it before the reading begins.
_REHEARSAL_SPARE_S = 90.0

_SAID: dict[Phase, str] = {
    "finger": "Lay your fingertip on the lens.",
    "settling": "Settling: lie still.",
    "reading": "The reading runs.",
    "paused": "Paused: put the finger back on the lens.",
}


def make_page(context: AppContext) -> ReadPage:
    """The page."""
    return ReadPage(context)


class ReadPage(PageWidget):
    """Shows one of four views, and asks the capture thread for news while one runs.

    open_source, plan: in place of what the choices say; make_reading: in place of BackgroundReading; for tests.
    """

    key = "read"
    title = "Read"

    def __init__(
        self,
        context: AppContext,
        open_source: Callable[[], FrameSource] | None = None,
        plan: Plan | None = None,
        make_reading: Callable[..., BackgroundReading] = BackgroundReading,
    ) -> None:
        super().__init__(context)
        self._open_source, self._plan, self._make_reading = open_source, plan, make_reading
        self.figures = LiveFigures()
        context.live_figures = self.figures
        self.tone = Tone()
        self.capture: BackgroundReading | None = None
        self._last_capture: BackgroundReading | None = None
        self._rehearsing = False
        self._phase: Phase | None = None
        self._told_stage = ""
        self._sounded_s = 0.0
        self.start = StartView(context, self.tone.available)
        self.finger = FingerView(context, self.figures)
        self.live = ReadingView(context, self.figures)
        self._result: ResultView | None = None
        self.stack = QStackedWidget()
        self.phone = PhoneView(context)
        self._server: PhoneServer | None = None
        self._elsewhere: str | None = None
        self._hung_up = self._by_phone = self._clock_said = False
        for view in (self.start, self.finger, self.live, self.phone):
            self._add(view)
        stack(self, self.stack)
        self._timer = QTimer(self, interval=_LOOK_EVERY_MS, timerType=Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._look)
        self.start.begin.connect(self.begin)
        self.finger.start_now.connect(self._start_now)
        self.finger.cancel.connect(self._cancel)
        self.live.back.connect(self._cancel)
        self.live.stop.connect(self._stop)
        self.live.discard.connect(self._discard)
        self.start.phone.connect(self.use_phone)
        self.phone.opened.connect(self._phone_open)
        self.phone.failed.connect(self._phone_failed)
        self.start.file.connect(lambda path: read_file(context, path, self.begin_file, self))
        self.phone.cancel.connect(self._cancel)
        self.phone.elsewhere.connect(self._open_elsewhere)
        context.journal_changed.connect(self._journal_changed)

    @property
    def result(self) -> ResultView:
        """The view of the result, made when it is first needed."""
        if self._result is None:
            from dawnbeat.ui.window.read.result import ResultView

            view = ResultView(self.context)
            view.done.connect(self._done)
            view.again.connect(self._again)
            view.try_saving.connect(self._try_saving)
            self._add(view)
            self._result = view
        return self._result

    def _add(self, view: QWidget) -> None:
        self.stack.addWidget(view)
        for button in view.findChildren(QPushButton):
            button.setAutoDefault(True)  # so that Return presses the one that has the focus, as Space does

    # As a page

    def shown(self, what: Any = None) -> None:
        """Offer what was broken off, and put the focus on the one thing to press."""
        if self.capture is None:
            self.start.offer.look()
        self.start.say_today()
        self._focus()

    def hidden(self) -> None:
        """A finger that is only being placed lets the camera go; a reading that runs goes on."""
        if self.phone.opening or (self.capture is not None and self._phase in (None, "finger")):
            self._cancel()
        if self._shows_result:
            self.result.keep_context()

    def busy(self) -> str | None:
        """A reading that closing would break off."""
        if self.capture is None or self._phase in (None, "finger"):
            return None
        if self._rehearsing:
            return "A rehearsal is running; nothing of it is saved."
        return "A reading is running; what there is so far is not lost if you close now."

    def closing(self) -> None:
        """Keep what was captured: it is offered at the next start."""
        self._timer.stop()
        if self.capture is not None:
            self.capture.leave()
            self._hang_up()
            self.capture.join(_CLOSING_S)
        elif self._shows_result:
            self.result.keep_context()
        self.tone.stop()

    # The reading

    def begin(self) -> None:
        """Open the source and place the finger."""
        if self._busy:
            return
        words = "" if self.start.rehearsing else self.context.source or ""
        if is_phone(words):
            self.use_phone()
            return
        if (path := file_named(words)) is not None:
            read_file(self.context, path, self.begin_file, self)
            return
        rehearsing = self.start.rehearsing
        opener = self._open_source or self._source_opener("rehearsal" if rehearsing else "")
        self._begin(opener, self.finger, rehearsing=rehearsing)

    def begin_file(self, path: Path, taken: datetime) -> None:
        """Make a reading of a file, of when it was taken."""
        if self._busy:
            return
        # What was recorded counts from its first frame; a clip begins with a finger that is being placed.
        plan = None if is_video(path) else plan_without_buttons(float(self.context.choices.duration_s), settle_s=0.0)
        self._begin(lambda: open_source(str(path)), self.finger, plan, taken)

    def use_phone(self, where: str = "") -> None:
        """Open an address for a phone, and show the way there. where: one of this computer's, else the usual one."""
        if self._busy:
            return
        self.start.show_trouble("")
        self._show(self.phone)
        self.phone.begin(where)

    def _phone_open(self, server: PhoneServer) -> None:
        from dawnbeat.capture.phone.source import wait_for_phone

        self._server, self._clock_said = server, False
        self._begin(lambda: wait_for_phone(server), self.phone)

    def _phone_failed(self, why: str) -> None:
        self._show(self.start)
        self.start.show_trouble(f"{capital(why)}.")
        self.context.say(why)

    def _open_elsewhere(self, ip: str) -> None:
        self._elsewhere = ip
        self._cancel()

    @property
    def _busy(self) -> bool:
        return self.phone.opening or (self.capture is not None and self.capture.outcome is None)

    def _begin(
        self,
        opener: Callable[[], FrameSource],
        first: QWidget,
        plan: Plan | None = None,
        began: datetime | None = None,
        rehearsing: bool = False,
    ) -> None:
        on_phone = self._server is not None
        self._rehearsing, self._by_phone, self._hung_up = rehearsing, on_phone, False
        choices = self.context.choices
        order = Order(
            open_source=opener,
            began=began,
            plan=plan or self._plan or Plan(duration_s=float(choices.duration_s)),
            posture=choices.lies,
            settings=self.context.detection,
            video=choices.video,
        )
        self.figures.reset()
        self._phase, self._told_stage = None, ""
        home = None if rehearsing else self.context.home
        self.capture = self._make_reading(order, home, self.context.ranges, self.figures, after=self._last_capture)
        self.start.show_trouble("")
        self.finger.opening(rehearsing, on_phone)
        self.live.begin(rehearsing, on_phone)
        self._show(first)
        self.capture.start()
        self._timer.start()

    def _source_opener(self, instead: str) -> Callable[[], FrameSource]:
        choices = self.context.choices
        words = instead or self.context.source or choices.source_words
        seconds, seed = choices.duration_s + _REHEARSAL_SPARE_S, datetime.now().toordinal() % 1000

        def opened() -> FrameSource:
            if not words:
                raise DawnbeatError("no address of a stream is given: type it under Settings")
            return rehearsal_or(words, seconds, seed)()

        return opened

    def _look(self) -> None:
        capture = self.capture
        assert capture is not None  # the timer stops with it
        moment = capture.take()
        if moment is not None and capture.outcome is None:
            self._show_moment(moment, capture.order.plan)
        elif self._server is not None and self._phase is not None:
            self._say_of_phone(self._server.news)
        if capture.stage == "working" and self._told_stage != "working":
            self._told_stage = "working"
            self._show(self.live)
            self.live.working()
            self._sound("end")
        if capture.outcome is not None:
            self._timer.stop()
            self._finish(capture.outcome)

    def _say_of_phone(self, news: News) -> None:
        """Why no frames come from the phone, where that is known; and once, that its clock is not to be trusted."""
        if news.clock and not self._clock_said:
            self._clock_said = True
            self.context.say(clock_line(news.clock))
        if news.trouble or news.hidden or news.unheard_s > 0:
            (self.finger if self._phase == "finger" else self.live).say(phone_line(news))

    def _show_moment(self, moment: Snapshot, plan: Plan) -> None:
        if moment.phase == "over":
            return
        if moment.phase != self._phase:
            before, self._phase = self._phase, moment.phase
            said = _SAID[moment.phase]
            if before is None and self._server is not None:
                said = f"{phone_line(self._server.news)} {said}"
            self._show(self.finger if moment.phase == "finger" else self.live)
            self.context.say(said)
            if moment.phase in ("reading", "paused"):
                self._sound("pause" if moment.phase == "paused" else "start")
                self._sounded_s = moment.time_s
        if moment.phase == "paused" and moment.time_s - self._sounded_s >= _CALL_AGAIN_S:
            self._sound("pause")
            self._sounded_s = moment.time_s
        if moment.phase == "finger":
            self.finger.show_moment(moment, plan)
        else:
            self.live.show_moment(moment, plan)

    def _finish(self, outcome: Outcome) -> None:
        self._last_capture, self.capture = self.capture, None
        self._phase = None
        self._server = None
        elsewhere, self._elsewhere = self._elsewhere, None
        if elsewhere is not None:
            self.use_phone(elsewhere)
            return
        if outcome.kept is None:
            self._show(self.start)
            why = outcome.ended.why if outcome.ended.broken and not self._hung_up else ""
            told = f"{capital(why.removesuffix('.'))}." if why else ""
            self.start.show_trouble(told)
            self.context.say(told or "No reading was taken.")
            self._focus()
            return
        self.result.show_outcome(outcome, self._rehearsing)
        self._show(self.result)
        self.context.say(self.result.in_short(outcome))
        if outcome.kept.stored is not None:
            self.context.journal_changed.emit()

    def _start_now(self) -> None:
        if self.capture is not None:
            self.capture.begin_now()

    def _cancel(self) -> None:
        if self.capture is not None:
            self.capture.cancel()
            self._hang_up()
        elif self.phone.opening:
            self.phone.give_up()
            self._show(self.start)

    def _hang_up(self) -> None:
        """Let a phone that is still being waited for go; the address closes by itself then."""
        if self._server is not None and self._phase is None:
            self._hung_up = True
            self._server.link.over("it was stopped on the computer")

    def _stop(self) -> None:
        if self.capture is not None:
            self.capture.stop()

    def _discard(self) -> None:
        if self.capture is not None:
            self.capture.discard()

    # After it

    def _done(self) -> None:
        self.result.keep_context()
        self._show(self.start)
        self.start.say_today()

    def _again(self) -> None:
        self.result.keep_context()
        if self._by_phone:
            self.use_phone()
        else:
            self.begin()

    def _try_saving(self) -> None:
        kept = self.result.kept
        assert kept is not None
        home, ranges = self.context.home, self.context.ranges
        self.result.save_again.setEnabled(False)
        self.context.background.run(lambda _task: saved(kept, home, ranges), self._tried, self.context.say)

    def _tried(self, kept: Kept) -> None:
        self.result.save_again.setEnabled(True)
        self.result.ended.setText("")
        self.result.show_kept(kept)
        self.context.say(kept.trouble or "The reading is saved.")
        if kept.stored is not None:
            self.context.journal_changed.emit()

    def _journal_changed(self) -> None:
        if self._shows_result:
            self.result.refresh()
        self.start.say_today()

    # Small things

    @property
    def _shows_result(self) -> bool:
        return self._result is not None and self.stack.currentWidget() is self._result

    def _sound(self, which: Which) -> None:
        if self.context.choices.tone:
            self.tone.play(which)

    def _show(self, view: QWidget) -> None:
        if self.stack.currentWidget() is not view:
            self.stack.setCurrentWidget(view)
            self._focus()

    def _focus(self) -> None:
        view = self.stack.currentWidget()
        if isinstance(view, StartView | FingerView | ReadingView | PhoneView):  # the result chooses by its verdict
            view.main.setFocus()
