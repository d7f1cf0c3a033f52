"""The frames of a scenario, a fingertip over a lens or the room where it is off: pictures, a film, and a source."""

from __future__ import annotations

import struct
import threading
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dawnbeat.capture.frames import Frame, Image, SourceAbout, load_cv2
from dawnbeat.recordings.invented.scenario import Scenario, quiet_morning
from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import write_private
from dawnbeat.shared.trace import FloatArray, IntArray

_Picture = NDArray[np.float32]
# Noise of single pixels is drawn once, then chosen and mirrored anew for each frame: that is fast, and no
# field has a mean of its own, so that the noise of the frame mean stays the one the finger asks for.
_NOISE_FIELDS = 6
_ROOM_CONTRAST = 45.0
_EDGE_SHARE = 0.04
REHEARSAL_CAMERA = "rehearsal finger (invented)"
# A camera keeps a few frames for a program that is busy; what is older is lost.
_BUFFERED_FRAMES = 4
_LARGEST_BYTES = 1 << 30
_KEY_FRAME = 0x10
_HAS_INDEX = 0x10
_TABLES, _SCAN, _TOP_MARKER = 0xC4, 0xDA, 0xFF


class FingerVideo:
    """The frames of a scenario as pictures; the same arguments give the same pictures.

    width, height: 16 to 4096 pixels. covered_share: share of the lens under the finger while it lies on it;
    the rest of the picture shows the room. pixel_noise: standard deviation of the noise of a pixel, 0 to 20
    grey levels.

    time_s: (n,) time of each frame. dropped_before: (n,) frames missing before each.

    Raises DawnbeatError for arguments out of range.
    """

    def __init__(
        self,
        scenario: Scenario,
        width: int = 160,
        height: int = 120,
        covered_share: float = 1.0,
        pixel_noise: float = 2.0,
    ) -> None:
        if not (16 <= width <= 4096 and 16 <= height <= 4096):
            raise DawnbeatError(f"pictures of {width} x {height} can't be drawn: give 16 to 4096 pixels")
        if not (0 <= covered_share <= 1 and 0 <= pixel_noise <= 20):
            raise DawnbeatError(
                f"a covered share of {covered_share} with pixel noise {pixel_noise} can't be drawn: "
                "give 0 to 1, and 0 to 20 grey levels"
            )
        self._light = scenario.light()
        self._rng = np.random.default_rng([scenario.seed, 41])
        finger = scenario.finger
        rows, columns = np.meshgrid(np.linspace(-1, 1, height), np.linspace(-1, 1, width), indexing="ij")
        spread = np.array(finger.shading[::-1]) / np.array(finger.level[::-1])
        shading = 1.0 + _shading(rows, columns) * np.minimum(spread, 0.4)
        self._shading = shading.astype(np.float32)
        self._noise = self._noise_fields(pixel_noise, (height, width, 3))
        self._room = _texture(self._rng, height, width) * _ROOM_CONTRAST
        self._room_level = np.array(finger.room[::-1], dtype=np.float32)
        self._mask: _Picture | None = None
        if covered_share < 1.0:
            across = (columns + 1.0) / 2.0
            edge = (covered_share - across) / _EDGE_SHARE + 0.5
            self._mask = np.clip(edge, 0.0, 1.0).astype(np.float32)[..., None]
        self._work = np.empty((height, width, 3), dtype=np.float32)

    @property
    def time_s(self) -> FloatArray:
        """(n,) time of each frame in seconds."""
        return self._light.stamp_s

    @property
    def dropped_before(self) -> IntArray:
        """(n,) frames missing before each frame."""
        return self._light.dropped_before

    def __len__(self) -> int:
        return int(self.time_s.size)

    def image(self, index: int) -> Image:
        """Frame number index, (height, width, 3) blue, green, red bytes."""
        level = self._light.level[index, ::-1].astype(np.float32)
        added = self._light.noise[index, ::-1].astype(np.float32)
        work = self._work
        np.multiply(self._shading, level, out=work)
        work += added
        self._show_room(work, index)
        pick = np.random.default_rng([index, 42]).integers(0, _NOISE_FIELDS * 4)
        noise = self._noise[pick // 4]
        work += noise[:: (1, -1)[pick & 1], :: (1, -1)[(pick >> 1) & 1]]
        # The noise fields hold the half level that turns cutting into rounding.
        np.clip(work, 0.0, 255.0, out=work)
        return work.astype(np.uint8)

    def images(self) -> Iterator[Image]:
        """All frames in order."""
        return (self.image(index) for index in range(len(self)))

    def _show_room(self, work: _Picture, index: int) -> None:
        """Let the room show where the finger is not."""
        covered = float(self._light.covered[index])
        if self._mask is None and covered >= 1.0:
            return
        mask = np.float32(covered) if self._mask is None else self._mask * np.float32(covered)
        # The hand that lifts the finger moves the camera, so the room slides through the picture.
        shift = round(0.3 * float(self.time_s[index]) * self._room.shape[1])
        room = np.roll(self._room, shift, axis=1)[..., None] + self._room_level
        work *= mask
        work += (np.float32(1.0) - mask) * room

    def _noise_fields(self, pixel_noise: float, shape: tuple[int, int, int]) -> list[_Picture]:
        fields = []
        for _ in range(_NOISE_FIELDS):
            field = self._rng.standard_normal(shape, dtype=np.float32) * np.float32(pixel_noise)
            field += np.float32(0.5) - field.mean(axis=(0, 1))
            fields.append(field)
        return fields


def write_video(
    path: Path,
    scenario: Scenario,
    width: int = 160,
    height: int = 120,
    quality: int = 95,
    covered_share: float = 1.0,
    pixel_noise: float = 2.0,
) -> int:
    """Write the scenario as MJPEG in AVI and return the number of frames.

    The container knows only one rate, so that jitter and missing frames are not kept in it. Raises
    DawnbeatError for arguments out of range, or when the file can't be written.
    """
    video = FingerVideo(scenario, width, height, covered_share, pixel_noise)
    return write_mjpeg_avi(path, video.images(), scenario.rate_hz, quality)


def _shading(rows: FloatArray, columns: FloatArray) -> FloatArray:
    """How light falls off, (..., 3) in blue, green, red: mean 0, standard deviation 1, darker in the corners.

    The lamp lies beside the lens and tissue lets red light through farthest, so that the colours fall off
    differently.
    """
    shapes = []
    for falloff, row, column, tilt in (
        (1.1, 0.25, -0.35, -0.25),
        (0.9, 0.2, -0.2, -0.05),
        (0.6, 0.1, 0.1, 0.2),
    ):
        radius2 = (rows - row) ** 2 + (columns - column) ** 2
        ripple = 0.03 * np.sin(4.0 * rows + 3.0 * columns)
        shape = np.exp(-falloff * radius2) + tilt * columns - 0.1 * rows + ripple
        shapes.append((shape - shape.mean()) / shape.std())
    return np.stack(shapes, axis=-1)


def _texture(rng: np.random.Generator, height: int, width: int) -> _Picture:
    """A room: smooth waves and a few hard edges, -1 to 1; its left and right edges join."""
    across = np.linspace(0, 2 * np.pi, width, endpoint=False)
    down = np.linspace(0, 2 * np.pi, height)[:, None]
    picture = np.zeros((height, width))
    for turns in range(1, 6):
        phase = rng.uniform(0, 2 * np.pi, 2)
        picture += np.sin(turns * across + phase[0]) * np.cos(turns * down * 0.7 + phase[1]) / turns
    picture += 0.6 * np.sign(np.sin(3 * across + rng.uniform(0, 6)) + np.sin(2 * down))
    return np.asarray(picture / np.abs(picture).max(), dtype=np.float32)


class RehearsalSource:
    """Frames of an invented finger, drawn as they are asked for.

    seed: another seed is another morning. rate_hz, duration_s: as in Scenario. realtime: frames come at their
    own pace, `speed` times as fast as their times say (0.1 to 1000), and are lost when nobody takes them;
    else as fast as they are taken, none lost. scenario: a whole morning to use instead of seed, rate and
    duration.

    beats_s: true beat times on the clock of the frames. Raises DawnbeatError for arguments out of range.
    """

    def __init__(
        self,
        seed: int = 1,
        rate_hz: float = 30.0,
        duration_s: float = 120.0,
        realtime: bool = False,
        speed: float = 1.0,
        width: int = 160,
        height: int = 120,
        scenario: Scenario | None = None,
        covered_share: float = 1.0,
    ) -> None:
        if not 0.1 <= speed <= 1000:
            raise DawnbeatError(f"a rehearsal at {speed} times the speed can't be played: give 0.1 to 1000")
        self.scenario = scenario or quiet_morning(seed, rate_hz, duration_s)
        self._video = FingerVideo(self.scenario, width, height, covered_share)
        self._realtime = realtime
        self._speed = speed
        self._closed = threading.Event()
        self._about = SourceAbout(
            camera=REHEARSAL_CAMERA,
            width=width,
            height=height,
            nominal_rate_hz=self.scenario.rate_hz,
            live=realtime,
            invented=True,
        )

    @property
    def about(self) -> SourceAbout:
        """Size and rate; an invented camera has no controls."""
        return self._about

    @property
    def beats_s(self) -> FloatArray:
        """True beat times within the duration, seconds from the first frame."""
        return self.scenario.beats_s

    def frames(self) -> Iterator[Frame]:
        """Yield the frames once, until the duration is over or the source is closed."""
        time_s = self._video.time_s
        patience_s = _BUFFERED_FRAMES / self.scenario.rate_hz / self._speed
        began_s = time.monotonic()
        lost = 0
        for index in range(len(self._video)):
            if self._realtime:
                wait_s = began_s + float(time_s[index]) / self._speed - time.monotonic()
                if wait_s > 0:
                    self._closed.wait(wait_s)
                elif wait_s < -patience_s:
                    lost += 1 + int(self._video.dropped_before[index])
                    continue
            if self._closed.is_set():
                return
            dropped = lost + int(self._video.dropped_before[index])
            lost = 0
            yield Frame(float(time_s[index]), dropped, self._video.image(index))

    def settle(self) -> None:
        """An invented camera has nothing to lock."""

    def close(self) -> None:
        """End the frames, also while somebody waits for the next one."""
        self._closed.set()


def write_mjpeg_avi(path: Path, images: Iterable[Image], rate_hz: float, quality: int = 95) -> int:
    """Write the images, (height, width, 3) blue, green, red bytes all of one size, and return how many there were.

    OpenCV's own writer repeats the standard Huffman tables in each frame, about 420 bytes that are more than a
    tiny picture of a finger takes. MJPEG in AVI may leave them out, and decoders put the standard tables of
    ITU-T T.81 annex K in (FFmpeg and libjpeg do). OpenCV makes the pictures; here they are only packed.

    rate_hz: frames a second as the container says. quality: of the JPEG pictures, 1 to 100. The file appears
    whole or not at all. Raises DawnbeatError when there is no image, a picture differs in size, the file
    can't be written or would exceed a gigabyte.
    """
    cv2 = load_cv2()
    chunks: list[bytes] = []
    size: tuple[int, int] | None = None
    total = 0
    for image in images:
        here = (int(image.shape[1]), int(image.shape[0]))
        size = size or here
        if here != size:
            raise DawnbeatError(f"a picture of {here} pixels follows one of {size}: a video has one size")
        made, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
        if not made:
            raise DawnbeatError(f"a picture of {here} pixels can't be packed as JPEG: choose another size")
        chunks.append(without_tables(data.tobytes()))
        total += len(chunks[-1]) + 24
        if total > _LARGEST_BYTES:
            raise DawnbeatError("the video would exceed a gigabyte: make it shorter or smaller")
    if size is None:
        raise DawnbeatError("a video needs at least one picture: give a longer duration")
    with plain_errors("write the video", path):
        write_private(path, _packed(chunks, size, rate_hz))
    return len(chunks)


def without_tables(jpeg: bytes) -> bytes:
    """A JPEG picture made with the standard Huffman tables, without them."""
    parts = [jpeg[:2]]
    at = 2
    while jpeg[at] == _TOP_MARKER and jpeg[at + 1] != _SCAN:
        length = 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
        if jpeg[at + 1] != _TABLES:
            parts.append(jpeg[at : at + length])
        at += length
    return b"".join([*parts, jpeg[at:]])


def _packed(chunks: list[bytes], size: tuple[int, int], rate_hz: float) -> bytes:
    """The AVI file: headers, the pictures, and the index of where they are."""
    width, height = size
    rate, scale = round(rate_hz * 1000), 1000
    longest = max(len(chunk) for chunk in chunks)
    main = struct.pack(
        "<14I",
        round(1e6 / rate_hz), round(longest * rate_hz), 0, _HAS_INDEX, len(chunks), 0, 1, longest,
        width, height, 0, 0, 0, 0,
    )  # fmt: skip
    stream = struct.pack(
        "<4s4sIHHIIIIIIII4H",
        b"vids", b"MJPG", 0, 0, 0, 0, scale, rate, 0, len(chunks), longest, 0xFFFFFFFF,
        0, 0, 0, width, height,
    )  # fmt: skip
    picture = struct.pack("<IiiHH4sIiiII", 40, width, height, 1, 24, b"MJPG", width * height * 3, 0, 0, 0, 0)
    header = _list(
        b"hdrl",
        _chunk(b"avih", main) + _list(b"strl", _chunk(b"strh", stream) + _chunk(b"strf", picture)),
    )
    index = []
    at = 4
    for chunk in chunks:
        index.append(struct.pack("<4sIII", b"00dc", _KEY_FRAME, at, len(chunk)))
        at += 8 + len(chunk) + len(chunk) % 2
    movie = _list(b"movi", b"".join(_chunk(b"00dc", chunk) for chunk in chunks))
    return _chunk(b"RIFF", b"AVI " + header + movie + _chunk(b"idx1", b"".join(index)))


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def _list(name: bytes, data: bytes) -> bytes:
    return _chunk(b"LIST", name + data)
