"""A clip that the phone sends: taken in piece by piece, gone on with after a break, deleted when it was read."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

from dawnbeat.capture.phone.messages import MOST_FILE_BYTES, File, RefusedError
from dawnbeat.capture.recording import VIDEO_SUFFIXES
from dawnbeat.shared.errors import one_line
from dawnbeat.shared.files import open_private, private_folder

_PREFIX = ".phone-clip-"
_SPARE_BYTES = 500 * 1024**2
_LEFT_BEHIND_S = 3600.0


class Upload:
    """One clip on its way into `folder`, under a name of its own and for the user alone.

    free_bytes: what the disk has left, for tests. done: whether every byte is there. A program that was
    killed leaves its clip behind; the next upload deletes it when it is an hour old.
    """

    def __init__(self, folder: Path, free_bytes: Callable[[Path], int] | None = None) -> None:
        self.file: File | None = None
        self.path: Path | None = None
        self.stored = 0
        self.done = False
        self._folder = folder
        self._free_bytes = free_bytes or (lambda folder: shutil.disk_usage(folder).free)
        self._open: IO[bytes] | None = None

    def begin(self, file: File) -> int:
        """Get ready for a clip; returns from which byte on it is wanted, which is not 0 for one that broke off.

        Raises RefusedError where it is no clip, too large, or the disk has no room.
        """
        if self.file == file:
            return self.stored
        suffix = Path(file.name).suffix.lower()
        if suffix not in VIDEO_SUFFIXES:
            raise RefusedError("that file is no clip: choose a video, such as .mp4 or .mov")
        if file.size == 0:
            raise RefusedError("that clip is empty: film it again")
        if file.size > MOST_FILE_BYTES:
            raise RefusedError(f"that clip has {file.size / 1024**3:.1f} GB, and 2 GB are the most: film a shorter one")
        self.discard()
        try:
            private_folder(self._folder)
            self._sweep()
            if self._free_bytes(self._folder) < file.size + _SPARE_BYTES:
                raise RefusedError("the computer's disk has no room for the clip: make room there, then send it again")
            self.path = self._folder / f"{_PREFIX}{secrets.token_hex(8)}{suffix}"
            self._open = os.fdopen(open_private(self.path), "wb")
        except OSError as error:
            raise self._failed(error) from error
        self.file, self.stored, self.done = file, 0, False
        return 0

    def write(self, offset: int, data: bytes) -> int:
        """Store the next piece; returns how many bytes there are now. A piece that is there already changes nothing.

        Raises RefusedError where the piece doesn't follow, or the disk refuses it.
        """
        if self.file is None or self._open is None:
            raise RefusedError("a piece of a clip came that was not asked for")
        if offset < self.stored:  # sent again after a break
            return self.stored
        if offset > self.stored or offset + len(data) > self.file.size or not data:
            raise RefusedError("a piece of the clip doesn't fit what came before: send it again")
        try:
            self._open.write(data)
            self.stored += len(data)
            if self.stored == self.file.size:
                self._open.close()
                self._open = None
                self.done = True
        except OSError as error:
            raise self._failed(error) from error
        return self.stored

    def discard(self) -> None:
        """Delete what is there; calling it again does no harm."""
        if self._open is not None:
            self._open.close()
            self._open = None
        if self.path is not None:
            self.path.unlink(missing_ok=True)
            with contextlib.suppress(OSError):  # another clip is in it
                self._folder.rmdir()
        self.file, self.path, self.stored, self.done = None, None, 0, False

    def _failed(self, error: OSError) -> RefusedError:
        self.discard()
        return RefusedError(f"the computer can't store the clip ({one_line(error.strerror or error)})")

    def _sweep(self) -> None:
        for each in self._folder.glob(f"{_PREFIX}*"):
            if time.time() - each.stat().st_mtime > _LEFT_BEHIND_S:
                each.unlink(missing_ok=True)
