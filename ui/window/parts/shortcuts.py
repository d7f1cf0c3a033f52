"""Every key of the window in one place, so that tooltips, the overview and the actions agree."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QAbstractButton


@dataclass(frozen=True)
class Key:
    """One key. keys: in Qt's portable words. does: what it does. where: the page, or "everywhere"."""

    keys: str
    does: str
    where: str = "everywhere"


def shown(keys: str) -> str:
    """A key as this system writes it."""
    return QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText)


_known: dict[tuple[str, str], Key] = {}


def register(*keys: Key) -> None:
    """Add keys to the overview; pages call this when they are made. Adding one twice does no harm."""
    for key in keys:
        _known[key.where, key.keys] = key


def overview() -> dict[str, list[Key]]:
    """All keys by where they work, "everywhere" first."""
    found: dict[str, list[Key]] = {"everywhere": []}
    for key in _known.values():
        found.setdefault(key.where, []).append(key)
    return found


def give(button: QAbstractButton, key: Key, tip: str = "") -> None:
    """Give a button its key, a tooltip that names it, an accessible name, and a place in the overview."""
    # A button's own shortcut waits a tenth of a second before it acts.
    QShortcut(QKeySequence(key.keys), button, button.click)
    button.setToolTip(f"{tip or key.does} ({shown(key.keys)})")
    button.setAccessibleName(button.text().replace("&", "") or key.does)
    button.setAccessibleDescription(button.toolTip())
    register(key)
