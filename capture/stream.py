"""A network stream by its address, such as a phone used as a camera."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from urllib.parse import urlsplit

from dawnbeat.capture.frames import Frame, SourceAbout
from dawnbeat.capture.live import LiveReader
from dawnbeat.capture.opencv import Capture, load_cv2
from dawnbeat.shared.errors import DawnbeatError, one_line

SCHEMES = ("http", "https", "rtsp")
ANSWER_LIMIT_S = 5.0
# The decoder gives up a little earlier than we do, so that it lets its socket go by itself.
_DECODER_LIMIT_MS = 4500


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
        self._what = f"the stream {shown_address(url)}"
        capture = self._open_in_time(open_capture or _open, url)
        if not capture.isOpened():
            capture.release()
            raise DawnbeatError(f"{self._what} doesn't answer with video: check the address, and that the phone sends")
        self._reader = LiveReader(capture, self._what, monotonic, sleep)
        try:
            self.pace = self._reader.warm_up()
        except BaseException:
            self.close()
            raise
        image = self._reader.last_image
        self._about = SourceAbout(
            camera=f"stream {shown_address(url)}",
            width=0 if image is None else int(image.shape[1]),
            height=0 if image is None else int(image.shape[0]),
            live=True,
        )

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
        box: list[Capture] = []
        given_up = threading.Event()
        done = threading.Event()
        fault: list[BaseException] = []

        def work() -> None:
            try:
                box.append(open_capture(url))
            except BaseException as error:
                fault.append(error)
            done.set()
            if given_up.is_set() and box:
                box[0].release()

        threading.Thread(target=work, daemon=True, name="open stream").start()
        if not done.wait(ANSWER_LIMIT_S):
            given_up.set()
            if not done.is_set():
                raise DawnbeatError(
                    f"{self._what} doesn't answer within {ANSWER_LIMIT_S:.0f} s: check the address, and that "
                    "phone and computer are in the same network"
                )
        if fault:
            if isinstance(fault[0], DawnbeatError):
                raise fault[0]
            raise DawnbeatError(f"{self._what} can't be opened: check the address") from None
        return box[0]


def shown_address(url: str) -> str:
    """The address without user name, password and query, for people to read.

    Raises DawnbeatError when it is no http, https or rtsp address.
    """
    try:
        parts = urlsplit(url.strip())
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if parts.scheme.lower() not in SCHEMES or not host:
        raise DawnbeatError("that is no address of a stream: it starts with http://, https:// or rtsp://")
    place = f"[{host}]" if ":" in host else host
    text = f"{parts.scheme.lower()}://{place}{f':{port}' if port else ''}{parts.path}"
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _open(url: str) -> Capture:
    """Ask the host ourselves, so that nothing leads to another; only rtsp is the decoder's own affair after that."""
    from dawnbeat.capture.address import MOST_PIXELS, check_rtsp, open_address

    url, what = url.strip(), f"the stream {shown_address(url)}"
    try:
        if not url.lower().startswith("rtsp"):
            return open_address(url, what)
        check_rtsp(url, what)
    except OSError as error:
        raise DawnbeatError(
            f"{what} doesn't answer ({one_line(error.strerror or error)}): check the address, and that the phone sends"
        ) from error
    cv2 = load_cv2()
    limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, _DECODER_LIMIT_MS, cv2.CAP_PROP_READ_TIMEOUT_MSEC, _DECODER_LIMIT_MS]
    capture: Capture = cv2.VideoCapture(url, cv2.CAP_FFMPEG, limits)
    width, height = capture.get(cv2.CAP_PROP_FRAME_WIDTH), capture.get(cv2.CAP_PROP_FRAME_HEIGHT)
    if width * height > MOST_PIXELS:
        capture.release()
        raise DawnbeatError(f"{what} sends pictures of {width:.0f} x {height:.0f}: choose a smaller size there")
    return capture
