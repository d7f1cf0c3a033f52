"""The recorder: every row is on its way to the disk as soon as it is measured, and synced every second."""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from statistics import median
from types import TracebackType
from typing import IO, Any

import numpy as np

from dawnbeat.capture.frames import Image, Sample, SourceAbout, load_cv2
from dawnbeat.capture.recording import ABOUT, FORMAT_VERSION, TRACE, VIDEO, about_text, new_folder
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import open_private, sync_folder, write_private
from dawnbeat.shared.installed import software_version

_HEADER = b"time_s,red,green,blue,covered,clipped\n"
_SYNC_EVERY_S = 1.0
_LOCK = ".being-taken"
_NO_ROOM = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}
_WIDEST = 160
_TALLEST = 120
_ASSUMED_RATE_HZ = 30.0


def about_recording(source: SourceAbout, began: datetime | None = None) -> dict[str, Any]:
    """What about.json says of a recording from this source; `began` is now unless given."""
    return {
        "format_version": FORMAT_VERSION,
        "began": (began or datetime.now()).astimezone().isoformat(timespec="seconds"),
        "camera": source.camera,
        "width": source.width,
        "height": source.height,
        "nominal_rate_hz": source.nominal_rate_hz,
        "measured_rate_hz": None,
        "duration_s": None,
        "dropped_frames": None,
        "finished": False,
        "controls": dict(source.controls),
        "software_version": software_version(),
        "notes": "",
        **({"invented": True} if source.invented else {}),
    }


class Recorder:
    """Writes one recording into a new or empty folder, for the user alone.

    A process that is killed leaves every row it has written; a power cut takes at most the last second.
    about: as `about_recording` makes it. video: also keep a small MJPEG video of the frames.

    Raises DawnbeatError when the folder holds something already, can't be written, or the disk is full; what
    was captured until then is kept.
    """

    def __init__(
        self,
        folder: Path | str,
        about: Mapping[str, Any],
        *,
        video: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.folder = new_folder(Path(folder))
        self._about = dict(about)
        self._monotonic = monotonic
        self._descriptor = -1
        self._times_s: list[float] = []
        self._size = len(_HEADER)
        self._synced_s = monotonic()
        self._video = SmallVideo(self.folder / VIDEO, self._about.get("nominal_rate_hz")) if video else None
        try:
            write_private(self.folder / ABOUT, about_text(self._about).encode())
            self._descriptor = open_private(self.folder / TRACE)
            _write_all(self._descriptor, _HEADER)
            os.fsync(self._descriptor)
            sync_folder(self.folder)
        except OSError as error:
            self._close_file()
            raise self._failure(error) from error

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def write(self, sample: Sample, image: Image | None = None) -> None:
        """Append one row, and the frame where a video is kept.

        Raises DawnbeatError when the disk refuses it or time does not increase.
        """
        if self._descriptor < 0:
            raise DawnbeatError(f"the recording {self.folder} is finished: nothing can be added")
        time_s = round(sample.time_s, 6)
        if self._times_s and time_s <= self._times_s[-1]:
            raise DawnbeatError(f"the source gave a time that is not later than the one before ({time_s:.6f} s)")
        row = (
            f"{time_s:.6f},{sample.red:.5f},{sample.green:.5f},{sample.blue:.5f},{sample.covered:.4f},{sample.clipped:.4f}\n"
        ).encode()
        try:
            _write_all(self._descriptor, row)
            self._size += len(row)
            self._times_s.append(time_s)
            now_s = self._monotonic()
            if now_s - self._synced_s >= _SYNC_EVERY_S:
                self._synced_s = now_s
                os.fsync(self._descriptor)
        except OSError as error:
            with contextlib.suppress(OSError):  # a half row at the end is what the reader forgives
                os.ftruncate(self._descriptor, self._size)
            raise self._failure(error) from error
        if self._video is not None and image is not None:
            self._video.write(image)

    def close(self, *, dropped: int | None = None, facts: Mapping[str, Any] | None = None) -> None:
        """Sync, and complete about.json; closing again does nothing.

        dropped: frames lost, None where nobody counted. facts: further entries for about.json, such as the
        controls that the camera took in the end. Raises DawnbeatError when the disk refuses it; the rows are
        kept.
        """
        if self._descriptor < 0:
            return
        times_s = self._times_s
        steps_s = [after - before for before, after in pairwise(times_s)]
        self._about.update(facts or {})
        self._about.update(
            measured_rate_hz=round(1.0 / median(steps_s), 3) if steps_s else None,
            duration_s=round(times_s[-1] - times_s[0], 6) if times_s else 0.0,
            dropped_frames=dropped,
            finished=True,
        )
        try:
            if self._video is not None:
                self._video.close()
            os.fsync(self._descriptor)
            write_private(self.folder / ABOUT, about_text(self._about).encode())
            sync_folder(self.folder)
        except OSError as error:
            raise self._failure(error) from error
        finally:
            self._close_file()

    def _close_file(self) -> None:
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1

    def _failure(self, error: OSError) -> DawnbeatError:
        kept = f"; what was captured until then is saved in {self.folder}" if self._times_s else ""
        remedy = "make room on the disk" if error.errno in _NO_ROOM else f"check the folder {self.folder}"
        return DawnbeatError(f"can't write the recording ({one_line(error.strerror or error)}): {remedy}{kept}")


class FolderLock:
    """Held while a recording is being taken and saved, so that nobody else takes it for one that was broken off.

    The system lets go of it when the process ends, however it ends; the file that may stay behind means nothing then.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / _LOCK
        self._file: IO[bytes] | None = None
        with contextlib.suppress(OSError):  # a medium without locks is no reason not to measure
            file = self._path.open("ab")
            if _lock(file):
                self._file = file
            else:
                file.close()

    def release(self) -> None:
        """Let go; doing it again does nothing."""
        file, self._file = self._file, None
        if file is not None:
            file.close()
            with contextlib.suppress(OSError):
                self._path.unlink(missing_ok=True)


def is_being_taken(folder: Path) -> bool:
    """Whether some program holds the FolderLock of this recording right now."""
    try:
        with (folder / _LOCK).open("r+b") as file:
            return not _lock(file)
    except OSError:
        return False


def _lock(file: IO[bytes]) -> bool:
    """Take the system's lock on an open file without waiting; False where somebody else has it."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError as error:
        return error.errno not in (errno.EACCES, errno.EDEADLK)
    return True


def _write_all(descriptor: int, data: bytes) -> None:
    while data:
        data = data[os.write(descriptor, data) :]


class SmallVideo:
    """Frames shrunk to at most 160 x 120, at the best JPEG quality; the true times are in the trace."""

    def __init__(self, path: Path, rate_hz: float | None) -> None:
        self._path = path
        self._rate_hz = rate_hz or _ASSUMED_RATE_HZ
        self._cv2 = load_cv2()
        self._writer: Any = None
        self._size = (0, 0)

    def write(self, image: Image) -> None:
        """Append one frame; the first decides the size. Raises DawnbeatError when no video can be made."""
        if self._writer is None:
            self._open(image)
        small = self._cv2.resize(image, self._size, interpolation=self._cv2.INTER_AREA)
        self._writer.write(np.ascontiguousarray(small))

    def close(self) -> None:
        """Finish the file's index; raises OSError when the disk refuses it."""
        if self._writer is not None:
            self._writer.release()
            self._writer = None
            with self._path.open("rb+") as file:
                os.fsync(file.fileno())

    def _open(self, image: Image) -> None:
        cv2 = self._cv2
        height, width = image.shape[:2]
        scale = min(1.0, _WIDEST / width, _TALLEST / height)
        # Even sides, since colour is kept for pairs of pixels.
        self._size = (max(2, round(width * scale / 2) * 2), max(2, round(height * scale / 2) * 2))
        self._path.touch(mode=0o600, exist_ok=False)
        code = cv2.VideoWriter_fourcc(*"MJPG")
        for backend in (cv2.CAP_OPENCV_MJPEG, cv2.CAP_ANY):
            writer = cv2.VideoWriter(str(self._path), backend, code, float(self._rate_hz), self._size)
            if writer.isOpened():
                writer.set(cv2.VIDEOWRITER_PROP_QUALITY, 100)
                self._writer = writer
                return
            writer.release()
        raise DawnbeatError(f"no video can be written to {self._path}: record without video")
