"""What a command means where it names nothing: the journal and the detection that the window's settings name."""

from __future__ import annotations

from pathlib import Path

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore, home_to_open
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.settings import Settings, settings_from_toml


def chosen_home(asked: Path | None) -> Path | None:
    """The folder to open; None for the usual place."""
    return home_to_open(ChoiceStore().load(), asked)


def open_journal(asked: Path | None, new: bool = False) -> Journal:
    """The journal, open; raises DawnbeatError where it can't be opened.

    new: whether a folder that isn't there yet may be asked for, by a command that will put something in it.
    """
    if asked is not None and not new and not asked.expanduser().exists():
        raise DawnbeatError(f"there is no journal in {one_line(asked)}: check the name given with --journal")
    return Journal.open(chosen_home(asked))


def reading_settings(path: Path | None) -> Settings:
    """The detection settings for readings: those of the file named, else those made the default, else the usual."""
    kept = ChoiceStore().detection_path
    if path is None and kept.exists():
        path = kept
    return settings_from_toml(path) if path is not None else Settings()
