"""The methods side by side: one table, one picture, and how far they differ."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from dawnbeat.training import cautions
from dawnbeat.training.zones import Compared, apart_words
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.small_tables import fit_rows, plain_table, write_rows
from dawnbeat.ui.window.zones.picture import ZonesPicture

_HEADINGS = ("Method", "Top of easy", "Difference", "Boundaries, bpm", "Boundaries, %")
_LEGEND = (
    "Each row is a method; the numbers are the zones. The harder a zone, the denser its ink, and above the top of easy "
    "it is hatched. ▾ marks the top of easy, and the broken line is that of the first row."
)


class MethodsView(QWidget):
    """Shows what `compare` found."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.apart = _label("", "How far the methods lie apart")
        self.picture = ZonesPicture(context)
        self.table = plain_table(_HEADINGS, "Methods side by side")
        self.legend = _label("small", "How to read the picture", _LEGEND)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.apart)
        layout.addWidget(self.picture)
        layout.addWidget(self.legend)
        layout.addWidget(self.table)
        layout.addWidget(_label("small", "Talk test", cautions.TALK_TEST))
        context.theme_changed.connect(lambda _: self._fit())

    def show_methods(self, compared: Sequence[Compared]) -> None:
        """Draw and list these."""
        self.apart.setText(apart_words(compared) or "With one method known there is nothing to compare yet.")
        self.picture.show_methods(compared)
        for widget in (self.picture, self.legend):
            widget.setVisible(any(row.zones is not None for row in compared))
        rows = []
        for each in compared:
            if each.zones is None:
                rows.append((each.method, f"needs {each.missing}", "", "", ""))
                continue
            rows.append(
                (
                    each.method,
                    f"{each.zones.top_of_easy_bpm} bpm",
                    "" if not each.difference_bpm else f"{each.difference_bpm:+d} bpm",
                    " / ".join(str(top) for top in each.zones.tops_bpm),
                    " / ".join(f"{bound:g}" for bound in each.zones.scheme.boundaries_pct),
                )
            )
        write_rows(self.table, rows)
        self._fit()

    def _fit(self) -> None:
        fit_rows(self.table, 4, self.context.theme.px(18))


def _label(style: str, name: str, text: str = "") -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    label.setProperty("class", style)
    label.setAccessibleName(name)
    return label
