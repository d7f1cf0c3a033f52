"""All parameters of the detection beside the plots: change, find, reset, read and write, make the default."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QUndoCommand
from PySide6.QtWidgets import (
    QCheckBox,
    QFileDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings, settings_from_toml, settings_to_toml
from dawnbeat.ui.window.bench.control import ParameterControl
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key

WHERE = "Bench"
_TOML = "Settings (*.toml)"


class SettingsPanel(QWidget):
    """The settings that the bench analyses with. They are exactly what was given, whatever a control can show.

    changed: the new Settings. wanted_as_default: somebody wants readings to be analysed with them.
    """

    changed = Signal(object)
    wanted_as_default = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.settings = context.detection
        self.controls = {each.name: ParameterControl(each) for each in dataclasses.fields(Settings)}
        self.setAccessibleName("Parameters of the detection")
        self.summary = QLabel()
        self.summary.setProperty("class", "soft")
        self.summary.setWordWrap(True)
        self.sought = QLineEdit()
        self.sought.setPlaceholderText("Find a parameter")
        self.sought.setAccessibleName("Find a parameter")
        self.sought.setClearButtonEnabled(True)
        self.sought.textChanged.connect(self._sift)
        self.only = QCheckBox("Only what differs")
        self.only.toggled.connect(self._sift)
        self._nothing = QLabel("No parameter is like that.")
        self._nothing.setProperty("class", "soft")
        self.reset = self._button("Reset all", "Ctrl+R", "Set every parameter back to its default")
        self.load = self._button("Load…", "Ctrl+L", "Load settings from a TOML file")
        self.save = self._button("Save…", "Ctrl+S", "Save the settings as TOML, for `replay --settings`")
        self.default = self._button("Use for readings…", "Ctrl+D", "Show what would change if readings used these")
        self.reset.clicked.connect(lambda: self.put(Settings(), "all parameters back to default"))
        self.load.clicked.connect(self._load)
        self.save.clicked.connect(self._save)
        self.default.clicked.connect(self.wanted_as_default)
        for name, control in self.controls.items():
            control.changed.connect(self._change)
            control.show_value(getattr(self.settings, name))
        context.detection_changed.connect(self._describe)
        self._lay_out()
        self._describe()

    def _lay_out(self) -> None:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(2, 4, 2, 4)
        column.setSpacing(0)
        for control in self.controls.values():
            column.addWidget(control)
        column.addWidget(self._nothing)
        column.addStretch(1)
        self._nothing.hide()
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inside)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setMinimumWidth(inside.minimumSizeHint().width() + 16)
        buttons = QGridLayout()
        buttons.setSpacing(6)
        for column_at, button in enumerate((self.reset, self.load, self.save)):
            buttons.addWidget(button, 0, column_at)
        buttons.addWidget(self.default, 1, 0, 1, 3)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.sought)
        layout.addWidget(self.only)
        layout.addWidget(scroll, 1)
        layout.addWidget(self.summary)
        layout.addLayout(buttons)

    def put(self, settings: Settings, words: str, name: str = "") -> None:
        """Take these settings; Ctrl+Z goes back. Steps at one parameter in a row (`name`) are undone together."""
        if settings != self.settings:
            self.context.undo.push(_Step(self, words, self.settings, settings, name))

    def show_settings(self, settings: Settings) -> None:
        """Show these and tell everybody; the undo stack is left alone."""
        self.settings = settings
        for name, control in self.controls.items():
            control.show_value(getattr(settings, name))
        self._describe()
        self.changed.emit(settings)

    @property
    def differing(self) -> list[str]:
        """Names of the parameters that are not at their default."""
        return [name for name, control in self.controls.items() if control.differs]

    def _change(self, name: str, value: Any) -> None:
        try:
            settings = dataclasses.replace(self.settings, **{name: value})
        except DawnbeatError as error:
            self.context.say(str(error))
            self.controls[name].show_value(getattr(self.settings, name))
            return
        self.put(settings, f"{name} to {value if isinstance(value, str) else format(value, '.6g')}", name)

    def _describe(self) -> None:
        count = len(self.differing)
        text = "All at default" if count == 0 else f"{count} differ{'s' if count == 1 else ''} from default"
        same = self.settings == self.context.detection
        self.summary.setText(f"{text}; {'readings use these.' if same else 'readings use others.'}")
        self.reset.setEnabled(count > 0)
        self.default.setEnabled(not same)
        if self.only.isChecked():
            self._sift()

    def _sift(self) -> None:
        words, only = self.sought.text().strip(), self.only.isChecked()
        shown = 0
        for control in self.controls.values():
            fits = control.speaks_of(words) and (control.differs or not only)
            control.setVisible(fits or control.isAncestorOf(self.focusWidget() or self))
            shown += fits
        self._nothing.setVisible(shown == 0)

    def _load(self) -> None:
        chosen, _ = QFileDialog.getOpenFileName(self, "Load settings", "", f"{_TOML};;All files (*)")
        if chosen:
            self.load_from(Path(chosen))

    def load_from(self, path: Path) -> None:
        """Take the settings of a TOML file; what is wrong with it is said."""
        try:
            settings = settings_from_toml(path)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        self.put(settings, f"settings of {path.name}")
        self.context.say(f"Loaded {path.name}.")

    def _save(self) -> None:
        path = saving.ask_save(self, "Save settings", "dawnbeat-settings.toml", _TOML)
        if path is None:
            return
        try:
            saving.write_whole(path, settings_to_toml(self.settings).encode("utf-8"), "save the settings")
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        self.context.say(f"Saved {path.name}; `dawnbeat replay --settings {path.name}` reads it.")

    def _button(self, text: str, keys: str, does: str) -> QPushButton:
        button = QPushButton(text)
        controls.give(button, Key(keys, does, WHERE))
        return button


class _Step(QUndoCommand):
    def __init__(self, panel: SettingsPanel, words: str, before: Settings, after: Settings, name: str) -> None:
        super().__init__(words)
        self._panel, self._before, self._after, self._name = panel, before, after, name

    def id(self) -> int:
        return hash(self._name) % 2**30 if self._name else -1

    def mergeWith(self, other: QUndoCommand) -> bool:  # noqa: N802  Qt's name
        if not isinstance(other, _Step) or other._name != self._name:
            return False
        self._after = other._after
        self.setText(other.text())
        self.setObsolete(self._before == self._after)
        return True

    def redo(self) -> None:
        self._panel.show_settings(self._after)

    def undo(self) -> None:
        self._panel.show_settings(self._before)
        self._panel.context.say(f"Undone: {self.text()}.")
