"""Draws the frames of a scenario: a fingertip over a lens, or the room where it is off."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dawnbeat.capture.frames import Image
from dawnbeat.recordings.invented.avi import write_mjpeg_avi
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray, IntArray

_Picture = NDArray[np.float32]
# Noise of single pixels is drawn once, then chosen and mirrored anew for each frame: that is fast, and no
# field has a mean of its own, so that the noise of the frame mean stays the one the finger asks for.
_NOISE_FIELDS = 6
_ROOM_CONTRAST = 45.0
_EDGE_SHARE = 0.04


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
