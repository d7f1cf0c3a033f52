"""The cameras of this machine: one opened by its number, the locks it takes, and the list of all."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from dawnbeat.capture.frames import Capture, Frame, Image, SourceAbout, load_cv2
from dawnbeat.capture.live import LiveReader
from dawnbeat.shared.errors import DawnbeatError

SYSFS = Path("/sys/class/video4linux")
# Numbers of OpenCV's videoio properties (cv::VideoCaptureProperties), fixed in its public interface.
_WIDTH, _HEIGHT, _FPS, _FOURCC = 3, 4, 5, 6
_MJPG = float(int.from_bytes(b"MJPG", "little"))
_RATES_HZ = (60.0, 30.0)
_LOOK_AGAIN_FRAMES = 12
_MOST_TRIED = 6
_WITHOUT_ONE = "`dawnbeat cameras` lists those that are there; without one, try the source rehearsal"
LOCKED = "locked"
NOT_TAKEN = "not taken: still automatic"
NOT_OFFERED = "not offered"
_GAIN, _EXPOSURE, _AUTO_EXPOSURE, _TEMPERATURE = 14, 15, 21, 23
_FOCUS, _AUTOFOCUS, _AUTO_WB, _WB_TEMPERATURE = 28, 39, 44, 45


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
        what = f"camera {index}"
        self._capture = (open_capture or _open)(index)
        if not self._capture.isOpened():
            self._capture.release()
            raise _why_closed(index, platform)
        self._controls = _controls_of(platform)
        self._reader = LiveReader(self._capture, what, monotonic, sleep)
        self._settle_wanted = False
        self._look_again_in = 0
        self._brightness_before = 0.0
        try:
            self._take_best_rate(width, height)
        except BaseException:
            self.close()
            raise
        width, height = self._reader.size
        promised_hz = self._capture.get(_FPS)
        self._about = SourceAbout(
            f"{what} ({name})" if name else what,
            width,
            height,
            float(promised_hz) if np.isfinite(promised_hz) and promised_hz > 0 else None,
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
        taken = _lock(self._capture, self._controls)
        for control in self._controls:
            _hand_back(self._capture, control)
        return taken

    def _take_best_rate(self, width: int, height: int) -> None:
        """Take the highest rate that the camera both grants and keeps; the last is taken as it comes."""
        plain = self._capture.get(_FOURCC)
        *better, last = _RATES_HZ
        for rate_hz in better:
            if self._ask(width, height, rate_hz, plain) and self._reader.warm_up() >= 0.85 * rate_hz:
                return
        self._ask(width, height, last, plain)
        self._reader.warm_up()

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
            self._about = replace(self._about, controls=_lock(self._capture, self._controls))
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
                _hand_back(self._capture, control)
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


def _brightness(image: Image) -> float:
    return float(image[::8, ::8].mean())


@dataclass(frozen=True)
class _Control:
    """One control: the property of its value and, where there is one, of its automatic with its two values.

    Where there is no readable switch (`switch_reads` False), setting the value itself turns the automatic
    off.
    """

    name: str
    value: int
    switch: int | None = None
    off: float = 0.0
    on: float = 1.0
    switch_reads: bool = True


# V4L2 takes the values of its own exposure menu, 1 manual and 3 aperture priority. Media Foundation turns the
# automatic off when a value is set, and what it reads back for the switch means nothing. Elsewhere 0.25 and
# 0.75 are OpenCV's old convention.
_LINUX = (
    _Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, 1.0, 3.0),
    _Control("gain", _GAIN),
    _Control("white balance", _WB_TEMPERATURE, _AUTO_WB),
    _Control("focus", _FOCUS, _AUTOFOCUS),
)
_WINDOWS = (
    _Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, switch_reads=False),
    _Control("gain", _GAIN),
    _Control("white balance", _TEMPERATURE),
    _Control("focus", _FOCUS, _AUTOFOCUS, switch_reads=False),
)
_ELSEWHERE = (
    _Control("exposure", _EXPOSURE, _AUTO_EXPOSURE, 0.25, 0.75),
    _Control("gain", _GAIN),
    _Control("white balance", _WB_TEMPERATURE, _AUTO_WB),
    _Control("focus", _FOCUS, _AUTOFOCUS),
)


def _controls_of(platform: str) -> tuple[_Control, ...]:
    """The controls as this system's camera back end speaks them."""
    return _LINUX if platform.startswith("linux") else _WINDOWS if platform == "win32" else _ELSEWHERE


def _lock(capture: Capture, controls: tuple[_Control, ...]) -> dict[str, str]:
    """Hold each control where it stands and say, by name, what the camera really took (read back)."""
    return {control.name: _lock_one(capture, control) for control in controls}


def _hand_back(capture: Capture, control: _Control) -> None:
    """Hand one control back to the camera's automatic."""
    if control.switch is not None:
        capture.set(control.switch, control.on)


def _lock_one(capture: Capture, control: _Control) -> str:
    held = capture.get(control.value)
    if control.switch is not None and control.switch_reads:
        if not capture.set(control.switch, control.off):
            return NOT_OFFERED
        # Many drivers fall back to an old manual value here, so the one that stood is set again. A camera
        # that refuses the value but keeps its automatic off has still been locked.
        capture.set(control.value, held)
        return LOCKED if _same(capture.get(control.switch), control.off) else NOT_TAKEN
    if not capture.set(control.value, held):
        return NOT_OFFERED
    return LOCKED if _same(capture.get(control.value), held) else NOT_TAKEN


def _same(read: float, wanted: float) -> bool:
    return abs(read - wanted) <= 0.01 * max(1.0, abs(wanted))


@dataclass(frozen=True)
class CameraAbout:
    """One camera.

    width, height: pixels of its frames. rate_hz: frames a second as they came, from the median step.
    jitter_ms: standard deviation of the steps. locks: what it answered to each lock, by name of the control.
    problem: why it can't be used, None if it can; then the other figures are empty.
    """

    index: int
    name: str
    width: int = 0
    height: int = 0
    rate_hz: float | None = None
    jitter_ms: float | None = None
    locks: Mapping[str, str] = field(default_factory=dict)
    problem: str | None = None


def list_cameras(
    measure_s: float = 2.0,
    *,
    open_camera: Callable[[int], CameraSource] = CameraSource,
    platform: str = sys.platform,
    sysfs: Path = SYSFS,
    monotonic: Callable[[], float] = time.monotonic,
) -> list[CameraAbout]:
    """Every camera, measured for `measure_s` seconds each; an empty list where there is none."""
    if platform.startswith("linux"):
        return [_look_at(index, name, measure_s, open_camera, monotonic) for index, name in _linux_cameras(sysfs)]
    # Other systems give no list through OpenCV: numbers are tried until one isn't there.
    cameras = []
    for index in range(_MOST_TRIED):
        camera = _look_at(index, f"camera {index}", measure_s, open_camera, monotonic)
        if camera.problem is not None:
            break
        cameras.append(camera)
    return cameras


def _linux_cameras(sysfs: Path) -> list[tuple[int, str]]:
    """Number and name of each device node that gives pictures; one camera has a second node for metadata."""
    found = []
    for node in sysfs.glob("video*"):
        number = node.name.removeprefix("video")
        if number.isdecimal() and _is_first_node(node):
            found.append((int(number), camera_name(int(number), sysfs) or f"camera {number}"))
    return sorted(found)


def _is_first_node(node: Path) -> bool:
    try:
        return (node / "index").read_text(encoding="ascii", errors="replace").strip() == "0"
    except OSError:
        return True


def _look_at(
    index: int,
    name: str,
    measure_s: float,
    open_camera: Callable[[int], CameraSource],
    monotonic: Callable[[], float],
) -> CameraAbout:
    try:
        source = open_camera(index)
    except DawnbeatError as error:
        return CameraAbout(index, name, problem=str(error))
    try:
        times_s = []
        until_s = monotonic() + measure_s
        for frame in source.frames():
            times_s.append(frame.time_s)
            if monotonic() >= until_s:
                break
        steps_s = np.diff(times_s)
        about = source.about
        return CameraAbout(
            index,
            name,
            about.width,
            about.height,
            float(1.0 / np.median(steps_s)) if steps_s.size else None,
            float(1000.0 * np.std(steps_s)) if steps_s.size else None,
            source.try_locks(),
        )
    except DawnbeatError as error:
        return CameraAbout(index, name, problem=str(error))
    finally:
        source.close()
