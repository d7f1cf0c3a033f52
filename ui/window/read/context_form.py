"""What the runner adds to a reading, in one compact form; all of it optional."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from PySide6.QtCore import QRegularExpression, Qt, Signal
from PySide6.QtGui import QRegularExpressionValidator
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.checked_fields import TEXT_LIMIT
from dawnbeat.shared.morning import RATING_HIGH, RATING_LOW, RATINGS, Context
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key
from dawnbeat.ui.window.read.widgets import WHERE, label

NOT_SAID = "–"
_ONE_COLUMN_OVER_PERCENT = 130
_TITLES = {"sleep": "Sleep", "stress": "Stress", "fatigue": "Fatigue", "soreness": "Soreness"}
_ENDS = {
    "sleep": ("very, very good", "very, very bad"),
    **dict.fromkeys(("stress", "fatigue", "soreness"), ("very, very low", "very, very high")),
}
# 0 to 24 hours with a point or a comma, whatever the country writes.
_HOURS = r"(24([.,]0{0,2})?|(1?[0-9]|2[0-3])([.,][0-9]{0,2})?)"
# What can shift readings for days or weeks, as titles; what each holds stands in the fields themselves.
_SHIFTS = {
    "well_again": "Well again",
    "not_comparable": "Not comparable",
    "heat": "Unaccustomed heat",
    "cycle_day": "Cycle day",
    "altitude_m": "Altitude, m",
    "time_zones": "Time zones, h",
    "medicine": "Medicine",
}
_SUCH_AS = {"cycle_day": "12", "altitude_m": "1800", "time_zones": "-6, west", "medicine": "Such as: antihistamine"}
_ABOUT = {each.name: each for each in fields(Context)}
_YES_NO = ((NOT_SAID, None), ("no", False), ("yes", True))


class _Choice(ComboBox):
    """A narrow list."""

    def __init__(self) -> None:
        super().__init__()
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(5)
        self.view().setTextElideMode(Qt.TextElideMode.ElideNone)

    def showPopup(self) -> None:  # noqa: N802  Qt's name
        """Wide enough for the words, though the box itself is narrow."""
        self.view().setMinimumWidth(self.view().sizeHintForColumn(0) + 24)
        super().showPopup()


class ContextForm(QWidget):
    """changed: the runner changed something."""

    changed = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._setting = False
        self._said = Context()  # holds the items that the form doesn't show
        self._ratings = {name: self._rating(name) for name in RATINGS}
        self._hours = QLineEdit()
        self._hours.setValidator(QRegularExpressionValidator(QRegularExpression(_HOURS), self._hours))
        self._ill, self._alcohol = self._yes_no("Feeling ill"), self._yes_no("Alcohol the evening before")
        self._run, self._note = QLineEdit(), QLineEdit()
        # What shifts readings for days or weeks; folded away until it is wanted.
        self._flags = {name: self._yes_no(_SHIFTS[name]) for name in ("well_again", "heat", "not_comparable")}
        self._numbers = {name: _number_line(name) for name in ("cycle_day", "altitude_m", "time_zones")}
        self._medicine = QLineEdit()
        for name, line in (*self._numbers.items(), ("medicine", self._medicine)):
            line.setAccessibleName(_SHIFTS[name])
            line.setToolTip(_ABOUT[name].metadata["meaning"])
            line.setPlaceholderText(_SUCH_AS[name])
            line.textEdited.connect(self._tell)
        for field, name, hint in (
            (self._hours, "Hours slept", "7.5"),
            (self._run, "Yesterday's run", "Such as: 10 km easy"),
            (self._note, "Note", "Anything else"),
        ):
            field.setAccessibleName(name)
            field.setToolTip(hint)
        for line in (self._run, self._note, self._hours):
            line.setMaxLength(TEXT_LIMIT)
            line.setPlaceholderText(line.toolTip())
            line.textEdited.connect(self._tell)
        self._lay_out()

    def value(self) -> Context:
        """What is in the form."""
        ratings = {name: box.currentData() for name, box in self._ratings.items()}
        shifts: dict[str, Any] = {name: box.currentData() for name, box in self._flags.items()}
        shifts |= {name: _number(name, line) for name, line in self._numbers.items()}
        return replace(
            self._said,
            **ratings,
            hours_slept=_hours(self._hours.text()),
            ill=self._ill.currentData(),
            alcohol=self._alcohol.currentData(),
            yesterday_run=self._run.text().strip() or None,
            note=self._note.text().strip() or None,
            medicine=self._medicine.text().strip() or None,
            **shifts,
        )

    def set_value(self, said: Context) -> None:
        """Fill the form; nothing counts as changed by it."""
        self._said = said
        self._setting = True
        for name, box in self._ratings.items():
            box.setCurrentIndex(getattr(said, name) or 0)
        self._hours.setText("" if said.hours_slept is None else f"{said.hours_slept:g}")
        flags = [(box, getattr(said, name)) for name, box in self._flags.items()]
        for choice, value in ((self._ill, said.ill), (self._alcohol, said.alcohol), *flags):
            choice.setCurrentIndex(next(i for i, (_, each) in enumerate(_YES_NO) if each is value))
        self._run.setText(said.yesterday_run or "")
        self._note.setText(said.note or "")
        self._medicine.setText(said.medicine or "")
        for name, line in self._numbers.items():
            value = getattr(said, name)
            line.setText("" if value is None else f"{value:g}")
        if any(getattr(said, name) is not None for name in _SHIFTS):
            self.more.setChecked(True)
        self._setting = False

    def _tell(self, _value: object = None) -> None:
        if not self._setting:
            self.changed.emit()

    def _rating(self, name: str) -> QComboBox:
        best, worst = _ENDS[name]
        box = _Choice()
        box.addItem(NOT_SAID, None)
        for rating in range(RATING_LOW, RATING_HIGH + 1):
            words = {RATING_LOW: f"   {best}", RATING_HIGH: f"   {worst}"}.get(rating, "")
            box.addItem(f"{rating}{words}", rating)
        box.setAccessibleName(_TITLES[name])
        box.setToolTip(f"{RATING_LOW} is {best}, {RATING_HIGH} is {worst}; {NOT_SAID} says nothing")
        box.setAccessibleDescription(box.toolTip())
        box.currentIndexChanged.connect(self._tell)
        return box

    def _yes_no(self, name: str) -> QComboBox:
        choice = _Choice()
        for words, value in _YES_NO:
            choice.addItem(words, value)
        choice.setAccessibleName(name)
        choice.setToolTip(name)
        choice.currentIndexChanged.connect(self._tell)
        return choice

    def _lay_out(self) -> None:
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(12)
        self._grid.setVerticalSpacing(8)
        named: list[tuple[str, QWidget]] = [(_TITLES[name], box) for name, box in self._ratings.items()]
        named += [("Hours slept", self._hours), ("Feeling ill", self._ill), ("Alcohol", self._alcohol)]
        self._short = [self._titled(*each) for each in named]
        self._long = [self._titled("Yesterday's run", self._run), self._titled("Note", self._note)]
        self.more = QPushButton("What shifts readings for weeks")
        self.more.setCheckable(True)
        controls.give(self.more, Key("Alt+M", "Cycle day, heat, altitude, travel, medicine, not comparable", WHERE))
        shifts: list[tuple[str, QWidget]] = [*self._flags.items(), *self._numbers.items()]
        shifts.append(("medicine", self._medicine))
        self._folded = [self._titled(_SHIFTS[name], field) for name, field in shifts]
        self.more.toggled.connect(self._arrange)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(self._grid)
        column.addWidget(self.more, 0, Qt.AlignmentFlag.AlignLeft)
        column.addWidget(label("Ratings from 1, very good or low, to 7, very bad or high. All optional.", "small"))
        self._arrange()
        self.context.theme_changed.connect(self._arrange)

    @staticmethod
    def _titled(words: str, field: QWidget) -> tuple[QLabel, QWidget]:
        title = QLabel(words)
        title.setBuddy(field)
        return title, field

    def _arrange(self, _theme: object = None) -> None:
        """Two pairs beside each other, or one where the text is large."""
        beside = 1 if self.context.theme.text_percent > _ONE_COLUMN_OVER_PERCENT else 2
        for title, field in (*self._short, *self._long, *self._folded):
            self._grid.removeWidget(title)
            self._grid.removeWidget(field)
        for number, (title, field) in enumerate(self._short):
            row, side = divmod(number, beside)
            self._grid.addWidget(title, row, 2 * side)
            self._grid.addWidget(field, row, 2 * side + 1)
        after = -(-len(self._short) // beside)
        for number, (title, field) in enumerate(self._long):
            self._grid.addWidget(title, after + number, 0)
            self._grid.addWidget(field, after + number, 1, 1, 2 * beside - 1)
        after += len(self._long)
        for number, pair in enumerate(self._folded):
            row, side = divmod(number, beside)
            for place, part in enumerate(pair):
                self._grid.addWidget(part, after + row, 2 * side + place)
                part.setVisible(self.more.isChecked())
        for side in (1, 3):
            self._grid.setColumnStretch(side, 1 if side < 2 * beside else 0)


def _number_line(name: str) -> QLineEdit:
    about, line = _ABOUT[name].metadata, QLineEdit()
    form = "[-+]?[0-9]{0,4}" if about["whole"] else "[-+]?[0-9]{0,4}([.,][0-9]{0,2})?"
    line.setValidator(QRegularExpressionValidator(QRegularExpression(form), line))
    return line


def _number(name: str, line: QLineEdit) -> float | None:
    """A number between its bounds; None where nothing is said, or what can't be."""
    about, text = _ABOUT[name].metadata, line.text().strip().replace(",", ".")
    try:
        value = int(text) if about["whole"] else float(text)
    except ValueError:
        return None
    return value if about["low"] <= value <= about["high"] else None


def _hours(text: str) -> float | None:
    """Hours as a number; None where nothing is said."""
    text = text.strip().replace(",", ".")
    return float(text) if text.strip(".") else None
