"""The one error that the rooms raise, and what the operating system complains about turned into it."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DISK_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG} if hasattr(errno, "EDQUOT") else {errno.ENOSPC}
FREE_SPACE = "nothing that was saved before is lost; free some space and try again"


class DawnbeatError(Exception):
    """Something the user can put right.

    The message is one line: what is wrong, then what to do about it. The command line prints it without a
    traceback and ends with exit code 2.
    """


def one_line(text: object) -> str:
    """Fold any text, such as a library's own message, into one printable line."""
    return printable(" ".join(str(text).split()))


def printable(text: str) -> str:
    """The text with a question mark for each letter that a terminal would obey rather than show; lines stay lines."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() or letter in "\n\t" else "?" for letter in text)


@contextmanager
def plain_errors(doing: str, path: Path) -> Iterator[None]:
    """Raise DawnbeatError in place of OSError; `doing` completes "can't ..."."""
    try:
        yield
    except OSError as error:
        raise DawnbeatError(_of_system(doing, path, error)) from error


def _of_system(doing: str, path: Path, error: OSError) -> str:
    # A failed copy names its source first, and it is the target that has no room.
    named = error.filename2 or error.filename
    where = one_line(named if isinstance(named, str | Path) else path)
    if error.errno in DISK_FULL:
        return f"can't {doing}: no room left to write {where}; {FREE_SPACE}"
    if isinstance(error, PermissionError):
        return f"can't {doing}: {where} is not yours to use; check its permissions or choose another folder"
    return f"can't {doing}: {where}: {one_line(error.strerror or error)}"
