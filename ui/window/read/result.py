"""What a reading said: the verdict first where it can't be used, the figures, where they stand, the context."""

from __future__ import annotations

import functools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QPushButton, QWidget

from dawnbeat.morning.background import Outcome
from dawnbeat.morning.keeping import Kept
from dawnbeat.morning.reading_text import (
    INVENTED_LIGHT,
    NOT_MEDICAL,
    REHEARSAL,
    ended_sentence,
    verdict_lines,
    verdict_title,
)
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.wording import between, capital, long_day
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import label, named, restyle
from dawnbeat.ui.window.parts.layouts import Scrolled, Sheet, flow_of, row_of, stack, turn
from dawnbeat.ui.window.parts.standing import AnswerCard, RangeStrip
from dawnbeat.ui.window.read.context_form import ContextForm

if TYPE_CHECKING:
    from dawnbeat.journal.today import Stand
    from dawnbeat.morning.answering import Grounds
    from dawnbeat.ui.window.read.plots import ReadingPlots

_TWO_COLUMNS_FROM = 880
# Two readings of one day differ by more than what a value loses on its way through the journal.
_SAME = 1e-6


class Figure(Sheet):
    """One measure: its value with the interval, its standing in words, and the range strip."""

    def __init__(self, context: AppContext, title: str, measure: str, unit: str, logarithmic: bool) -> None:
        self._measure, self._unit, self._logarithmic = measure, unit, logarithmic
        self.value = label("figure", title, wraps=False)
        self.bounds = label("soft", f"{title}: 95 % interval", wraps=False)
        self.standing = label("large", f"{title}: where it stands")
        self.strip = RangeStrip(context, title, unit)
        row = flow_of(self.value, self.bounds, gap=14)
        super().__init__(label("soft", "", title), row, self.standing, None, self.strip, gap=5)

    def show_figure(self, analysis: Analysis, stand: Stand | None) -> None:
        """stand: None where the reading is no part of the journal."""
        value = getattr(analysis.metrics, self._measure)
        bounds = analysis.intervals95.get(self._measure)
        self.value.setText("unknown" if value is None else f"{value:.0f} {self._unit}")
        self.bounds.setText("" if bounds is None else f"95 % interval\n{bounds[0]:.0f} to {bounds[1]:.0f} {self._unit}")
        verdict = analysis.verdict
        usable = verdict.usable if self._logarithmic else verdict.pulse_usable
        restyle("figure" if usable else "large", self.value)
        self.standing.setVisible(stand is not None or not usable)
        self.standing.setText("" if usable else "Not to be relied on")
        self.strip.setVisible(stand is not None)
        if stand is None:
            return
        if not usable:
            self.strip.set_stand(replace(stand, this_morning=None))
            return
        usual, counts = stand.morning_usual, stand.this_morning
        # Where several readings were taken today, another one may be the one that counts.
        if counts is None or value is None or abs(self._plain(counts) - value) >= _SAME:
            other = "" if counts is None else f": {self._plain(counts):.0f} {self._unit}"
            self.standing.setText(f"Another reading of today counts{other}")
            self.strip.set_stand(stand)
            return
        span = ""
        if usual is not None:
            # The strip below has the narrower one, of a week's average.
            band = between(self._plain(usual.band_low), self._plain(usual.band_high), unit=self._unit)
            span = f" of single mornings ({band})"
        self.standing.setText(capital(stand.morning) + span)
        self.strip.set_stand(stand, analysis.intervals95.get("ln_rmssd" if self._logarithmic else self._measure))

    def _plain(self, value: float) -> float:
        return math.exp(value) if self._logarithmic else value


class ResultView(View):
    """done, again: what was pressed. try_saving: the journal refused, and it is to be tried again."""

    done = Signal()
    again = Signal()
    try_saving = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.kept: Kept | None = None
        self.when = label("soft", "Reading of")
        self.ended = label("large", "How it ended")
        self.verdict = label("title", "Verdict", wraps=True)
        self.reasons = label("large", "Why")
        self.pulse = Figure(context, "Resting pulse", "mean_hr_bpm", "bpm", False)
        self.rmssd = Figure(context, "RMSSD", "rmssd_ms", "ms", True)
        self.card = AnswerCard("Read")
        self.card.well_again.connect(self._well_again)
        self.paragraph = label("small", "What this is not")
        self.form = ContextForm(context)
        self.form.changed.connect(self._say_answer)
        give = functools.partial(controls.button, where="Read")
        self.main = give("Done", "D", "Save what you added, and finish", self.done.emit, main=True)
        self.take_again = give("Measure again", "Alt+B", "Begin another reading", self.again.emit)
        self.save_again = give("Try to save again", "V", "Try to save the reading again", self.try_saving.emit)
        tip = "Put this reading in the bin, which Ctrl+Z undoes"
        self.bin = give("Put it in the bin", "Del", tip, self._put_in_bin)
        tip = "Let this reading count on its day, instead of the other"
        self.pick = give("Let this one count", "Alt+C", tip, self._let_count)
        self._plots: ReadingPlots | None = None
        self._lay_out()

    @property
    def plots(self) -> ReadingPlots:
        """The plots, made when first wanted: pyqtgraph takes a while to import."""
        if self._plots is None:
            from dawnbeat.ui.window.read.plots import ReadingPlots

            self._plots = ReadingPlots(self.context)
            self._column.addWidget(self._plots)
            self.arrange()
        return self._plots

    def show_outcome(self, outcome: Outcome, rehearsing: bool) -> None:
        """Show how a reading ended and what it said; `outcome.kept` must be there."""
        assert outcome.kept is not None
        recorded = outcome.kept.stored is not None or outcome.recorded
        self.ended.setText(ended_sentence(outcome.ended, recorded))
        self.show_kept(outcome.kept, rehearsing)
        self.form.set_value(outcome.kept.taken.context)
        self._area.verticalScrollBar().setValue(0)

    @staticmethod
    def in_short(outcome: Outcome) -> str:
        """What became of a reading, in a sentence; `outcome.kept` must be there."""
        assert outcome.kept is not None
        kept = outcome.kept
        told = ended_sentence(outcome.ended, outcome.recorded)
        if told or kept.trouble:
            return f"{told} {kept.trouble}".strip()
        return f"The reading {'is saved' if kept.stored else 'is not saved, because it is invented'}."

    def show_kept(self, kept: Kept, rehearsing: bool = False) -> None:
        """Show an analysed reading."""
        self.kept = kept
        analysis, usable = kept.analysis, kept.analysis.verdict.usable
        began = kept.taken.began
        self.when.setText(f"{long_day(began.date())} at {began:%H:%M}, {kept.taken.posture}, {kept.taken.camera}")
        told = [self.ended.text(), kept.notice]
        if kept.trouble:
            told.append(
                f"Not saved yet: {kept.trouble}. Its recording is not lost; it is offered again at the "
                "next start, and `dawnbeat rescue` saves it too."
            )
        self.ended.setText(" ".join(part for part in dict.fromkeys(told) if part))
        self.ended.setVisible(bool(self.ended.text()))
        title = verdict_title(analysis.verdict)
        again = "" if analysis.verdict.pulse_usable else ": measure again"
        self.verdict.setText(f"{capital(title)}{again}")
        restyle("soft" if usable else "title", self.verdict)
        reasons = "; ".join(verdict_lines(analysis.verdict))
        self.reasons.setText(f"{capital(reasons)}.")
        restyle("small" if usable else "large", self.reasons)
        self.save_again.setVisible(bool(kept.trouble))
        self.bin.setVisible(kept.stored is not None)
        self._beside.setVisible(kept.stored is not None)
        # A heart that beats irregularly does so again; anything else may go better.
        self._show_main(self.main if usable or analysis.verdict.irregular else self.take_again)
        self._show_standing(kept.grounds, rehearsing)
        self._offer_to_count()
        self.plots.show_analysis(analysis)

    def _show_standing(self, grounds: Grounds | None, rehearsing: bool) -> None:
        assert self.kept is not None
        analysis, today = self.kept.analysis, None if grounds is None else grounds.today
        self.pulse.show_figure(analysis, None if today is None else today.resting_pulse)
        self.rmssd.show_figure(analysis, None if today is None else today.ln_rmssd)
        self.card.setVisible(grounds is not None)
        self.card.details.setVisible(grounds is not None and self.card.more.isChecked())
        invented = grounds is None and self.kept.stored is None and not self.kept.trouble
        why = REHEARSAL if rehearsing else INVENTED_LIGHT if invented else ""
        self.paragraph.setText(f"{why} {NOT_MEDICAL}".strip())
        self._say_answer()

    def _say_answer(self) -> None:
        """The answer with what the form holds now, saved or not yet."""
        from dawnbeat.morning.answer_text import rests_on

        kept = self.kept
        if kept is None or kept.grounds is None or kept.stored is None or kept.stored.binned_at is not None:
            return
        said = self.form.value()
        answer = kept.grounds.answer(None if said == kept.stored.context else said)
        self.card.show_answer(answer, rests_on=rests_on(kept.grounds.today))

    def _offer_to_count(self) -> None:
        stored = None if self.kept is None else self.kept.stored
        self.pick.setVisible(
            stored is not None and stored.verdict.usable and not stored.counts and stored.binned_at is None
        )

    def _let_count(self) -> None:
        stored = None if self.kept is None else self.kept.stored
        if stored is None:
            return
        journal = self.context.journal
        with self.context.saying():
            other = journal.counting(stored.local_date)
            self.context.do(
                f"the reading of {stored.began:%H:%M} counts on {stored.local_date}",
                lambda: journal.pick(stored.id),
                lambda: journal.pick(other.id),
            )

    def _well_again(self) -> None:
        said = self.form.value()
        self.form.set_value(replace(said, ill=False if said.ill else None, well_again=True))
        self._say_answer()

    def keep_context(self) -> None:
        """Save what was added, if it differs from what is saved."""
        kept = self.kept
        if kept is None or kept.stored is None:
            return
        said = self.form.value()
        reading_id, before = kept.stored.id, kept.stored.context
        if said == before:
            return
        journal = self.context.journal
        done = self.context.do(
            f"the note of {kept.stored.local_date}",
            lambda: journal.edit_context(reading_id, said),
            lambda: journal.edit_context(reading_id, before),
        )
        if done:
            self._keep_answer(reading_id)

    def _keep_answer(self, reading_id: int) -> None:
        """Store what was said in the end, with the notes that are kept now."""
        from dawnbeat.morning.answering import grounds, keep_answer

        assert self.kept is not None
        with self.context.saying():
            stored = self.context.journal.reading(reading_id)
            drawn_from = grounds(self.context.journal, stored.local_date, self.context.ranges)
            stored = keep_answer(self.context.journal, stored, drawn_from)
            self.kept = replace(self.kept, stored=stored, grounds=drawn_from)

    def refresh(self) -> None:
        """Say anew where the reading stands, after the journal changed; a reading in the bin is said to be."""
        kept = self.kept
        if kept is None or kept.stored is None:
            return
        from dawnbeat.morning.answering import grounds

        with self.context.saying():
            stored = self.context.journal.reading(kept.stored.id)
            drawn_from = grounds(self.context.journal, stored.local_date, self.context.ranges)
            self.kept = replace(kept, stored=stored, grounds=drawn_from)
            self.form.set_value(stored.context)
            in_bin = stored.binned_at is not None
            self.bin.setEnabled(not in_bin)
            self.form.setEnabled(not in_bin)
            self._show_standing(None if in_bin else drawn_from, False)
            self._offer_to_count()
            if in_bin:
                self.paragraph.setText("This reading is in the bin; Ctrl+Z brings it back.")

    def _put_in_bin(self) -> None:
        if self.kept is None or self.kept.stored is None:
            return
        journal, stored = self.context.journal, self.kept.stored
        self.context.do(
            f"the reading of {stored.local_date} {stored.began:%H:%M} into the bin",
            lambda: journal.put_in_bin(stored.id),
            lambda: journal.bring_back(stored.id),
            "The reading is in the bin; Ctrl+Z brings it back.",
        )

    def _show_main(self, wanted: QPushButton) -> None:
        for choice in (self.main, self.take_again):
            restyle("main" if choice is wanted else "", choice)
        wanted.setFocus()

    def arrange(self) -> None:
        """Two columns where there is room."""
        wide = self.width() >= self.context.theme.px(_TWO_COLUMNS_FROM)
        turn(self._figures, wide)
        if self._plots is not None:
            self._plots.turn(wide)

    def _lay_out(self) -> None:
        self.paragraph.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._figures = row_of((self.pulse, 1), (self.rmssd, 1), gap=16)
        self._beside = Sheet(label("heading", "", "How are you this morning?"), self.form)
        said = (self.when, self.ended, self.card, self.card.details, self.verdict, self.reasons)
        parts = (*said, self._figures, self._beside, self.paragraph)
        inside = QWidget()
        self._column = stack(inside, *parts, margins=(36, 20, 36, 16), gap=12)
        self._area = named(Scrolled(inside), "The reading")
        foot = flow_of(self.main, self.take_again, self.save_again, after=(self.pick, self.bin), gap=14)
        foot.setContentsMargins(36, 8, 36, 14)
        stack(self, (self._area, 1), foot)
