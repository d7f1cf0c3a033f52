"""Beat intervals of a chest strap: a text file becomes a reading, and a check of the camera against it is kept."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.store import Journal
from dawnbeat.morning.keeping import Kept, saved
from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import refuse_special
from dawnbeat.shared.morning import Circumstances, Context, Posture
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray
from dawnbeat.training.zone_store import set_setting, setting

MAX_BYTES = 16 * 2**20
_CHECKS = "strap_checks"
_MOST_CHECKS = 50


def numbers_in(path: Path) -> FloatArray:
    """The numbers of a text file, (n, 1) or (n, 2), n may be 0; a first line without numbers is a heading.

    Raises DawnbeatError where the file can't be read, or a line holds anything else.
    """
    with plain_errors("read the intervals", path):
        refuse_special(path)
        if path.stat().st_size > MAX_BYTES:
            raise DawnbeatError(f"{one_line(path)} is larger than any list of intervals: give the one of one reading")
        data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise DawnbeatError(f"{one_line(path)} is no text file: give one number a line") from None
    rows: list[list[float]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            row = [float(cell) for cell in re.split(r"[,;\t ]+", line) if cell]
            if not all(map(math.isfinite, row)):
                raise ValueError
        except ValueError:
            if number > 1:
                raise DawnbeatError(
                    f"{one_line(path)}, line {number}: {one_line(line)[:40]!r} is not a number: give one number a line"
                ) from None
            continue
        if row:
            rows.append(row)
    if len({len(row) for row in rows}) > 1 or (rows and len(rows[0]) > 2):
        raise DawnbeatError(f"{one_line(path)} is no list of intervals: give one a line, or a time and an interval")
    return np.array(rows, dtype=np.float64).reshape(len(rows), -1 if rows else 1)


def load_intervals(path: Path) -> FloatArray:
    """The beat intervals of a text file, (m,) in milliseconds.

    One interval a line in milliseconds or seconds, or one beat time a line in seconds; or two columns, a time and the
    interval that ends then. Raises DawnbeatError for anything else.
    """
    table = numbers_in(path)
    if len(table) < 3:
        raise DawnbeatError(f"{one_line(path)} is no list of intervals: give one a line, or a time and an interval")
    last = table[:, -1]
    if table.shape[1] == 1 and bool(np.all(np.diff(last) > 0)):
        last = np.diff(last)  # numbers that only grow are times of beats
    return _in_ms(last, path)


def _in_ms(interval: FloatArray, path: Path) -> FloatArray:
    middle = float(np.median(interval))
    in_ms = interval if middle >= 100.0 else 1000.0 * interval
    if interval.min() <= 0 or not 200.0 <= float(np.median(in_ms)) <= 3000.0:
        raise DawnbeatError(f"the intervals of {one_line(path)} are no heart's: give milliseconds or seconds")
    return in_ms


def take_in(
    path: Path,
    began: datetime,
    posture: Posture,
    home: Path,
    ranges: RangeSettings,
    settings: Settings,
    context: Context | None = None,
) -> Kept:
    """Make a reading of a file of intervals and save it, with an origin and so a usual range of its own.

    Raises DawnbeatError where the file can't be read or the journal refuses.
    """
    from dawnbeat.signal.analysis import analyse_intervals

    analysis = analyse_intervals(load_intervals(path), settings)
    taken = Circumstances(began, posture, f"chest strap, {path.name}", context or Context(), origin="strap")
    kept = saved(Kept(analysis, taken), home, ranges)
    if kept.trouble:
        raise DawnbeatError(kept.trouble)
    return kept


def keep_check(journal: Journal, check: dict[str, Any], camera: str, strap: str) -> None:
    """Keep the outcome of a comparison of camera and strap, with when it was made; the last fifty stay."""
    made = {"made": datetime.now(UTC).isoformat(timespec="seconds"), "camera": camera, "strap": strap, **check}
    set_setting(journal, _CHECKS, [*checks(journal), made][-_MOST_CHECKS:])


def checks(journal: Journal) -> list[dict[str, Any]]:
    """The comparisons that were kept, the oldest first."""
    found = setting(journal, _CHECKS, [])
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []
