"""The columns of a reading, each told once: what it means, where a reading holds it, how it is stored and exported.

The tables, the rows, the mornings CSV and JSON follow from COLUMNS. A new figure is a new field of
shared.reading.Metrics, a new item of context one of shared.morning.Context, with what they mean in their metadata;
anything else is one more column below. What a released version didn't know yet carries `since`, the schema that brings
it.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from operator import attrgetter
from typing import Any, Literal

from dawnbeat.journal.folder import is_safe_path
from dawnbeat.shared.checked_fields import one_of, plain_text
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import guard, unguard
from dawnbeat.shared.morning import ORIGINS, POSTURES, Context, StoredReading, posture_from
from dawnbeat.shared.reading import Finding, Metrics, findings_as_data, findings_from_data
from dawnbeat.shared.wording import with_fixed_offset

# The schema of the first release; the numbers before it belong to journals of the time before.
FIRST_SCHEMA = 4

# taken: how and when the reading was taken. analysed: what an analysis says, replaced as a whole by a fresh one.
# context: what the runner adds. derived: written to the CSV for comfort, checked or ignored when it is read back.
_INTERVALS = "intervals95"

Part = Literal["taken", "analysed", "context", "derived"]


@dataclass(frozen=True)
class Kind:
    """How a value is stored and written: as SQL and as a CSV cell, both ways. None never comes here.

    from_stored: None where the stored value is the value itself. check: a condition on the stored value, with {} for
    the column's name.
    """

    sql: str
    cell: Callable[[Any], str]
    from_cell: Callable[[str], Any]
    stored: Callable[[Any], Any] = lambda value: value
    from_stored: Callable[[Any], Any] | None = None
    check: str = ""


@dataclass(frozen=True)
class Column:
    """One column. path: where a reading, or an analysis, holds it, by attributes; empty where by its own name.

    needed: a CSV must have it and each cell filled. stored_as: its name in the database, where that is another one.
    rule: of the SQL column, such as NOT NULL with a default. exported: whether it stands in the CSV.
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    part: Part
    path: str = ""
    needed: bool = False
    exported: bool = True
    stored_as: str = ""
    rule: str = ""
    since: int = FIRST_SCHEMA

    @property
    def sql_name(self) -> str:
        """Its name in the database."""
        return self.stored_as or self.name

    @property
    def is_number(self) -> bool:
        """Whether its cells are numbers, which may have a decimal point."""
        return self.kind.sql == "REAL"

    @property
    def definition(self) -> str:
        """The column in CREATE TABLE or ALTER TABLE ADD COLUMN."""
        check = f"CHECK ({self.kind.check.format(self.sql_name)})" if self.kind.check else ""
        return " ".join(word for word in (self.sql_name, self.kind.sql, self.rule, check) if word)

    def value(self, reading: Any) -> Any:
        """The value of a StoredReading or an Analysis, as plain data; a number that isn't finite is None."""
        found = self._getter(reading)
        return None if isinstance(found, float) and not math.isfinite(found) else found

    @functools.cached_property
    def _getter(self) -> Callable[[Any], Any]:
        if self.path != _INTERVALS:
            return attrgetter(self.path or self.name)
        name, side = self.name.rpartition("_")[::2]
        return lambda reading: reading.intervals95.get(name, (None, None))[side == "high"]


def _any_number(cell: str) -> float:
    number = float(cell)
    if not math.isfinite(number):
        raise ValueError(cell)
    return number


def _number(cell: str) -> float:
    number = _any_number(cell)
    if number < 0:
        raise ValueError(cell)
    return number


def _whole(cell: str) -> int:
    number = int(cell)
    # SQLite's own limit for a whole number.
    if not -(2**63) <= number < 2**63:
        raise ValueError(cell)
    return number


def _count(cell: str) -> int:
    number = _whole(cell)
    if number < 0:
        raise ValueError(cell)
    return number


def _flag(cell: str) -> bool:
    word = cell.strip().lower()
    if word not in ("yes", "no"):
        raise ValueError(cell)
    return word == "yes"


def _object(text: str) -> dict[str, Any]:
    found = json.loads(text)
    if not isinstance(found, dict):
        raise ValueError(text)
    return found


def _settings(cell: str) -> str:
    text = unguard(cell)
    _object(text)
    return text


def _text(cell: str) -> str:
    return plain_text("the cell", unguard(cell))


def _recording(cell: str) -> str:
    path = unguard(cell)
    if not is_safe_path(path):
        raise DawnbeatError(f"{path[:40]!r} is no path of a recording: give one such as recordings/2025-01-31/06-30-00")
    return path


@functools.lru_cache(maxsize=4096)
def _stored_findings(text: str) -> tuple[Finding, ...]:
    return findings_from_data(json.loads(text))


def _as_json(value: Any) -> str:
    # In ASCII, since a text in it can be one that no file holds, such as half of a pair of surrogates.
    return json.dumps(value, allow_nan=False)


def _one_of(names: Iterable[str]) -> str:
    return f"{{}} IN ({', '.join(repr(name) for name in names)})"


def _day(cell: str) -> date:
    return datetime.strptime(cell, "%Y-%m-%d").date()


def _moment(cell: str) -> datetime:
    return with_fixed_offset(datetime.fromisoformat(cell))


# NUL can't be typed into a note, but an older journal may hold one.
_TEXT = Kind("TEXT", guard, _text, from_stored=lambda stored: stored.replace("\0", ""))
_POSTURE = Kind("TEXT", guard, lambda cell: posture_from(cell.strip().lower()), check=_one_of(POSTURES))
_ORIGIN = Kind("TEXT", guard, lambda cell: one_of("origin", cell.strip().lower(), ORIGINS), check=_one_of(ORIGINS))
_DAY = Kind("TEXT", date.isoformat, _day, date.isoformat, date.fromisoformat)
_MOMENT = Kind("TEXT", datetime.isoformat, _moment, datetime.isoformat, datetime.fromisoformat)
_NUMBER = Kind("REAL", lambda value: repr(float(value)), _number, float)
_ANY_NUMBER = dataclasses.replace(_NUMBER, from_cell=_any_number)
_COUNT = Kind("INTEGER", lambda value: str(int(value)), _count, int)
_WHOLE = dataclasses.replace(_COUNT, from_cell=_whole)
_FLAG = Kind("INTEGER", lambda value: "yes" if value else "no", _flag, int, bool, "{} IN (0, 1)")
_SETTINGS = Kind("TEXT", guard, _settings)
_RECORDING = Kind("TEXT", guard, _recording)
_FINDINGS = Kind(
    "TEXT",
    lambda value: guard(_as_json(findings_as_data(value))),
    lambda cell: findings_from_data(json.loads(unguard(cell))),
    lambda value: _as_json(findings_as_data(value)),
    lambda text: _stored_findings(text),
)
_ANSWER = Kind("TEXT", lambda value: guard(_as_json(value)), lambda cell: _object(unguard(cell)), _as_json, _object)


def _figures() -> list[Column]:
    found = []
    for each in dataclasses.fields(Metrics):
        about, name = each.metadata, each.name
        kind = _COUNT if about["whole"] else _ANY_NUMBER if about["logarithm"] else _NUMBER
        rule = "" if each.default is None else f"NOT NULL DEFAULT {each.default}"
        since = about.get("since", FIRST_SCHEMA)
        found.append(
            Column(name, kind, about["unit"], about["meaning"], "analysed", f"metrics.{name}", rule=rule, since=since)
        )
        if about["interval"]:
            for side, end in (("low", "lower"), ("high", "upper")):
                meaning = f"{end} end of the 95 % interval of {name}"
                found.append(
                    Column(f"{name}_{side}", kind, about["unit"], meaning, "analysed", _INTERVALS, since=since)
                )
    return found


def _notes() -> list[Column]:
    found = []
    for each in dataclasses.fields(Context):
        about, name = each.metadata, each.name
        if "flag" in about:
            kind = _FLAG
        elif "low" in about:
            low, high = about["low"], about["high"]
            kind = _WHOLE if about["whole"] else _ANY_NUMBER
            kind = dataclasses.replace(kind, check=f"{{}} BETWEEN {low} AND {high}")
        else:
            kind = _TEXT
        since = about.get("since", FIRST_SCHEMA)
        found.append(Column(name, kind, about["unit"], about["meaning"], "context", f"context.{name}", since=since))
    return found


def reading_from(values: Mapping[str, Any], reading_id: int = 0, counts: bool = False) -> StoredReading:
    """The reading that these values make, by the names of COLUMNS; `context` and `verdict` are one value each."""
    intervals95 = {}
    for name, low_name, high_name in _ENDS:
        low, high = values[low_name], values[high_name]
        if low is not None and high is not None:
            intervals95[name] = (low, high)
    return StoredReading(
        id=reading_id,
        metrics=Metrics(*[values[name] for name in METRICS]),
        intervals95=intervals95,
        verdict=values["verdict"],
        context=values["context"],
        counts=counts,
        **{path: values[name] for path, name in _OF_READING},
    )


_taken = functools.partial(Column, part="taken")
_analysed = functools.partial(Column, part="analysed")
_derived = functools.partial(Column, part="derived")
_ALWAYS, _NO_AT_FIRST = "NOT NULL", "NOT NULL DEFAULT 0"
_ANSWERED = "yes or no"

COLUMNS: tuple[Column, ...] = (
    _taken("uid", _TEXT, "", "name of the reading, the same in every journal", rule="NOT NULL UNIQUE"),
    _taken("date", _DAY, "YYYY-MM-DD", "local day", path="local_date", stored_as="local_date", rule=_ALWAYS),
    _taken("began", _MOMENT, "ISO 8601 with offset", "local time when it began", needed=True, rule=_ALWAYS),
    _taken("posture", _POSTURE, "", " or ".join(POSTURES), needed=True, rule=_ALWAYS),
    _taken("camera", _TEXT, "", "name of the camera", rule="NOT NULL DEFAULT ''"),
    _taken("origin", _ORIGIN, "", f"what took it: {', '.join(ORIGINS)}", rule=f"NOT NULL DEFAULT '{ORIGINS[0]}'"),
    _analysed("duration_s", _NUMBER, "s", "length of the recording", needed=True, rule=_ALWAYS),
    _analysed("frame_rate_hz", _NUMBER, "1/s", "frames a second"),
    _analysed("channel", _TEXT, "", "colour that carried the pulse"),
    *_figures(),
    _analysed("timing_error_ms", _NUMBER, "ms", "standard deviation of the error of one beat time"),
    _analysed(
        "usable", _FLAG, _ANSWERED, "the variability may be used", path="verdict.usable", needed=True, rule=_ALWAYS
    ),
    _analysed(
        "pulse_usable", _FLAG, _ANSWERED, "the mean pulse may be used", path="verdict.pulse_usable", rule=_NO_AT_FIRST
    ),
    _analysed("irregular", _FLAG, _ANSWERED, "it kept coming irregularly", path="verdict.irregular", rule=_NO_AT_FIRST),
    _analysed(
        "findings", _FINDINGS, "JSON list", "codes with values", path="verdict.findings", rule="NOT NULL DEFAULT '[]'"
    ),
    _derived("version", _TEXT, "", "software version that analysed it"),
    _derived("settings", _SETTINGS, "JSON", "settings of the analysis", path="settings_json"),
    _taken("recording", _RECORDING, "", "path of its recording within the journal's folder"),
    _taken("picked", _FLAG, _ANSWERED, "the runner chose it for its day", rule=_NO_AT_FIRST),
    _derived("counts", _FLAG, _ANSWERED, "it is the reading that counts on its day"),
    _taken("binned_at", _MOMENT, "ISO 8601", "when it went to the bin", exported=False),
    _taken("answer", _ANSWER, "JSON", "what the runner was told, and what it rested on"),
    *_notes(),
)

BY_NAME: Mapping[str, Column] = {each.name: each for each in COLUMNS}
METRICS = tuple(each.name for each in dataclasses.fields(Metrics))
WITH_INTERVAL = tuple(each.name for each in dataclasses.fields(Metrics) if each.metadata["interval"])
CONTEXT = tuple(each.name for each in dataclasses.fields(Context))
_FIELDS = {each.name for each in dataclasses.fields(StoredReading)}
_ENDS = tuple((name, f"{name}_low", f"{name}_high") for name in WITH_INTERVAL)
_OF_READING = tuple(
    (each.path or each.name, each.name)
    for each in COLUMNS
    if (each.path or each.name) in _FIELDS - {"counts", _INTERVALS}
)


def part(*names: Part) -> tuple[Column, ...]:
    """The columns of these parts."""
    return tuple(each for each in COLUMNS if each.part in names)
