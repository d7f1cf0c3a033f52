"""What the runner adds to a reading, in one compact form; all of it optional."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from PySide6.QtCore import QRegularExpression, Qt, Signal
from PySide6.QtGui import QRegularExpressionValidator
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QLineEdit, QWidget

from dawnbeat.shared.checked_fields import TEXT_LIMIT
from dawnbeat.shared.morning import RATING_HIGH, RATING_LOW, RATINGS, Context
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import ComboBox, LineEdit, buddy_of, label, named
from dawnbeat.ui.window.parts.layouts import stack

NOT_SAID = "–"
_ONE_COLUMN_OVER_PERCENT = 130
# In pixels where text has its usual size.
_TWO_COLUMNS_FROM, _WIDEST = 700, 1100
_ENDS = {
    "sleep": ("very, very good", "very, very bad"),
    **dict.fromkeys(("stress", "fatigue", "soreness"), ("very, very low", "very, very high")),
}
# 0 to 24 hours with a point or a comma, whatever the country writes.
_HOURS = r"(24([.,]0{0,2})?|(1?[0-9]|2[0-3])([.,][0-9]{0,2})?)"
# The items by their titles. What can shift readings for days or weeks is folded away until it is wanted.
_SHORT = {
    "sleep": "Sleep",
    "stress": "Stress",
    "fatigue": "Fatigue",
    "soreness": "Soreness",
    "hours_slept": "Hours slept",
    "ill": "Feeling ill",
    "alcohol": "Alcohol",
}
_LONG = {"yesterday_run": "Yesterday's run", "note": "Note"}
_SHIFTS = {
    "well_again": "Well again",
    "heat": "Unaccustomed heat",
    "not_comparable": "Not comparable",
    "cycle_day": "Cycle day",
    "altitude_m": "Altitude, m",
    "time_zones": "Time zones, h",
    "medicine": "Medicine",
}
_TITLES = {**_SHORT, **_LONG, **_SHIFTS}
_YES_OR_NO = ("ill", "alcohol", "well_again", "heat", "not_comparable")
_HINTS = {"hours_slept": "Such as: 7.5", "yesterday_run": "Such as: 10 km easy", "note": "Anything else"}
_SUCH_AS = {
    **_HINTS,
    "cycle_day": "Such as: 12",
    "altitude_m": "Such as: 1800",
    "time_zones": "Such as: -6, west",
    "medicine": "Such as: antihistamine",
}
_ABOUT = {each.name: each for each in fields(Context)}


class _Choice(ComboBox):
    """A narrow list."""

    def __init__(self) -> None:
        super().__init__()
        self.narrow(5)
        self.view().setTextElideMode(Qt.TextElideMode.ElideNone)

    def showPopup(self) -> None:  # noqa: N802  Qt's name
        """Wide enough for the words, though the box itself is narrow."""
        self.view().setMinimumWidth(self.view().sizeHintForColumn(0) + 24)
        super().showPopup()


class ContextForm(View):
    """changed: the runner changed something."""

    changed = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self._said = Context()  # holds the items that the form doesn't show
        self._boxes: dict[str, QComboBox] = {}
        self._lines: dict[str, QLineEdit] = {}
        for name in _TITLES:  # in the order in which Tab goes through them
            if name in RATINGS:
                self._boxes[name] = self._rating(name)
            elif name in _YES_OR_NO:
                self._boxes[name] = self._yes_no(name)
            else:
                self._lines[name] = self._line(name)
        self._lay_out()

    def value(self) -> Context:
        """What is in the form."""
        said: dict[str, Any] = {name: box.currentData() for name, box in self._boxes.items()}
        for name, line in self._lines.items():
            text = line.text().strip()
            said[name] = _number(name, text) if _is_number(name) else text or None
        return replace(self._said, **said)

    def set_value(self, said: Context) -> None:
        """Fill the form; nothing counts as changed by it."""
        self._said = said
        blocked = self.blockSignals(True)
        for name, box in self._boxes.items():
            box.setCurrentIndex(next(at for at in range(box.count()) if box.itemData(at) == getattr(said, name)))
        for name, line in self._lines.items():
            value = getattr(said, name)
            line.setText("" if value is None else f"{value:g}" if _is_number(name) else value)
        if any(getattr(said, name) is not None for name in _SHIFTS):
            self.more.setChecked(True)
        self.blockSignals(blocked)

    def _rating(self, name: str) -> QComboBox:
        best, worst = _ENDS[name]
        tip = f"{RATING_LOW} is {best}, {RATING_HIGH} is {worst}; {NOT_SAID} says nothing"
        ends = {RATING_LOW: f"   {best}", RATING_HIGH: f"   {worst}"}
        answers = [(f"{rating}{ends.get(rating, '')}", rating) for rating in range(RATING_LOW, RATING_HIGH + 1)]
        box = self._choice(_TITLES[name], tip, answers)
        box.setAccessibleDescription(tip)
        return box

    def _yes_no(self, name: str) -> QComboBox:
        asked = "Alcohol the evening before" if name == "alcohol" else _TITLES[name]
        return self._choice(asked, asked, [("no", False), ("yes", True)])

    def _choice(self, name: str, tip: str, answers: list[tuple[str, Any]]) -> QComboBox:
        box = named(_Choice(), name, tip)
        box.offer([(NOT_SAID, None), *answers])
        box.currentIndexChanged.connect(self.changed)
        return box

    def _line(self, name: str) -> QLineEdit:
        such_as, meaning = _SUCH_AS[name], _HINTS.get(name) or _ABOUT[name].metadata["meaning"]
        line = named(LineEdit(such_as, such_as.removeprefix("Such as: ")), _TITLES[name], meaning)
        if _is_number(name):
            decimals = "" if _ABOUT[name].metadata["whole"] else "([.,][0-9]{0,2})?"
            form = _HOURS if name == "hours_slept" else "[-+]?[0-9]{0,4}" + decimals
            line.setValidator(QRegularExpressionValidator(QRegularExpression(form), line))
        line.setMaxLength(TEXT_LIMIT)
        line.textEdited.connect(self.changed)
        return line

    def _lay_out(self) -> None:
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(12)
        self._grid.setVerticalSpacing(8)
        self._short, self._long, self._folded = (
            [self._titled(name, title) for name, title in each.items()] for each in (_SHORT, _LONG, _SHIFTS)
        )
        tip = "Cycle day, heat, altitude, travel, medicine, not comparable"
        self.more = controls.button("What shifts readings for weeks", "Alt+M", tip, None, "Read")
        self.more.setCheckable(True)
        self.more.toggled.connect(lambda _: self.arrange())
        note = label("small", "", "Ratings from 1, very good or low, to 7, very bad or high. All optional.")
        self._column = stack(self, self._grid, self.more, note)
        self._column.setAlignment(self.more, Qt.AlignmentFlag.AlignLeft)
        self.arrange()

    def _titled(self, name: str, words: str) -> tuple[QLabel, QWidget]:
        field = self._boxes.get(name) or self._lines[name]
        return buddy_of(field, words), field

    def arrange(self) -> None:
        """Two pairs beside each other, or one where the text is large and there is little room."""
        theme = self.context.theme
        large = theme.text_percent > _ONE_COLUMN_OVER_PERCENT and self.width() < theme.px(_TWO_COLUMNS_FROM)
        beside = 1 if large else 2
        self._column.setContentsMargins(0, 0, max(0, self.width() - theme.px(_WIDEST)), 0)
        place = 0
        for pairs, across in ((self._short, 1), (self._long, beside), (self._folded, 1)):
            for title, field in pairs:
                row, side = divmod(place, beside)
                for part, column, columns in ((title, 2 * side, 1), (field, 2 * side + 1, 2 * across - 1)):
                    self._grid.removeWidget(part)
                    self._grid.addWidget(part, row, column, 1, columns)
                place += across
            place += -place % beside  # the next ones begin a row
        for title, field in self._folded:
            title.setVisible(self.more.isChecked())
            field.setVisible(self.more.isChecked())
        for side in (1, 3):
            self._grid.setColumnStretch(side, 1 if side < 2 * beside else 0)


def _is_number(name: str) -> bool:
    return "low" in _ABOUT[name].metadata


def _number(name: str, text: str) -> float | None:
    """A number between its bounds; None where nothing is said, or what can't be."""
    about, text = _ABOUT[name].metadata, text.replace(",", ".")
    try:
        value = int(text) if about["whole"] else float(text)
    except ValueError:
        return None
    return value if about["low"] <= value <= about["high"] else None
