"""What a page of the window is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from PySide6.QtWidgets import QWidget


class Page(Protocol):
    """One page. A module `..._page.py` in this folder exports `make_page(context) -> Page`.

    key: its short name, as in `dawnbeat window --page KEY`. title: the word in the navigation.
    widget: what is shown; a page that is itself a widget returns itself.
    """

    key: str
    title: str

    @property
    def widget(self) -> QWidget:
        """What is shown."""
        ...

    def shown(self, what: Any = None) -> None:
        """Called whenever the page comes to the front; `what` is what `context.go` was given."""
        ...

    def hidden(self) -> None:
        """Called when another page comes to the front: stop cameras and timers here."""
        ...

    def busy(self) -> str | None:
        """What closing the window would break off, in one sentence; None where nothing is going on."""
        ...

    def closing(self) -> None:
        """Called once before the window closes: keep what there is, and let devices go."""
        ...


MakePage = Callable[..., Page]


class PageWidget(QWidget):
    """A page that is itself a widget, with nothing to stop and nothing to lose. Override what differs."""

    key = ""
    title = ""

    @property
    def widget(self) -> QWidget:
        """The page itself."""
        return self

    def shown(self, what: Any = None) -> None:
        """Nothing to do."""

    def hidden(self) -> None:
        """Nothing to stop."""

    def busy(self) -> str | None:
        """Nothing is going on."""
        return None

    def closing(self) -> None:
        """Nothing to keep."""
