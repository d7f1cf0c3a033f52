"""Help: the first words again, every key, and the method with its sources."""

from __future__ import annotations

from html import escape
from typing import Any

from PySide6.QtWidgets import QLabel, QTextBrowser, QVBoxLayout

from dawnbeat.shared.version import software_version
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, Page, PageWidget
from dawnbeat.ui.window.shell.method_words import FIRST_WORDS, METHOD


def make_page(context: AppContext) -> Page:
    """The page Help."""
    return HelpPage(context)


class HelpPage(PageWidget):
    """One long page to read; arrow keys scroll it."""

    key = "help"
    title = "Help"

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        heading = QLabel("Help")
        heading.setProperty("class", "title")
        self.words = QTextBrowser()
        self.words.setOpenLinks(False)
        self.words.setAccessibleName("Help: how to hold the finger, keys, method and sources")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(20, 14, 20, 8)
        layout.addWidget(heading)
        layout.addWidget(self.words, 1)
        context.theme_changed.connect(lambda _: self._write())

    def shown(self, what: Any = None) -> None:
        """Write again: pages add their keys when they are first made."""
        self._write()
        self.words.setFocus()

    def _write(self) -> None:
        theme = self.context.theme
        parts = ["<h2>How to hold the finger, and what this is not</h2>"]
        parts += [f"<p>{escape(words)}</p>" for words in FIRST_WORDS]
        parts.append("<h2>Keys</h2><table cellspacing='0' cellpadding='3'>")
        for where, keys in controls.overview().items():
            name = "Everywhere" if where == "everywhere" else where[0].upper() + where[1:]
            parts.append(f"<tr><td colspan='2'><br><i>{escape(name)}</i></td></tr>")
            parts += [
                f"<tr><td><b>{escape(controls.shown(key.keys))}</b>&nbsp;&nbsp;&nbsp;</td>"
                f"<td>{escape(key.does)}</td></tr>"
                for key in keys
            ]
        parts.append("</table><h2>The method and its sources</h2>")
        parts += [f"<h3>{escape(title)}</h3><p>{escape(words)}</p>" for title, words in METHOD]
        parts.append(f"<p style='color:{theme.inks.soft}'>Dawnbeat {escape(software_version())}</p>")
        at = self.words.verticalScrollBar().value()
        self.words.setHtml("".join(parts))
        self.words.verticalScrollBar().setValue(at)
