"""What the runner chose: one store that every command and every page obeys.

The choices are one JSON file, the detection settings a TOML file beside it. What a command is told (`--journal`,
`--settings`) and DAWNBEAT_HOME go before them.
"""

from __future__ import annotations

import dataclasses
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import platformdirs

from dawnbeat.journal.folder import DATABASE, HOME_VARIABLE, MARKER, data_folder, expanded
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.store import Journal
from dawnbeat.shared.checked_fields import check_fields, choice, flag, number, text
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import private_folder, replacing
from dawnbeat.shared.morning import POSTURES, Posture, posture_from
from dawnbeat.shared.settings import Settings, settings_from_toml

THEMES = ("system", "light", "dark")
DURATIONS_S = (60, 120, 180, 300)
SOURCES = ("camera", "stream", "rehearsal")
TEXT_PERCENT = (100, 200)
CHOICES_FILE = "window.json"
DETECTION_FILE = "detection.toml"
_LONGEST_HISTORY_DAYS = next(
    each.metadata["high"] for each in dataclasses.fields(RangeSettings) if each.name == "history_days"
)


@dataclass(frozen=True)
class Choices:
    """Everything on the Settings page; the metadata of each field says what it holds.

    Raises DawnbeatError for a value that can't be.
    """

    source: str = choice("camera", SOURCES, "where light comes from")
    camera: int = number(0, 0, 9999, "", "number of the camera", whole=True)
    stream: str = text("", "address of a network camera")
    duration_s: int = choice(120, DURATIONS_S, "length of a reading in seconds")
    posture: str = choice("lying", POSTURES, "how readings are taken")
    tone: bool = flag(False, "soft tone at start and end")
    theme: str = choice("system", THEMES, "light or dark")
    text_percent: int = number(100, *TEXT_PERCENT, "%", "size of the text", whole=True)
    journal: str = text("", "folder of the journal, empty for the usual place")
    video: bool = flag(False, "also save the picture")
    # RangeSettings that differ from the default, by name.
    ranges: dict[str, float] = field(default_factory=dict)
    met: bool = flag(False, "the first words were read")

    def __post_init__(self) -> None:
        check_fields(self)
        if not isinstance(self.ranges, dict):
            raise DawnbeatError("ranges holds numbers by name")
        self.range_settings  # noqa: B018  raises where a window can't be

    @property
    def range_settings(self) -> RangeSettings:
        """The windows of the usual range; names that this version doesn't know are passed over."""
        known = {each.name for each in dataclasses.fields(RangeSettings)}
        return RangeSettings(**{name: value for name, value in self.ranges.items() if name in known})  # type: ignore[arg-type]

    @property
    def lies(self) -> Posture:
        """The posture as its type."""
        return posture_from(self.posture)

    @property
    def source_words(self) -> str:
        """The source in the words that `capture.open_source` understands."""
        if self.source == "stream":
            return self.stream.strip()
        return "rehearsal" if self.source == "rehearsal" else f"camera:{self.camera}"


def config_folder() -> Path:
    """Where the choices lie, not created here: DAWNBEAT_HOME, else the user's folder for settings."""
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return expanded(named)
    return platformdirs.user_config_path("dawnbeat", appauthor=False)


class ChoiceStore:
    """Loads and writes the choices. folder: instead of the usual place."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = config_folder() if folder is None else folder

    @property
    def path(self) -> Path:
        """The file of the choices."""
        return self.folder / CHOICES_FILE

    @property
    def detection_path(self) -> Path:
        """The TOML file of the detection settings that readings are analysed with."""
        return self.folder / DETECTION_FILE

    def load(self) -> Choices:
        """The choices on disk; what is missing keeps its usual value, and unknown names are passed over.

        Raises DawnbeatError for a file that is damaged or holds what can't be: figures that rest on other choices
        than the runner's, or a second journal begun beside the chosen one, would be worse.
        """
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
            if not isinstance(found, dict):
                raise ValueError("it holds no names and values")
            ranges = found.get("ranges")
            if isinstance(ranges, dict) and isinstance(days := ranges.get("history_days"), int | float):
                # Once up to a year could be chosen; the longest that can be now is nearest to what was meant.
                ranges["history_days"] = min(days, _LONGEST_HISTORY_DAYS)
            known = {each.name for each in dataclasses.fields(Choices)}
            return Choices(**{name: value for name, value in found.items() if name in known})
        except FileNotFoundError:
            return Choices()
        except (OSError, ValueError, RecursionError, DawnbeatError) as error:
            why = one_line(error.strerror if isinstance(error, OSError) and error.strerror else error)
            raise DawnbeatError(
                f"the choices in {one_line(self.path)} can't be used ({why}): mend the file, or move it "
                "away to go on with the usual choices"
            ) from error

    def save(self, choices: Choices) -> None:
        """Write the choices, whole or not at all; raises DawnbeatError when the disk refuses."""
        self._write(self.path, dataclasses.asdict(choices))

    def load_state(self) -> dict[str, Any]:
        """What the window remembers of its place on the screen; empty where nothing usable is there."""
        try:
            found = json.loads(self._state_path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return found if isinstance(found, dict) else {}

    def save_state(self, state: dict[str, Any]) -> None:
        """Remember the window's place; raises DawnbeatError when the disk refuses."""
        self._write(self._state_path, state)

    @property
    def _state_path(self) -> Path:
        return self.folder / "place.json"

    def _write(self, path: Path, values: dict[str, Any]) -> None:
        with plain_errors("save the settings", path):
            private_folder(self.folder)
            with replacing(path) as file:
                file.write(json.dumps(values, indent=1).encode("utf-8"))


def home_to_open(choices: Choices, asked: Path | None = None) -> Path:
    """The journal's folder: the one asked for, that of DAWNBEAT_HOME, the chosen one, or the usual place.

    Raises DawnbeatError where the chosen one holds no journal, as when its disk is not connected: beginning a new
    one there would hide every earlier morning.
    """
    if asked is not None or os.environ.get(HOME_VARIABLE) or not choices.journal:
        return data_folder(asked)
    chosen = expanded(choices.journal)
    if not (chosen / DATABASE).exists() and not (chosen / MARKER).exists():
        raise DawnbeatError(
            f"the journal chosen under Settings is not in {one_line(chosen)}: connect its disk, or name another with "
            f"--journal or {HOME_VARIABLE}"
        )
    return chosen


def chosen_home(asked: Path | None) -> Path:
    """The journal's folder as `home_to_open` finds it, by the choices on disk."""
    return home_to_open(ChoiceStore().load(), asked)


def open_journal(asked: Path | None, new: bool = False) -> Journal:
    """The journal, open; raises DawnbeatError where it can't be opened.

    new: whether a folder that isn't there yet may be asked for, by a command that will put something in it.
    """
    if asked is not None and not new and not expanded(asked).exists():
        raise DawnbeatError(f"there is no journal in {one_line(asked)}: check the name given with --journal")
    return Journal.open(chosen_home(asked))


def chosen_ranges() -> RangeSettings:
    """The windows of the usual range, by the choices on disk."""
    return ChoiceStore().load().range_settings


def reading_settings(path: Path | None) -> Settings:
    """The detection settings for readings: those of the file named, else those made the default, else the usual."""
    kept = ChoiceStore().detection_path
    if path is None and kept.exists():
        path = kept
    return settings_from_toml(path) if path is not None else Settings()
