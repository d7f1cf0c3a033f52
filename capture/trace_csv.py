"""Reading and writing trace.csv: fast on good files, exact about the line where a bad one goes wrong."""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import refuse_special
from dawnbeat.shared.trace import FloatArray, Trace

COLOUR_COLUMNS = ("time_s", "red", "green", "blue")
_SHARE_COLUMNS = ("covered", "clipped")
_KNOWN_COLUMNS = (*COLOUR_COLUMNS, *_SHARE_COLUMNS)
_LARGEST_BYTES = 2**30
CUT_NOTE = "the last line was cut short and is left out"


def read_text(path: Path) -> str:
    """The text of a plain or gzipped file, with line ends as \\n and without a byte order mark.

    Raises DawnbeatError when the file is missing, unreadable, empty, too large, no whole gzip file or no
    text.
    """
    with plain_errors("read the recording", path):
        refuse_special(path)
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    if data[:2] == b"\x1f\x8b":
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
                data = packed.read(_LARGEST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            raise DawnbeatError(f"{path} is not a whole gzip file ({one_line(error)}): copy it again") from error
    elif path.suffix.lower() == ".gz":
        raise DawnbeatError(f"{path} is not a gzip file: copy it again, or drop .gz from its name")
    if len(data) > _LARGEST_BYTES:
        raise DawnbeatError(f"{path} holds more than 1 GiB of text: cut it into several recordings")
    # After a power cut some file systems fill the unwritten end with zero bytes.
    data = data.rstrip(b"\0")
    if not data.strip():
        raise DawnbeatError(f"{path} is empty: it should begin with the line {','.join(COLOUR_COLUMNS)}")
    if b"\0" in data:
        raise DawnbeatError(f"{path} is not a text file: give a recording, a CSV file or a video")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DawnbeatError(f"{path} is not a text file: give a recording, a CSV file or a video") from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def read_trace_csv(path: Path, *, ours: bool = False) -> tuple[Trace, tuple[str, ...]]:
    """The trace of a CSV file, and notes on what was forgiven.

    ours: the file was written by the recorder, which ends every line, so that a last line without an end is one
        that was cut short even where it reads well.

    Raises DawnbeatError, with file and line, for everything but a last line cut short.
    """
    columns, notes = _read_table(path, COLOUR_COLUMNS, _KNOWN_COLUMNS, ours=ours)
    shares = {name: columns[name] for name in _SHARE_COLUMNS if name in columns}
    colour = np.column_stack([columns[name] for name in COLOUR_COLUMNS[1:]])
    trace = Trace(columns["time_s"], colour, shares.get("covered"), shares.get("clipped"))
    return trace, notes


def read_times_csv(path: Path) -> FloatArray:
    """The rising `time_s` column of a CSV file, such as beats.csv; may be empty below the header.

    Raises DawnbeatError as `read_trace_csv` does.
    """
    return _read_table(path, ("time_s",), ("time_s",), rows_needed=False)[0]["time_s"]


def trace_csv_text(trace: Trace) -> str:
    """The trace as the text of a trace.csv."""
    names = list(COLOUR_COLUMNS)
    columns = [trace.time_s, *trace.colour.T]
    formats = ["%.6f", "%.5f", "%.5f", "%.5f"]
    for name in _SHARE_COLUMNS:
        values = getattr(trace, name)
        if values is not None:
            names.append(name)
            columns.append(values)
            formats.append("%.4f")
    text = io.StringIO()
    np.savetxt(text, np.column_stack(columns), fmt=formats, delimiter=",")
    return ",".join(names) + "\n" + text.getvalue()


def _read_table(
    path: Path, needed: Sequence[str], known: Sequence[str], *, rows_needed: bool = True, ours: bool = False
) -> tuple[dict[str, FloatArray], tuple[str, ...]]:
    """The known columns, and notes on what was forgiven."""
    text = read_text(path)
    lines = text.split("\n")
    head = next((number for number, line in enumerate(lines) if line.strip()), None)
    if head is None:
        raise DawnbeatError(f"{path} is empty: record again")
    for separator in (";", "\t"):
        # A spreadsheet of a country with decimal commas separates cells by these.
        if separator in lines[head] and "," not in lines[head]:
            lines = [line.replace(",", ".").replace(separator, ",") for line in lines]
    names = _header(path, head + 1, lines[head], needed)
    notes: tuple[str, ...] = ()
    if lines[-1].strip() and len(lines) - 1 > head and (ours or not _reads_well(lines[-1], names, known)):
        lines.pop()
        notes = (CUT_NOTE,)
    columns = _parse_fast(lines[head + 1 :], names, known)
    if columns is None or _first_bad_row(columns, known) is not None:
        # Only now is it worth the time to walk line by line: to name the one that is wrong, or to read past
        # columns of text that nobody needs.
        columns = _parse_by_line(path, lines, head, names, known)
    if rows_needed and not columns["time_s"].size:
        raise DawnbeatError(f"{path} holds a header but no frames: record again")
    return columns, notes


def _header(path: Path, number: int, line: str, needed: Sequence[str]) -> list[str]:
    names = [name.strip().strip('"').strip().lower() for name in line.split(",")]
    wanted = ",".join(needed)
    for name in needed:
        if name not in names:
            raise DawnbeatError(
                f"{path} line {number}: the column {name} is missing; the first line should name the columns "
                f"{wanted}, separated by commas"
            )
        if names.count(name) > 1:
            raise DawnbeatError(f"{path} line {number}: the column {name} is there twice; keep one")
    return names


def _reads_well(line: str, names: list[str], known: Sequence[str]) -> bool:
    cells = line.split(",")
    return len(cells) == len(names) and all(
        _number(cell) is not None for name, cell in zip(names, cells, strict=True) if name in known
    )


def _parse_fast(lines: list[str], names: list[str], known: Sequence[str]) -> dict[str, FloatArray] | None:
    """The known columns, or None where numpy's reader finds anything it can't take as a plain number."""
    if not any(line.strip() for line in lines):
        return {name: np.empty(0) for name in names if name in known}
    try:
        rows = np.loadtxt(lines, delimiter=",", comments=None, ndmin=2)
    except ValueError:
        return None
    if rows.shape[1] != len(names):
        return None
    return {name: np.ascontiguousarray(rows[:, i]) for i, name in enumerate(names) if name in known}


def _parse_by_line(
    path: Path, lines: list[str], head: int, names: list[str], known: Sequence[str]
) -> dict[str, FloatArray]:
    wanted = [(i, name) for i, name in enumerate(names) if name in known]
    rows: list[list[float]] = []
    numbers: list[int] = []
    for number, line in enumerate(lines[head + 1 :], start=head + 2):
        if not line.strip():
            continue
        cells = line.split(",")
        if len(cells) != len(names):
            raise DawnbeatError(
                f"{path} line {number}: {len(cells)} values where the first line names {len(names)} columns; "
                "correct or remove that line"
            )
        row = []
        for i, name in wanted:
            value = _number(cells[i])
            if value is None:
                raise DawnbeatError(
                    f"{path} line {number}: {name} is {_shortened(cells[i])}, not a number; correct or remove that line"
                )
            row.append(value)
        rows.append(row)
        numbers.append(number)
    table = np.array(rows, dtype=np.float64).reshape(len(rows), len(wanted))
    columns = {name: np.ascontiguousarray(table[:, k]) for k, (_, name) in enumerate(wanted)}
    bad = _first_bad_row(columns, known)
    if bad is not None:
        row_number, why = bad
        raise DawnbeatError(f"{path} line {numbers[row_number]}: {why}; correct or remove that line")
    return columns


def _first_bad_row(columns: dict[str, FloatArray], known: Sequence[str]) -> tuple[int, str] | None:
    """The first row with a number that can't be, and why."""
    found: list[tuple[int, str]] = []
    for name in known:
        if name not in columns:
            continue
        values = columns[name]
        found.extend(_first(~np.isfinite(values), f"{name} is not a finite number"))
        if name == "time_s":
            found.extend(_first(values < 0, "the time is negative"))
            falls = np.zeros(values.size, dtype=np.bool_)
            falls[1:] = values[1:] <= values[:-1]
            found.extend(_first(falls, "the time is not later than the one before"))
        elif name in _SHARE_COLUMNS:
            found.extend(_first((values < 0) | (values > 1), f"{name} goes from 0 to 1"))
        else:
            found.extend(_first((values < 0) | (values > 255), f"{name} goes from 0 to 255"))
    return min(found, key=lambda one: one[0], default=None)


def _first(wrong: np.ndarray, why: str) -> list[tuple[int, str]]:
    return [(int(np.argmax(wrong)), why)] if wrong.any() else []


def _number(cell: str) -> float | None:
    """The cell as a number, as strictly as numpy's reader takes it."""
    if "_" in cell or not cell.isascii():
        return None
    try:
        return float(cell)
    except ValueError:
        return None


def _shortened(cell: str) -> str:
    text = one_line(cell)
    return repr(text if len(text) <= 24 else text[:23] + "…") if text else "empty"
