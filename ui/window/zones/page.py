"""The zones: what is easy for you, what that rests on, and how the methods differ."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

from PySide6.QtWidgets import QGroupBox, QLayout, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import capital, short_day
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.maximum import MAXIMAL_TEST, PROTOCOLS, MaximumProposal, ProtocolKey, maximum_proposal
from dawnbeat.training.periods import fixed_of, judged_runs
from dawnbeat.training.zone_review import EARLIER, review
from dawnbeat.training.zone_store import Proposal, ZoneSet, why_words
from dawnbeat.training.zones import (
    METHODS,
    NOT_MEDICAL,
    ROUNDING,
    Anchors,
    Scheme,
    Zones,
    compare,
    default_scheme,
    missing_for,
    zones,
)
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, JournalPage, PageWidget
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.layouts import Sheet, flow_of, scrolled, stack
from dawnbeat.ui.window.zones.editor import SetsView, ZonesEditor
from dawnbeat.ui.window.zones.entries import ProtocolDialog, change_zones
from dawnbeat.ui.window.zones.methods import MethodsView
from dawnbeat.ui.window.zones.pulses import AS_SAVED, ENTERED, PulsesPanel

_WHERE = "Zones"


def make_page(context: AppContext) -> PageWidget:
    """The page Zones."""
    return ZonesPage(context)


class ZonesPage(JournalPage):
    """today: gives the day that zones are kept from."""

    key = "zones"
    title = "Zones"

    def __init__(self, context: AppContext, today: Callable[[], date] = date.today) -> None:
        super().__init__(context)
        self._today = today
        self._edited = False
        self.in_force: ZoneSet | None = None
        self.draft: Zones | None = None
        self._proposal: Proposal | None = None
        self._maximum: MaximumProposal | None = None
        self.headline = label("large", "Top of easy")
        self.rests = label("small", "What these zones rest on")
        self.trouble = label("", "What is missing or wrong")
        self.review = label("", "What speaks against these zones")
        self.pulses = PulsesPanel(context, today)
        self.editor = ZonesEditor(context, self._work_out)
        self.methods = MethodsView(context)
        self.sets = SetsView(context)
        self.moved = ProposalSheet(
            "The mornings propose new zones",
            [("Use them from today", "Ctrl+T", "Begin new zones today; earlier runs keep theirs", self.take_proposal)],
            "Ctrl+Shift+N",
        )
        self.higher = ProposalSheet(
            "A run proposes a higher maximum",
            [
                ("Look at the run", "Ctrl+L", "Open the run to judge its curve", self.look_at_run),
                ("Use it as maximum…", "Ctrl+Shift+A", "Use its highest pulse as a maximum", self.take_maximum),
            ],
            "Ctrl+Shift+L",
        )
        tip = "Save the zones shown here, for use from today on"
        self.keep_button = controls.button("Use from today", "Ctrl+S", tip, self.keep, _WHERE)
        tip = "Back to the zones in force, without your edits"
        self.back_button = controls.button("As saved", "Ctrl+Shift+K", tip, self.discard, _WHERE)
        tip = self.pulses.add_maximum.toolTip()
        self.first_button = controls.button("Add a maximum…", "", tip, self.pulses.ask_maximum)
        self._lay_out()
        self.editor.changed.connect(self._edit)
        self.pulses.changed.connect(self._edit)

    # The page

    def shown(self, what: Any = None) -> None:
        """Refresh what changed."""
        # First: a button that has the focus and is disabled would hand it on, and the page would scroll after it.
        self.editor.table.setFocus()
        super().shown()

    def unsaved(self) -> str | None:
        """Zones that were edited and not kept."""
        return "The zones as edited are not saved." if self._edited and self.keep_button.isEnabled() else None

    def refresh(self) -> None:
        """Read the journal again; edits that are not kept stay."""
        super().refresh()
        journal, today = self.context.journal, self._today()
        try:
            known = zone_store.standing(journal, today)
            kept = zone_store.zone_sets(journal)
            maxima, thresholds = zone_store.maxima(journal), zone_store.thresholds(journal)
            self._proposal = zone_store.proposal(journal, today)
            self._maximum = maximum_proposal(run_store.runs(journal), maxima, today)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        self.in_force = zone_store.set_on(kept, today)
        self.pulses.refresh(known, self.in_force, maxima, thresholds)
        if not self._edited:
            self.editor.scheme = self._kept_scheme()
        self.sets.show_sets(kept)
        self._say_review(known)
        self.moved.offer("" if self._proposal is None else self._proposal.words)
        found = self._maximum
        self.higher.offer("" if found is None else f"{found.words} {found.caution}".strip())
        self._update()

    # Keeping

    def keep(self) -> None:
        """Save the zones shown here, for use from today on."""
        new = self._new_set()
        if new is None:
            return
        day = short_day(new.from_date)
        edited, self._edited = self._edited, False
        keep = partial(zone_store.keep_zone_set, self.context.journal, new)
        if change_zones(self.context, f"zones from {day} on", keep):
            self.pulses.choose_resting(AS_SAVED)
            self.context.say(f"In force from {day} on: easy up to {new.zones.top_of_easy_bpm} bpm.")
        else:
            self._edited = edited

    def discard(self) -> None:
        """Back to the zones in force."""
        self.pulses.choose_resting(AS_SAVED)
        self._edited = False
        self.refresh()

    def take_proposal(self) -> None:
        """Take what the mornings propose."""
        proposed = self._proposal
        if proposed is None:
            return
        new, day = proposed.new, short_day(proposed.new.from_date)
        said = f"From {day} on easy is up to {new.zones.top_of_easy_bpm} bpm."
        keep = partial(zone_store.keep_zone_set, self.context.journal, new)
        change_zones(self.context, f"new zones from {day} on", keep, said)

    def take_maximum(self) -> None:
        """Ask whether beats are added, and keep the run's highest pulse."""
        if self._maximum is not None:
            self.pulses.ask_maximum(self._maximum.entry())

    def look_at_run(self) -> None:
        """Open the run that proposes a maximum."""
        if self._maximum is not None:
            self.context.go("runs", self._maximum.run.id)

    # Inside

    def _kept_scheme(self) -> Scheme:
        return default_scheme(METHODS[0]) if self.in_force is None else self.in_force.zones.scheme

    def _work_out(self, scheme: Scheme) -> Zones | None:
        """The zones of a scheme with the pulses here, or None where one is missing."""
        try:
            anchors = self.pulses.anchors()
        except DawnbeatError:
            return None
        return None if missing_for(anchors, scheme.method) else zones(anchors, scheme)

    def _edit(self) -> None:
        self._edited = True
        self._update()

    def _update(self) -> None:
        """Work the zones out again and show them."""
        scheme, trouble = self.editor.scheme, ""
        anchors = Anchors()
        self.draft = None
        try:
            anchors = self.pulses.anchors()
            missing = missing_for(anchors, scheme.method)
            if missing:
                trouble = f"Zones by {scheme.method} need {missing}."
            else:
                self.draft = zones(anchors, scheme)
        except DawnbeatError as error:
            trouble = f"{capital(str(error))}."
        self.editor.show_scheme(scheme, self.draft)
        others = [default_scheme(each) for each in METHODS if each != scheme.method]
        try:
            self.methods.show_methods(compare(anchors, [scheme, *others]))
        except DawnbeatError as error:
            trouble = trouble or f"{error}."
        self.trouble.setText(trouble)
        self.trouble.setVisible(bool(trouble))
        self.first_button.setVisible(self.draft is None and anchors.maximum_bpm is None)
        self._say_top()

    def _say_top(self) -> None:
        draft, kept = self.draft, self.in_force
        changed = draft is not None and (kept is None or not _same(draft, kept.zones))
        self.keep_button.setEnabled(changed)
        self.back_button.setEnabled(kept is not None and (self._edited or changed))
        if kept is None:
            top = "No zones yet." if draft is None else f"Easy would be up to {draft.top_of_easy_bpm} bpm."
            self.headline.setText(top)
            self.rests.setText(
                "A resting pulse comes from three mornings, or is entered; a maximum from a race or a test, or by age."
                if draft is None
                else f"Not saved yet, though runs are judged by them: press “{self.keep_button.text()}”."
            )
            return
        said = f"Easy is up to {kept.zones.top_of_easy_bpm} bpm."
        if changed and draft is not None:
            said += f" As edited here it would be {draft.top_of_easy_bpm} bpm, not saved yet."
        self.headline.setText(said)
        method = kept.zones.scheme.method
        self.rests.setText(f"Zones by {method}, in force from {short_day(kept.from_date)} on: {kept.why}.")

    def _new_set(self) -> ZoneSet | None:
        if self.draft is None:
            return None
        choice = self.pulses.resting_choice
        anchors = self.draft.anchors
        entered = anchors.resting_bpm if choice == ENTERED else None
        as_kept = anchors.resting_bpm if choice == AS_SAVED else None
        why = why_words(self.pulses.known, entered, as_kept)
        return ZoneSet(self._today(), self.draft, why)

    def _say_review(self, known: zone_store.Standing) -> None:
        """What runs and mornings say against the zones in force; nothing is changed by it."""
        journal, today = self.context.journal, self._today()
        if self.in_force is None:
            self.review.setText("No zones are saved yet.")
            return
        judged = judged_runs(journal, today, today - EARLIER)
        found = review(judged, known, self.in_force, fixed_of(judged, today), today)
        said = [f"• {each.words}" for each in found]
        self.review.setText("\n".join(said) or "Nothing in your runs and mornings speaks against them.")

    def ask_protocol(self, key: ProtocolKey) -> ProtocolDialog:
        """Show how to test, step by step."""
        dialog = ProtocolDialog(self.context, PROTOCOLS[key], self)
        dialog.open()
        return dialog

    def _lay_out(self) -> None:
        tools = flow_of(label("title", "Zones", "Zones"), after=(self.back_button, self.keep_button))
        sheet = Sheet(self.headline, self.rests, self.trouble, flow_of(self.first_button))
        tips: dict[ProtocolKey, tuple[str, str]] = {
            "hills": ("Hill repeats…", "How to test your maximum on a hill, step by step"),
            "mile": ("Hard mile…", "How to test your maximum on a track, step by step"),
            "threshold": ("30 minutes…", "How to test your threshold, step by step"),
        }
        how = [controls.button(words, "", tip, partial(self.ask_protocol, key)) for key, (words, tip) in tips.items()]
        heed = label("small", "Cautions for maximal tests", "\n".join(MAXIMAL_TEST))
        left_to_you = "None of this is applied by itself: it is for you to judge."
        page = scrolled(
            tools,
            sheet,
            self.moved,
            self.higher,
            _group("Your zones", self.editor),
            _group("Are they still right?", self.review, label("small", "What becomes of it", left_to_you)),
            _group("By each method", self.methods),
            _group("What they hang on", self.pulses),
            _group("Before any maximal test", heed, flow_of(*how)),
            _group("Zones by date", self.sets),
            label("small", "Rounding, and what zones are not", f"{ROUNDING} {NOT_MEDICAL}"),
            None,
        )
        stack(self, page)


class ProposalSheet(Sheet):
    """Shown while there is something to propose that was not put off here.

    buttons: words, key, tip and what it does; "Not now" is added and puts off until the proposal reads differently.
    """

    def __init__(self, title: str, buttons: list[tuple[str, str, str, Callable[[], None]]], later_key: str) -> None:
        self._put_off = ""
        self.words = label("", title)
        self.buttons = [
            controls.button(words, keys, f"{title}: {tip[0].lower()}{tip[1:]}", does, "Zones")
            for words, keys, tip, does in (*buttons, ("Not now", later_key, "Put it off", self._later))
        ]
        super().__init__(label("soft", title, title), self.words, flow_of(*self.buttons), margins=(18, 10, 18, 10))
        self.hide()

    def offer(self, words: str) -> None:
        """Show a proposal; an empty one, or one put off, is not shown."""
        self.words.setText(words)
        self.setVisible(bool(words) and words != self._put_off)

    def _later(self) -> None:
        self._put_off = self.words.text()
        self.hide()


def _same(one: Zones, other: Zones) -> bool:
    return one.scheme == other.scheme and one.tops_bpm == other.tops_bpm and one.anchors == other.anchors


def _group(title: str, *inside: QWidget | QLayout) -> QGroupBox:
    group = QGroupBox(title)
    stack(group, *inside, margins=(0, 6, 0, 10))
    return group
