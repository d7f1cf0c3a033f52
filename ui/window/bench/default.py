"""Before readings use other settings: which differ, and what that does to the recordings that are open."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QLabel,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.morning.bench_text import verdict_words
from dawnbeat.morning.sources import read_with_reference
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.analysis import analyse
from dawnbeat.ui.window.bench.settings import plain_name, shown_value
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.parts.work import Task

MOST_RECORDINGS = 40


@dataclass(frozen=True)
class Effect:
    """What other settings do to one recording: its analysis now and then, or why it can't be told."""

    path: Path
    now: Analysis | None = None
    then: Analysis | None = None
    trouble: str = ""


def differences(now: Settings, then: Settings) -> list[tuple[str, str, str, str]]:
    """Name, meaning, present and future value of each setting that differs."""
    found = []
    for parameter in dataclasses.fields(Settings):
        old, new = getattr(now, parameter.name), getattr(then, parameter.name)
        if old != new:
            about = parameter.metadata
            values = shown_value(old, about["unit"]), shown_value(new, about["unit"])
            found.append((plain_name(parameter.name), about["meaning"], *values))
    return found


def effect_on(path: Path, now: Settings, then: Settings) -> Effect:
    """Analyse one recording with both."""
    try:
        trace = read_with_reference(path).trace
        return Effect(path, analyse(trace, now), analyse(trace, then))
    except DawnbeatError as error:
        return Effect(path, trouble=str(error))


def effect_row(effect: Effect) -> tuple[str, str, str, str]:
    """Recording, pulse, RMSSD and verdict, each as "now, then" where it changes."""
    if effect.now is None or effect.then is None:
        return effect.path.name, "", "", effect.trouble
    return (
        effect.path.name,
        _change(effect.now, effect.then, "mean_hr_bpm", "bpm"),
        _change(effect.now, effect.then, "rmssd_ms", "ms"),
        _turn(verdict_words(effect.now), verdict_words(effect.then)),
    )


def _change(now: Analysis, then: Analysis, name: str, unit: str) -> str:
    old, new = getattr(now.metrics, name), getattr(then.metrics, name)
    if old is None or new is None:
        return _turn("none" if old is None else f"{old:.1f} {unit}", "none" if new is None else f"{new:.1f} {unit}")
    before, after = round(old, 1), round(new, 1)
    if before == after:
        return f"{after:.1f} {unit}, as now"
    return f"{before:.1f} → {after:.1f} {unit} ({after - before:+.1f})"


def _turn(old: str, new: str) -> str:
    return f"{new}, as now" if old == new else f"{old} → {new}"


class DefaultDialog(QDialog):
    """Accepted only by its own button, which waits until what would change has been worked out."""

    def __init__(self, parent: QWidget | None, context: AppContext, then: Settings, paths: Sequence[Path]) -> None:
        super().__init__(parent)
        self.context, self.then, self.now = context, then, context.detection
        self.effects: list[Effect] = []
        shown = list(paths)[:MOST_RECORDINGS]
        self.setWindowTitle("Use for readings")
        self.settings_table = plain_table(
            ("Setting", "Meaning", "Readings use", "They would use"), "Settings that differ", stretch=1
        )
        rows = differences(self.now, then)
        write_rows(self.settings_table, rows)
        self.effect_table = plain_table(
            ("Recording", "Pulse", "RMSSD", "Verdict"), "What it does to recordings", stretch=3
        )
        self.told = QLabel()
        self.told.setWordWrap(True)
        buttons = QDialogButtonBox()
        self.yes = buttons.addButton("Use for readings from now on", QDialogButtonBox.ButtonRole.AcceptRole)
        self.no = buttons.addButton("Keep as it is", QDialogButtonBox.ButtonRole.RejectRole)
        self.no.setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        heading = QLabel(f"{len(rows)} {'setting' if len(rows) == 1 else 'settings'} would change")
        heading.setProperty("class", "heading")
        second = QLabel("What that does to the recordings that are open")
        second.setProperty("class", "heading")
        foot = QLabel("Mornings that are kept already stay as they are. Ctrl+Z takes it back.")
        foot.setProperty("class", "small")
        layout = QVBoxLayout(self)
        layout.addWidget(heading)
        layout.addWidget(self.settings_table, 2)
        layout.addWidget(second)
        layout.addWidget(self.told)
        layout.addWidget(self.effect_table, 3)
        layout.addWidget(foot)
        layout.addWidget(buttons)
        self.no.setFocus()
        self.resize(context.theme.px(860), context.theme.px(600))
        self.effect_table.setVisible(bool(shown))
        if not shown:
            self.told.setText("No recording is open, so nothing can be said of it. Better open some mornings first.")
            return
        self.yes.setEnabled(False)
        self.told.setText("Working it out…")
        self._left_aside = len(paths) - len(shown)

        def work(task: Task) -> list[Effect]:
            effects = []
            for number, path in enumerate(shown, start=1):
                effects.append(effect_on(path, self.now, then))
                task.progress(number, len(shown))
            return effects

        self._work = context.background.run(work, self._worked_out, self.told.setText, self._progress)
        self.finished.connect(self._work.cancel)

    def _progress(self, done: int, of: int) -> None:
        self.told.setText(f"Working it out: {done} of {of} recordings.")

    def _worked_out(self, effects: list[Effect]) -> None:
        self.effects = effects
        write_rows(self.effect_table, [effect_row(each) for each in effects])
        pairs = [(each.now, each.then) for each in effects if each.now is not None and each.then is not None]
        turned = sum(now.verdict.usable != then.verdict.usable for now, then in pairs)
        moved = sum(effect_row(each)[2].count("→") for each in effects)
        words = f"Of {len(effects)} recordings the verdict changes in {turned} and RMSSD in {moved}."
        if self._left_aside:
            words += f" {self._left_aside} more are open and were left aside: score their folder instead."
        self.told.setText(words)
        self.yes.setEnabled(True)
