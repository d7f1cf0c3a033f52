"""What the runner chose in the window, kept as one JSON file. Nothing here needs Qt."""

from __future__ import annotations

import dataclasses
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import platformdirs

from dawnbeat.journal.faults import plain_errors
from dawnbeat.journal.place import HOME_VARIABLE, private_folder, replacing
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import POSTURES

THEMES = ("system", "light", "dark")
DURATIONS_S = (60, 120, 180, 300)
SOURCES = ("camera", "stream", "rehearsal")
TEXT_PERCENT = (100, 200)
CHOICES_FILE = "window.json"
DETECTION_FILE = "detection.toml"


@dataclass(frozen=True)
class Choices:
    """Everything on the Settings page. Raises DawnbeatError for a value that can't be.

    source: camera, stream or rehearsal. camera: its number. stream: address of a network camera.
    duration_s: length of a reading. tone: soft tone at start and end. theme: system, light or dark.
    text_percent: 100 to 200. journal: folder, empty for the usual place. video: also keep the picture.
    ranges: RangeSettings that differ from the default, by name. met: the first words were read.
    """

    source: str = "camera"
    camera: int = 0
    stream: str = ""
    duration_s: int = 120
    posture: str = "lying"
    tone: bool = False
    theme: str = "system"
    text_percent: int = 100
    journal: str = ""
    video: bool = False
    ranges: dict[str, float] = field(default_factory=dict)
    met: bool = False

    def __post_init__(self) -> None:
        for name, allowed in (("source", SOURCES), ("theme", THEMES), ("posture", POSTURES)):
            if getattr(self, name) not in allowed:
                raise DawnbeatError(f"{name} is {getattr(self, name)!r}: choose one of {', '.join(allowed)}")
        for name in ("tone", "video", "met"):
            if not isinstance(getattr(self, name), bool):
                raise DawnbeatError(f"{name} is {getattr(self, name)!r}: say true or false")
        if type(self.camera) is not int or not 0 <= self.camera <= 9999:
            raise DawnbeatError(f"camera is {self.camera!r}: give its number, such as 0")
        if type(self.duration_s) is not int or self.duration_s not in DURATIONS_S:
            raise DawnbeatError(f"duration_s is {self.duration_s!r}: choose {', '.join(map(str, DURATIONS_S))}")
        low, high = TEXT_PERCENT
        if type(self.text_percent) is not int or not low <= self.text_percent <= high:
            raise DawnbeatError(f"text_percent is {self.text_percent!r}: it goes from {low} to {high}")
        if not isinstance(self.stream, str) or not isinstance(self.journal, str):
            raise DawnbeatError("stream and journal are texts")
        if not isinstance(self.ranges, dict):
            raise DawnbeatError("ranges holds numbers by name")

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
        return Path(named).expanduser().absolute()
    return platformdirs.user_config_path("dawnbeat", appauthor=False)


class ChoiceStore:
    """Reads and writes the choices; a file that can't be used is told of in `trouble` and not overwritten
    before the runner changes something.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = config_folder() if folder is None else folder
        self.trouble: str | None = None

    @property
    def path(self) -> Path:
        """The file of the choices."""
        return self.folder / CHOICES_FILE

    @property
    def detection_path(self) -> Path:
        """The TOML file of the detection settings that readings are analysed with."""
        return self.folder / DETECTION_FILE

    def load(self) -> Choices:
        """The choices on disk; what is missing, unknown or can't be keeps its default."""
        self.trouble = None
        found = self._read(self.path)
        known = {each.name for each in dataclasses.fields(Choices)}
        choices = Choices()
        for name, value in found.items():
            if name not in known:
                continue
            try:
                choices = dataclasses.replace(choices, **{name: value})
            except DawnbeatError as error:
                self.trouble = f"{self.path}: {error}; the usual value is used"
        return choices

    def save(self, choices: Choices) -> None:
        """Write the choices, whole or not at all; raises DawnbeatError when the disk refuses."""
        self._write(self.path, dataclasses.asdict(choices))

    def load_state(self) -> dict[str, Any]:
        """What the window remembers of its place on the screen; empty where nothing usable is there."""
        return self._read(self.folder / "place.json")

    def save_state(self, state: dict[str, Any]) -> None:
        """Remember the window's place; raises DawnbeatError when the disk refuses."""
        self._write(self.folder / "place.json", state)

    def _read(self, path: Path) -> dict[str, Any]:
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, RecursionError):
            self.trouble = f"{path} can't be read, so the usual choices are used: delete or mend it"
            return {}
        return found if isinstance(found, dict) else {}

    def _write(self, path: Path, values: dict[str, Any]) -> None:
        with plain_errors("keep the settings", path):
            private_folder(self.folder)
            with replacing(path) as file:
                file.write(json.dumps(values, indent=1).encode("utf-8"))


def home_to_open(choices: Choices, asked: Path | None = None) -> Path | None:
    """The folder to open: the one asked for, DAWNBEAT_HOME, the chosen one; None for the usual place."""
    if asked is not None or os.environ.get(HOME_VARIABLE) or not choices.journal:
        return asked
    return Path(choices.journal)
