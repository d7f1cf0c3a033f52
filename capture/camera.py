"""A camera of this machine, by number."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from dawnbeat.capture.controls import LOCKED, NOT_TAKEN, controls_here, lock, release
from dawnbeat.capture.frames import Frame, Image, SourceAbout
from dawnbeat.capture.live import LiveReader, Pace
from dawnbeat.capture.opencv import Capture, load_cv2
from dawnbeat.shared.errors import DawnbeatError

SYSFS = Path("/sys/class/video4linux")
# Numbers of OpenCV's videoio properties, fixed in its public interface.
_WIDTH, _HEIGHT, _FPS, _FOURCC = 3, 4, 5, 6
_MJPG = float(int.from_bytes(b"MJPG", "little"))
_RATES_HZ = (60.0, 30.0)
_LOOK_AGAIN_FRAMES = 12


_WITHOUT_ONE = "`dawnbeat cameras` lists those that are there; without one, try the source rehearsal"


class NoCameraError(DawnbeatError):
    """A camera can't be had. plain: why, without the terminal's ways out."""

    def __init__(self, plain: str, ways_out: str = "") -> None:
        super().__init__(f"{plain}: {ways_out}" if ways_out else plain)
        self.plain = plain


class CameraSource:
    """A camera opened at its highest steady rate, 60 frames a second or else 30.

    Raises DawnbeatError when there is no such camera, it is busy, or no frames come.
    """

    def __init__(
        self,
        index: int,
        width: int = 640,
        height: int = 480,
        *,
        name: str | None = None,
        open_capture: Callable[[int], Capture] | None = None,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        platform: str = sys.platform,
    ) -> None:
        self._what = f"camera {index}"
        self._capture = (open_capture or _open)(index)
        if not self._capture.isOpened():
            self._capture.release()
            raise _why_closed(index, platform)
        self._controls = controls_here(platform)
        self._reader = LiveReader(self._capture, self._what, monotonic, sleep)
        self._settle_wanted = False
        self._look_again_in = 0
        self._brightness_before = 0.0
        try:
            self.pace = self._best_pace(width, height)
        except BaseException:
            self.close()
            raise
        image = self._reader.last_image
        self._about = SourceAbout(
            camera=f"{self._what} ({name})" if name else self._what,
            width=0 if image is None else int(image.shape[1]),
            height=0 if image is None else int(image.shape[0]),
            nominal_rate_hz=_positive(self._capture.get(_FPS)),
            live=True,
        )

    @property
    def about(self) -> SourceAbout:
        """What is known of the camera now: the locks it took, and which clock times its frames."""
        return replace(self._about, controls={**self._about.controls, "frame times": self._reader.clock.words})

    def frames(self) -> Iterator[Frame]:
        """Yield frames; raises DawnbeatError when the camera stops sending them."""
        return self._reader.frames(self._between)

    def settle(self) -> None:
        """Ask for the locks; they are set between two frames, where the driver is not being read."""
        self._settle_wanted = True

    def close(self) -> None:
        """Let the camera go, and its automatics with it."""
        self._reader.close()

    def try_locks(self) -> dict[str, str]:
        """Which locks the camera accepts, then its automatics back on. Not while frames are being read."""
        taken = lock(self._capture, self._controls)
        for control in self._controls:
            release(self._capture, control)
        return taken

    def _best_pace(self, width: int, height: int) -> Pace:
        """Take the highest rate that the camera both grants and keeps; the last is taken as it comes."""
        plain = self._capture.get(_FOURCC)
        *better, last = _RATES_HZ
        for rate_hz in better:
            if self._ask(width, height, rate_hz, plain):
                pace = self._reader.warm_up()
                if pace.rate_hz >= 0.85 * rate_hz:
                    return pace
        self._ask(width, height, last, plain)
        return self._reader.warm_up()

    def _ask(self, width: int, height: int, rate_hz: float, plain: float) -> bool:
        """Ask for size and rate, with compressed frames only where plain ones come slower; True if granted."""
        for fourcc in (plain, _MJPG):
            if fourcc > 0 and self._capture.get(_FOURCC) != fourcc:
                self._capture.set(_FOURCC, fourcc)
            self._capture.set(_WIDTH, float(width))
            self._capture.set(_HEIGHT, float(height))
            self._capture.set(_FPS, rate_hz)
            if self._capture.get(_FPS) >= 0.95 * rate_hz:
                return True
        return False

    def _between(self, image: Image) -> None:
        if self._settle_wanted:
            self._settle_wanted = False
            self._brightness_before = _brightness(image)
            self._about = replace(self._about, controls=lock(self._capture, self._controls))
            self._look_again_in = _LOOK_AGAIN_FRAMES
        elif self._look_again_in:
            self._look_again_in -= 1
            if self._look_again_in == 0:
                self._take_back_a_bad_exposure(_brightness(image))

    def _take_back_a_bad_exposure(self, brightness: float) -> None:
        """Some drivers lock exposure at a stale value; a picture gone dark is worse than an automatic."""
        if 0.6 * self._brightness_before <= brightness <= 1.6 * self._brightness_before:
            return
        taken = dict(self._about.controls)
        for control in self._controls:
            if control.name == "exposure" and taken.get("exposure") == LOCKED:
                release(self._capture, control)
                taken["exposure"] = NOT_TAKEN
        self._about = replace(self._about, controls=taken)


def camera_name(index: int, sysfs: Path = SYSFS) -> str | None:
    """The name that Linux gives a camera; None where it gives none, and on other systems."""
    try:
        text = (sysfs / f"video{index}" / "name").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None
    return "".join(letter if letter.isprintable() else "?" for letter in text) or None


def _open(index: int) -> Capture:
    cv2 = load_cv2()
    if sys.platform.startswith("linux"):
        backend = cv2.CAP_V4L2
    elif sys.platform == "win32":
        backend = cv2.CAP_MSMF
    elif sys.platform == "darwin":
        backend = cv2.CAP_AVFOUNDATION
    else:
        backend = cv2.CAP_ANY
    capture: Capture = cv2.VideoCapture(index, backend)
    return capture


def _why_closed(index: int, platform: str) -> NoCameraError:
    if platform.startswith("linux"):
        device = Path(f"/dev/video{index}")
        if not device.exists():
            return NoCameraError(f"there is no camera {index}", _WITHOUT_ONE)
        try:
            device.open("rb").close()
        except PermissionError:
            return NoCameraError(
                f"no permission to use camera {index}: add yourself to the group video and log in again"
            )
        except OSError:
            pass
    return NoCameraError(
        f"camera {index} can't be opened: check that it is connected and that no other program uses it"
    )


def _positive(value: float) -> float | None:
    return float(value) if np.isfinite(value) and value > 0 else None


def _brightness(image: Image) -> float:
    return float(image[::8, ::8].mean())
