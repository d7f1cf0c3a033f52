"""The phone as a source of frames, like any other."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import Any

from dawnbeat.capture.clock import DropCounter
from dawnbeat.capture.frames import Frame, FrameSource, SourceAbout
from dawnbeat.capture.phone.link import News
from dawnbeat.capture.phone.messages import PhoneFrame
from dawnbeat.capture.phone.server import PhoneServer
from dawnbeat.capture.video import VideoFileSource, creation_time
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import CLOCKS_APART

# The phone keeps what it could not send; a network that is gone for a minute must not end a reading.
PATIENCE_S = 100.0
OVER = "over"
_LIFT = "You may lift the finger."


def wait_for_phone(server: PhoneServer, on_news: Callable[[News], None] | None = None) -> FrameSource:
    """Wait until the phone's camera sends, or its clip is here, and return the source of it.

    on_news: called about twice a second while nothing came. Raises DawnbeatError when it is over before that,
    and stops the server then.
    """
    link = server.link
    while not link.wait_for_light(0.5):
        if on_news is not None:
            on_news(server.news)
    if link.upload.done:
        try:
            return ClipSource(server)
        except DawnbeatError as error:
            server.stop(str(error), fault=True)
            raise
    if link.facts is None:
        why = link.ended or "it was stopped"
        server.stop(why)
        raise DawnbeatError(why)
    return PhoneSource(server)


class PhoneSource:
    """Frames that the phone measured, with its capture times and what it or the network lost.

    patience_s: how long the phone may be silent, for tests.
    """

    def __init__(self, server: PhoneServer, patience_s: float = PATIENCE_S) -> None:
        self._server, self._link = server, server.link
        self._patience_s = patience_s
        self._drops = DropCounter()
        self._first_s: float | None = None
        self._presented = 0
        self._last_words = _LIFT

    @property
    def about(self) -> SourceAbout:
        """Browser, camera, lamp and what was locked, as the phone says; and what its clock is worth."""
        facts = self._link.facts
        assert facts is not None
        known = dict(facts.known)
        doubt = self._link.clock.words
        times = f"the phone's {known.get('frame times', 'own')}"
        return SourceAbout(
            camera=f"phone: {known.get('camera') or 'camera'}",
            width=facts.width,
            height=facts.height,
            nominal_rate_hz=facts.rate_hz,
            controls={**known, "frame times": f"{times}; {doubt}" if doubt else times},
            patience_s=self._patience_s,
            doubt=doubt,
        )

    def frames(self) -> Iterator[Frame]:
        """Yield each frame once, until the runner stops on the phone; raises DawnbeatError when the phone is gone."""
        link = self._link
        while True:
            got = link.take(0.2)
            if got is not None:
                yield self._frame(got)
            elif link.ended is not None:
                if link.broken:
                    raise DawnbeatError(link.ended)
                return
            elif link.unheard_s > self._patience_s:
                raise DawnbeatError(
                    f"the phone was not heard for {self._patience_s:.0f} s: check its Wi-Fi and that its page is open. "
                    f"{self._server.firewall}"
                )

    def settle(self) -> None:
        """Ask the phone to hold exposure, white balance and focus; `about` says what it really did."""
        self._link.lock()

    def tell(self, phase: str, left_s: float, pulse_bpm: float | None, words: str) -> None:
        """Show on the phone how the reading goes; at the end, `words` are the last that it shows."""
        if phase == OVER:
            self._last_words = f"{_LIFT} {words}".strip()
        told: dict[str, Any] = {"phase": phase, "left": round(left_s, 1), "words": words}
        self._link.tell({**told, "pulse": None if pulse_bpm is None else round(pulse_bpm)})

    def close(self) -> None:
        """Tell the phone that the finger may be lifted, and close the address."""
        self._server.stop(self._last_words, self._link.broken)

    def _frame(self, got: PhoneFrame) -> Frame:
        if self._first_s is None:
            self._first_s, self._presented = got.time_s, got.presented - 1
        time_s = got.time_s - self._first_s
        lost = max(got.presented - self._presented - 1, self._drops.lost_before(time_s))
        self._presented = got.presented
        return Frame(time_s, lost, None, replace(got, time_s=time_s))


class ClipSource:
    """A clip that the phone sent, decoded with its own frame times and deleted when it is closed.

    Raises DawnbeatError where it is no video that can be read.
    """

    def __init__(self, server: PhoneServer) -> None:
        upload = server.link.upload
        assert upload.path is not None
        assert upload.file is not None
        self._server = server
        self._video = VideoFileSource(upload.path)
        taken, modified_s = creation_time(upload.path), upload.file.modified_s
        if taken is None and 0 < modified_s <= time.time() + CLOCKS_APART.total_seconds():
            taken = datetime.fromtimestamp(modified_s)  # when a clip that was just filmed ended
        self._about = replace(
            self._video.about, camera="phone: a clip that was sent", taken=taken and taken.astimezone()
        )
        self._last_words = "The clip was read and deleted."

    @property
    def about(self) -> SourceAbout:
        """Size and rate of the clip, and when it was taken."""
        return self._about

    def frames(self) -> Iterator[Frame]:
        """Yield the frames once, as fast as they decode."""
        return self._video.frames()

    def settle(self) -> None:
        """What was filmed can't be changed any more."""

    def tell(self, phase: str, left_s: float, pulse_bpm: float | None, words: str) -> None:
        """Show on the phone how the decoding goes; at the end, `words` are the last that it shows."""
        if phase == OVER:
            self._last_words = f"{self._last_words} {words}".strip()
        self._server.link.tell({"phase": "clip", "left": round(left_s, 1), "words": "", "pulse": None})

    def close(self) -> None:
        """Delete the clip and close the address."""
        self._video.close()
        self._server.stop(self._last_words)
