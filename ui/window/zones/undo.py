"""Changes of maxima, threshold pulses and zone sets that Ctrl+Z takes back exactly."""

from __future__ import annotations

from collections.abc import Callable

from dawnbeat.training.zone_store import ZoneSnapshot, restore, snapshot
from dawnbeat.ui.window.parts.context import AppContext


def change_zones(context: AppContext, words: str, change: Callable[[], object]) -> bool:
    """Do a change; returns whether it was done. One entry may begin a new set, so all is put back together."""
    journal = context.journal
    states: list[ZoneSnapshot] = []

    def forth() -> None:
        if len(states) == 2:
            restore(journal, states[1], expected=states[0])
            return
        before = snapshot(journal)
        change()
        states[:] = [before, snapshot(journal)]

    return context.do(words, forth, lambda: restore(journal, states[0], expected=states[1]))
