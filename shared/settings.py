"""Every parameter of the detection, with unit, range and meaning, in one frozen object."""

from __future__ import annotations

import dataclasses
import tomllib
from dataclasses import dataclass
from pathlib import Path

from dawnbeat.shared.checked_fields import check_fields, choice, number
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import refuse_special
from dawnbeat.shared.trace import CHANNELS


@dataclass(frozen=True)
class Settings:
    """Parameters of `analyse`; the metadata of each field holds unit, range and meaning.

    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    channel: str = choice("auto", ("auto", *CHANNELS), "colour that carries the pulse")
    max_gap_s: float = number(0.2, 0.05, 1.0, "s", "longest hole between frames that is bridged")
    highpass_hz: float = number(0.5, 0.1, 2.0, "Hz", "lower cut-off of the band in which beats are found")
    lowpass_hz: float = number(8.0, 3.0, 20.0, "Hz", "upper cut-off of the band in which beats are found")
    timing_lowpass_hz: float = number(12.0, 3.0, 20.0, "Hz", "upper cut-off of the wave that beats are timed on")
    lowest_bpm: float = number(25.0, 20.0, 60.0, "bpm", "slowest pulse looked for")
    highest_bpm: float = number(230.0, 100.0, 240.0, "bpm", "fastest pulse looked for")
    period_window_s: float = number(8.0, 4.0, 30.0, "s", "window in which the wave is compared with itself")
    rhythm_cost: float = number(0.8, 0.0, 5.0, "", "how much an odd interval counts against a beat")
    edge_before_ms: float = number(220.0, 40.0, 300.0, "ms", "edge compared from this long before the beat")
    edge_after_ms: float = number(120.0, 40.0, 400.0, "ms", "edge compared until this long after the beat")
    whole_before_ms: float = number(150.0, 40.0, 300.0, "ms", "whole beat compared from this long before the beat")
    whole_after_ms: float = number(400.0, 100.0, 600.0, "ms", "whole beat compared until this long after the beat")
    min_likeness: float = number(0.7, 0.0, 1.0, "", "least correlation of a beat with the median beat")
    min_height_ratio: float = number(0.35, 0.0, 1.0, "", "least height of a beat beside those around it")
    max_height_ratio: float = number(2.5, 1.0, 10.0, "", "greatest height of a beat beside those around it")
    max_excursion_ratio: float = number(2.0, 1.0, 10.0, "", "greatest swing between beats beside the usual")
    max_misfit_ratio: float = number(3.5, 1.0, 50.0, "", "greatest misfit of an edge beside those around it")
    max_beat_error_ms: float = number(15.0, 1.0, 100.0, "ms", "greatest timing error of a beat that counts")
    min_kept_s: float = number(90.0, 10.0, 600.0, "s", "kept time that a usable reading needs at the most")
    min_kept_share: float = number(0.75, 0.0, 1.0, "", "share of the time that a usable reading keeps")

    min_long_share: float = number(0.6, 0.0, 1.0, "", "share of the time that a longer reading keeps")
    min_duration_s: float = number(25.0, 5.0, 300.0, "s", "shortest trace that can be a usable reading")
    min_frame_rate_hz: float = number(9.0, 5.0, 60.0, "Hz", "fewest frames a second of a usable reading")
    min_frames_a_beat: float = number(8.0, 2.0, 60.0, "", "fewest frames in an interval that counts")
    min_median_likeness: float = number(0.8, 0.0, 1.0, "", "least median likeness of a usable reading")
    max_timing_share: float = number(0.17, 0.0, 1.0, "", "share of RMSSD squared that timing errors may make up")
    min_agreement: float = number(0.7, 0.0, 1.0, "", "share of windows in which rates must agree")

    def __post_init__(self) -> None:
        check_fields(self, "setting ")


def settings_from_toml(path: Path) -> Settings:
    """Read settings from a TOML file of `name = value` lines; what the file leaves out keeps its default.

    Raises DawnbeatError when the file is missing, is not TOML, or names an unknown setting or a value out of range.
    """
    try:
        refuse_special(path)
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DawnbeatError(f"can't read the settings {path}: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise DawnbeatError(f"{path} is not a TOML file: {one_line(error)}") from error
    known = {parameter.name for parameter in dataclasses.fields(Settings)}
    unknown = sorted(set(values) - known)
    if unknown:
        raise DawnbeatError(f"{path} names an unknown setting {unknown[0]!r}: known are {', '.join(sorted(known))}")
    return Settings(**values)


def settings_to_toml(settings: Settings) -> str:
    """The settings as TOML text that `settings_from_toml` reads, each with its meaning as a comment."""
    lines = []
    for parameter in dataclasses.fields(settings):
        about = parameter.metadata
        value = getattr(settings, parameter.name)
        if "choices" in about:
            lines.append(f"# {about['meaning']}: {', '.join(about['choices'])}")
            lines.append(f'{parameter.name} = "{value}"')
            continue
        unit = f" {about['unit']}" if about["unit"] else ""
        lines.append(f"# {about['meaning']}, {about['low']:g} to {about['high']:g}{unit}")
        lines.append(f"{parameter.name} = {value!r}")
    return "\n".join(lines) + "\n"
