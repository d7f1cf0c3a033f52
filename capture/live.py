"""Frames that come at their own pace, with times and what was lost between; and a network stream, such as a phone's."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, wait
from dataclasses import replace
from urllib.parse import urlsplit

import numpy as np

from dawnbeat.capture.clock import DropCounter, FrameClock, Tick
from dawnbeat.capture.frames import Capture, Frame, Image, SourceAbout, three_channels
from dawnbeat.shared.errors import DawnbeatError

_POS_MSEC = 0  # cv::CAP_PROP_POS_MSEC
_FAILURES_ALLOWED = 5
_SILENCE_ALLOWED_S = 2.0
_FIRST_DISCARDED = 5
_JUDGED = 30
_JUDGED_S = 2.0
_SCHEMES = ("http", "https", "rtsp")
ANSWER_LIMIT_S = 5.0


class LiveReader:
    """Reads one capture. Not for two readers at once; `close` may come from another thread.

    what: the source in words that can stand in an error, such as "camera 0".
    monotonic, sleep: the clock and the waiting, for tests without either.
    """

    def __init__(
        self,
        capture: Capture,
        what: str,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._capture = capture
        self._what = what
        self._monotonic = monotonic
        self._sleep = sleep
        self._reading = threading.Lock()
        self._closing = False
        self._released = False
        self._first_s: float | None = None
        self._drops = DropCounter()
        self.clock = FrameClock()
        self._last_image: Image | None = None

    def warm_up(self) -> float:
        """Read first frames that nobody keeps: they prove the source and choose the clock.

        Returns the frames a second as they really come, from the median step. Raises DawnbeatError when no frames come.
        """
        ticks: list[Tick] = []
        for seen in range(_FIRST_DISCARDED + _JUDGED):
            tick, self._last_image = self._read()
            if seen >= _FIRST_DISCARDED:  # what lay in the driver's buffers comes in one burst
                ticks.append(tick)
            if len(ticks) > 2 and ticks[-1].monotonic_s - ticks[0].monotonic_s > _JUDGED_S:
                break
        self.clock = FrameClock(ticks)
        driver_s = [tick.driver_s for tick in ticks if tick.driver_s is not None]
        clock_s = driver_s if self.clock.doubt is None else [tick.monotonic_s for tick in ticks]
        self._drops = DropCounter()
        return 1.0 / max(float(np.median(np.diff(clock_s))), 1e-6)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the last frame; zeros before the first."""
        image = self._last_image
        return (0, 0) if image is None else (int(image.shape[1]), int(image.shape[0]))

    def frames(self, between: Callable[[Image], None] | None = None) -> Iterator[Frame]:
        """Yield frames until `close`; `between` is called after each, while nothing is being read.

        Raises DawnbeatError when the source stops sending.
        """
        try:
            while not self._closing:
                tick, image = self._read()
                now_s = self.clock.time_s(tick)
                if self._first_s is None:
                    self._first_s = now_s
                yield Frame(now_s - self._first_s, self._drops.lost_before(now_s), image)
                if between is not None:
                    between(image)
        except DawnbeatError:
            if not self._closing:
                raise
        finally:
            if self._closing:
                with self._reading:
                    self._release()

    def close(self) -> None:
        """Release the capture, or have the reader release it if it is held up in the driver right now."""
        self._closing = True
        if self._reading.acquire(timeout=1.0):
            try:
                self._release()
            finally:
                self._reading.release()

    def _release(self) -> None:
        if not self._released:
            self._released = True
            self._capture.release()

    def _read(self) -> tuple[Tick, Image]:
        failures = 0
        began_s = self._monotonic()
        while True:
            with self._reading:
                if self._closing:
                    raise DawnbeatError(f"{self._what} was closed")
                if self._capture.grab():
                    at_s = self._monotonic()
                    driver_s = self._capture.get(_POS_MSEC) / 1000.0
                    taken, image = self._capture.retrieve()
                    if taken and image is not None and image.size:
                        return Tick(at_s, driver_s if driver_s > 0 else None), three_channels(image)
            failures += 1
            if failures >= _FAILURES_ALLOWED or self._monotonic() - began_s > _SILENCE_ALLOWED_S:
                raise DawnbeatError(
                    f"{self._what} stopped sending frames: check that it is connected and that no other program uses it"
                )
            self._sleep(0.02)


class StreamSource:
    """An http, https or rtsp stream.

    Raises DawnbeatError when the address is none of these, or doesn't answer with frames within five seconds.
    The user name, password and query of the address never appear in errors or in `about`.
    """

    def __init__(
        self,
        url: str,
        *,
        open_capture: Callable[[str], Capture] | None = None,
        monotonic: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        shown = shown_address(url)
        self._what = f"the stream {shown}"
        capture = self._open_in_time(open_capture or _open, url)
        if not capture.isOpened():
            capture.release()
            raise DawnbeatError(f"{self._what} doesn't answer with video: check the address, and that the phone sends")
        self._reader = LiveReader(capture, self._what, monotonic, sleep)
        try:
            self._reader.warm_up()
        except BaseException:
            self.close()
            raise
        width, height = self._reader.size
        self._about = SourceAbout(f"stream {shown}", width, height, live=True)

    @property
    def about(self) -> SourceAbout:
        """What is known of the stream; its controls stay with the phone that sends it."""
        return replace(
            self._about,
            controls={
                "exposure, gain, white balance, focus": "not offered",
                "frame times": self._reader.clock.words,
            },
        )

    def frames(self) -> Iterator[Frame]:
        """Yield frames; raises DawnbeatError when the stream freezes or ends."""
        return self._reader.frames()

    def settle(self) -> None:
        """A stream takes no orders: nothing to lock."""

    def close(self) -> None:
        """Hang up."""
        self._reader.close()

    def _open_in_time(self, open_capture: Callable[[str], Capture], url: str) -> Capture:
        """Open in a thread of its own: a name look-up or a handshake can outlast the decoder's own limit."""
        opening: Future[Capture] = Future()

        def work() -> None:
            try:
                opening.set_result(open_capture(url))
            except BaseException as error:
                opening.set_exception(error)

        threading.Thread(target=work, daemon=True, name="open stream").start()
        wait([opening], ANSWER_LIMIT_S)
        if not opening.done():
            opening.add_done_callback(_release_late)
            raise DawnbeatError(
                f"{self._what} doesn't answer within {ANSWER_LIMIT_S:.0f} s: check the address, and that phone and "
                "computer are in the same network"
            )
        try:
            return opening.result()
        except DawnbeatError:
            raise
        except BaseException:
            raise DawnbeatError(f"{self._what} can't be opened: check the address") from None


def _release_late(opening: Future[Capture]) -> None:
    if opening.exception() is None:
        opening.result().release()


def shown_address(url: str) -> str:
    """The address without user name, password and query, for people to read.

    Raises DawnbeatError when it is no http, https or rtsp address.
    """
    try:
        parts = urlsplit(url.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if parts.scheme.lower() not in _SCHEMES or not host:
        raise DawnbeatError("that is no address of a stream: it starts with http://, https:// or rtsp://")
    place = f"[{host}]" if ":" in host else host
    text = f"{parts.scheme.lower()}://{place}{f':{port}' if port else ''}{parts.path}"
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _open(url: str) -> Capture:
    from dawnbeat.capture.address import open_address  # what speaks to networks is slow to import

    return open_address(url.strip(), f"the stream {shown_address(url)}")
