"""Every parameter of the detection, with unit, range and meaning, in one frozen object."""

from __future__ import annotations

import dataclasses
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dawnbeat.shared.errors import DawnbeatError, one_line


def _parameter(default: Any, low: float, high: float, unit: str, meaning: str) -> Any:
    return field(default=default, metadata={"low": low, "high": high, "unit": unit, "meaning": meaning})


@dataclass(frozen=True)
class Settings:
    """Parameters of `analyse`; the metadata of each field holds unit, range and meaning.

    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    highpass_hz: float = _parameter(0.5, 0.1, 2.0, "Hz", "lower cut-off of the band-pass")
    lowpass_hz: float = _parameter(8.0, 3.0, 20.0, "Hz", "upper cut-off of the band-pass")

    def __post_init__(self) -> None:
        for parameter in dataclasses.fields(self):
            self._check(parameter)

    def _check(self, parameter: dataclasses.Field[Any]) -> None:
        value = getattr(self, parameter.name)
        if "low" not in parameter.metadata:
            return
        low, high, unit = (parameter.metadata[key] for key in ("low", "high", "unit"))
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise DawnbeatError(
                f"setting {parameter.name} is {value!r}: give a number from {low} to {high} {unit}"
            )
        if not low <= value <= high:
            raise DawnbeatError(f"setting {parameter.name} is {value}: it goes from {low} to {high} {unit}")


def settings_from_toml(path: Path) -> Settings:
    """Read settings from a TOML file of `name = value` lines; what the file leaves out keeps its default.

    Raises DawnbeatError when the file is missing, is not TOML, or names an unknown setting or a value out of range.
    """
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DawnbeatError(f"can't read the settings {path}: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DawnbeatError(f"{path} is not a TOML file: {one_line(error)}") from error
    known = {parameter.name for parameter in dataclasses.fields(Settings)}
    unknown = sorted(set(values) - known)
    if unknown:
        raise DawnbeatError(
            f"{path} names an unknown setting {unknown[0]!r}: known are {', '.join(sorted(known))}"
        )
    return Settings(**values)


def settings_to_toml(settings: Settings) -> str:
    """The settings as TOML text that `settings_from_toml` reads, each with its meaning as a comment."""
    lines = []
    for parameter in dataclasses.fields(settings):
        about = parameter.metadata
        value = getattr(settings, parameter.name)
        lines.append(f"# {about['meaning']} ({about['unit']}, {about['low']} to {about['high']})")
        lines.append(f"{parameter.name} = {value!r}")
    return "\n".join(lines) + "\n"
