"""A real Chromium as the phone: its fake camera plays an invented fingertip, and the page does the rest."""

from __future__ import annotations

import functools
import json
import math
import os
import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from dawnbeat.capture.contact import ContactGauge
from dawnbeat.capture.frames import Frame, FrameSource, Sample
from dawnbeat.capture.patches import skin_numbers
from dawnbeat.capture.phone.server import PhoneServer
from dawnbeat.capture.phone.source import ClipSource, PhoneSource, wait_for_phone
from dawnbeat.morning.flow import TIME_UP, Plan
from dawnbeat.morning.taking import Order, Snapshot, Taking
from dawnbeat.recordings.invented.faults import Faults
from dawnbeat.recordings.invented.finger_video import FingerVideo
from dawnbeat.recordings.invented.heart import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analyse
from tests.capture import scenes
from tests.capture.phone.browser import Page, chromium, needs_chromium
from tests.capture.phone.conftest import Serve

RATE_HZ = 30.0
VIDEO_S = 30.0
FRAMES = round(VIDEO_S * RATE_HZ)


def finger() -> Scenario:
    """A fingertip whose frames lie evenly in time, as in a video file."""
    rhythm = Rhythm(mean_hr_bpm=62.0, rmssd_ms=42.0, seed=3)
    faults = Faults(drift=0.004, jitter_ms=0.0, stamp_error_ms=0.0)
    return Scenario(rhythm=rhythm, faults=faults, duration_s=VIDEO_S, rate_hz=RATE_HZ, seed=3)


@pytest.fixture(scope="module")
def camera(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the fake camera plays, over and over."""
    needs_chromium()
    path = tmp_path_factory.mktemp("camera") / "finger.y4m"
    write_camera(path)
    return path


def write_camera(path: Path) -> None:
    """The finger in the one form of video without compression that Chromium's fake camera plays."""
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W160 H120 F30:1 Ip A1:1 C420jpeg\n")
        for image in FingerVideo(finger()).images():
            file.write(b"FRAME\n" + cv2.cvtColor(image, cv2.COLOR_BGR2YUV_I420).tobytes())


@contextmanager
def phone(folder: Path, camera: Path | None, *flags: str) -> Iterator[Page]:
    with chromium(folder / "profile", camera, *flags) as page:
        yield page


def agree_with_camera(trace: Trace) -> None:
    """The beats lie where the fake camera showed them: 3 ms on average, RMSSD within 5 %.

    It plays the file on a steady grid, but for slips where the machine is busy. So the truth is the file's own time
    plus what most frames of the second around say of the shift. On a machine that is so busy that the camera stutters,
    nobody knows when it showed what, and there is nothing to compare with.
    """
    stutter = np.maximum(np.rint(np.diff(trace.time_s) * RATE_HZ) - 1.0, 0.0).sum() / len(trace)
    if stutter > 0.02:
        pytest.skip(f"this machine is too busy for its fake camera, which lost {100 * stutter:.0f} % of its frames")
    beats_s = analyse(trace, Settings(min_duration_s=10.0)).beats.time_s
    shown = frames_of_file(trace)
    late_s = trace.time_s - shown / RATE_HZ
    around = np.pad(late_s, 15, mode="edge")
    shown_s = shown / RATE_HZ + np.median(np.lib.stride_tricks.sliding_window_view(around, 31), axis=1)
    truth_s: list[float] = []
    for turn in range(int(shown[0]) // FRAMES, int(shown[-1]) // FRAMES + 1):
        at = finger().beats_s * RATE_HZ + turn * FRAMES
        inside = (at > shown[0]) & (at < shown[-1])
        truth_s += np.interp(at[inside], shown, shown_s).tolist()
    agree(beats_s, np.array(truth_s), seam_s=float(np.interp(FRAMES * (shown[0] // FRAMES + 1), shown, trace.time_s)))


def agree(beats_s: FloatArray, truth_s: FloatArray, seam_s: float) -> None:
    """3 ms on average, RMSSD within 5 %; the file's end joins its beginning within a beat, where there is no truth."""
    nearest = np.abs(beats_s[:, None] - truth_s).argmin(axis=1)
    known = np.abs(beats_s - seam_s) > 2.0
    error_s = (beats_s - truth_s[nearest])[known]
    assert len(error_s) >= 12
    assert np.abs(error_s).max() < 0.1
    error_s -= np.median(error_s)  # the steepest edge of the wave against the beat itself: the same for all
    assert np.abs(error_s).mean() < 0.003
    whole = known[:-2] & known[1:-1] & known[2:]
    measured, true = (np.diff(np.diff(times))[whole] for times in (beats_s, truth_s[nearest]))
    assert math.sqrt(np.mean(measured**2)) == pytest.approx(math.sqrt(np.mean(true**2)), rel=0.05)


def frames_of_file(trace: Trace) -> FloatArray:
    """(n,) which frame of the file each frame of the trace is, by the path that fits the greens best."""
    drawn, green = green_of_file(), trace.colour[:, 1]
    grid = np.rint((trace.time_s - trace.time_s[0]) * RATE_HZ).astype(int)
    start = max(range(FRAMES), key=lambda first: float(np.corrcoef(drawn[(grid + first) % FRAMES], green)[0, 1]))
    slope, shift = np.polyfit(drawn[(grid + start) % FRAMES], green, 1)
    slips = np.arange(-30, 31)
    misfit = np.abs(green[:, None] - slope * drawn[(grid[:, None] + start + slips) % FRAMES] - shift)
    slipping = 1.5 * misfit.mean() * np.abs(slips[:, None] - slips)
    total, back = misfit[0], []
    for each in misfit[1:]:
        back.append((total[:, None] + slipping).argmin(axis=0))
        total = (total[:, None] + slipping).min(axis=0) + each
    path = [int(total.argmin())]
    for each in reversed(back):
        path.append(int(each[path[-1]]))
    frames: FloatArray = np.maximum.accumulate(grid + start + slips[path[::-1]]).astype(np.float64)
    return frames


@functools.cache
def green_of_file() -> FloatArray:
    return np.array([image[:, :, 1].mean() for image in FingerVideo(finger()).images()])


def begin(page: Page, server: PhoneServer) -> PhoneSource:
    page.visit(server.url)
    page.press("live")
    source = wait_for_phone(server)
    assert isinstance(source, PhoneSource)
    return source


def frames_sent(page: Page) -> list[list[float]]:
    """Each frame once, as it left the browser."""
    sent: dict[int, list[float]] = {}
    for text in page.sent:
        message = json.loads(text)
        if message["kind"] == "frames":
            sent.update(enumerate(message["frames"], start=message["first"]))
    return [sent[number] for number in sorted(sent)]


def test_a_whole_shortened_reading(tmp_path: Path, camera: Path, serve: Serve) -> None:
    server = serve()
    with phone(tmp_path, camera) as page:
        source = begin(page, server)
        phases: list[str] = []

        def look(moment: Snapshot) -> None:
            if moment.phase not in phases:
                phases.append(moment.phase)
            if moment.kept_s > 15.0 and "seen" not in phases:
                phases.append("seen")
                page.until("/^6[0-9] bpm$/.test(document.getElementById('pulse').textContent)")
                assert 1 <= int(page.text("left").removeprefix("0:")) <= 8
                assert page.text("covered") == "The lens is covered."
                assert page.text("phase") == "Reading"

        folder = tmp_path / "recording"
        plan = Plan(duration_s=20.0, good_s=1.0, settle_s=1.5)
        taken = Taking(Order(lambda: source, plan, new_folder=lambda began: folder), look).run()
        taken.let_go()
        page.until("!document.getElementById('over').hidden")
        assert page.text("over-title") == "You may lift the finger."
        assert phases == ["finger", "settling", "reading", "seen", "over"]
        assert page.evaluate("dawnbeat.camera.stream === null")  # and its lamp is out
        about = json.loads((folder / "about.json").read_text())
        controls = about["controls"]
        assert about["camera"].startswith("phone: ")
        assert "Chrome" in controls["browser"]
        assert controls["lamp"] == "not offered"
        assert controls["exposure"] == "not offered"
        assert controls["frame times"] == "the phone's capture times"
        # Numbers only: every request, every message, every value of it.
        address = f"https://{server.ip}:{server.port}/"
        assert {method for method, _ in page.requests} == {"GET"}
        assert all(url.startswith((address, "data:,")) for _, url in page.requests)
        assert page.binary == 0
        rows = frames_sent(page)
        assert {json.loads(text)["kind"] for text in page.sent} <= {"hello", "facts", "state", "frames", "alive"}
        for row in rows:
            assert len(row) == 9
            assert all(type(value) in (int, float) for value in row)
        assert max(len(text) for text in page.sent) < 8192
        assert not page.said
    assert taken.ended.why == TIME_UP
    # What is in the recording is what left the browser, frame by frame; and every frame that the browser presented was
    # measured, or is counted as lost where this machine was too busy for the page to see it.
    sent = np.array(rows)
    first = int(np.nonzero(np.all(sent[:, 2:5] == taken.trace.colour[0], axis=1))[0][0])
    kept = sent[first : first + len(taken.trace)]
    np.testing.assert_array_equal(kept[:, 2:5], taken.trace.colour)
    np.testing.assert_allclose(kept[:, 0] - kept[0, 0], taken.trace.time_s, atol=2e-6)
    missed = int(kept[-1, 1] - kept[0, 1]) + 1 - len(kept)
    assert missed <= taken.dropped
    assert missed <= 0.1 * len(kept)
    agree_with_camera(taken.trace)


def test_a_network_that_goes_and_comes_back_costs_no_frame(tmp_path: Path, camera: Path, serve: Serve) -> None:
    server = serve()
    with proxy(server.port) as line, phone(tmp_path, camera, rule(server, line)) as page:
        source = begin(page, server)
        samples = []
        for frame in source.frames():
            samples.append(frame)
            if len(samples) == 120:
                line.cut()
                page.until("document.getElementById('line').textContent.includes('has not answered')")
                assert "Nothing is lost" in page.text("line")
                assert server.news.unheard_s > 0
                line.mend()
            if len(samples) >= 500:
                break
        page.until("document.getElementById('line').textContent === ''")
        source.close()
    sent = frames_sent(page)
    taken = [frame.sample for frame in samples]
    assert all(each is not None for each in taken)
    # What came out is what the browser measured, frame by frame, none twice, none left out.
    got_s = np.array([frame.time_s for frame in samples])
    sent_s = np.array([row[0] for row in sent])[: len(samples)]
    np.testing.assert_allclose(got_s, sent_s - sent_s[0], atol=2e-6)
    assert line.cuts == 1
    assert source.about.controls["frame times"] == "the phone's capture times"
    agree_with_camera(trace_of_samples([each for each in taken if each is not None]))


@pytest.mark.parametrize("refused", [False, True], ids=["websocket", "requests"])
def test_a_clip_is_sent_read_with_its_own_times_and_deleted(tmp_path: Path, serve: Serve, refused: bool) -> None:
    taken = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=2)
    clip = tmp_path / "morning.mov"
    write_clip(clip, taken)
    server = serve()
    with phone(tmp_path, None) as page:
        if refused:
            no_websocket(page)
        page.visit(server.url)
        page.choose_file("file", clip)
        source = wait_for_phone(server)
        assert isinstance(source, ClipSource)
        assert source.about.taken == taken
        assert len(list((tmp_path / "clips").iterdir())) == 1
        page.until("document.getElementById('sent').value === 1")
        trace = trace_of(source)
        source.close()
        page.until("!document.getElementById('over').hidden")
        assert "deleted" in page.text("over-title")
    assert not (tmp_path / "clips").exists()
    assert len(trace) == VIDEO_S * RATE_HZ
    agree(analyse(trace, Settings(min_duration_s=10.0)).beats.time_s, finger().beats_s, seam_s=-10.0)


def test_a_clip_that_breaks_off_goes_on_where_it_was(tmp_path: Path, serve: Serve) -> None:
    clip = tmp_path / "long.mov"
    write_clip(clip, None)
    with clip.open("ab") as file:  # a box that players skip, so that there is something to send
        size = 24 * 2**20
        file.write(struct.pack(">I4s", size, b"free") + os.urandom(size - 8))
    server = serve()
    with proxy(server.port, slow=True) as line, phone(tmp_path, None, rule(server, line)) as page:
        page.visit(server.url)
        page.choose_file("file", clip)
        upload = server.link.upload
        wait(lambda: upload.stored > 2 * 2**20)
        line.cut()
        stored = upload.stored
        page.until("document.getElementById('sent-words').textContent.includes('has not answered')")
        assert server.news.stage == "clip"
        assert 0 < server.news.share < 1
        assert upload.stored - stored < 2**20
        line.mend()
        source = wait_for_phone(server)
        assert upload.path is not None
        assert upload.path.read_bytes() == clip.read_bytes()
        source.close()


def test_a_browser_without_a_websocket_sends_the_same_by_requests(tmp_path: Path, camera: Path, serve: Serve) -> None:
    server = serve()
    with phone(tmp_path, camera) as page:
        no_websocket(page)
        source = begin(page, server)
        frames = []
        for frame in source.frames():
            frames.append(frame)
            if len(frames) == 150:
                break
        steps_s = np.diff([frame.time_s for frame in frames])
        source.tell("paused", 100.0, None, "Put the finger back on the lens.")
        page.until("document.getElementById('words').textContent === 'Put the finger back on the lens.'")
        source.close()
        page.until("!document.getElementById('over').hidden")
    assert np.median(steps_s) == pytest.approx(1 / RATE_HZ, abs=0.004)
    assert {method for method, _ in page.requests} == {"GET", "POST"}


def test_what_goes_wrong_on_the_phone_is_said_on_both_screens(tmp_path: Path, camera: Path, serve: Serve) -> None:
    server = serve()
    with phone(tmp_path, camera) as page:
        for name, words, here in (
            ("NotAllowedError", "allow it", "may not use the camera"),
            ("NotReadableError", "another program", "Another program"),
            ("NotFoundError", "no camera", "finds no camera"),
        ):
            page.visit(server.url)
            page.evaluate(
                "navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('no', '" + name + "'))"
            )
            page.press("live")
            wait(lambda words=words: words in server.news.trouble)
            assert here in page.text("trouble-words")
            assert page.shown() == "start"
        page.visit(server.url)
        page.evaluate("delete HTMLVideoElement.prototype.requestVideoFrameCallback")
        page.press("live")
        wait(lambda: "can't time its frames" in server.news.trouble)
        assert page.evaluate("document.getElementById('second').open")
        page.visit(server.url)
        source = begin(page, server)
        assert server.news.trouble == ""
        assert "can't light the lamp" in page.text("light")
        frames = source.frames()
        next(frames)
        page.evaluate(
            "Object.defineProperty(document, 'visibilityState', {value: 'hidden', configurable: true});"
            "document.dispatchEvent(new Event('visibilitychange'))"
        )
        wait(lambda: server.news.hidden)
        page.press("stop")
        for _ in frames:
            pass
        assert server.link.ended == "it was stopped on the phone"
        source.close()


def test_lamp_and_locks_are_said_as_the_camera_took_them(tmp_path: Path, camera: Path, serve: Serve) -> None:
    # The fake camera has neither; a track that grants some and refuses others stands in for a phone's.
    script = """
    const settings = {exposureMode: "continuous", whiteBalanceMode: "continuous"};
    const own = MediaStreamTrack.prototype.getSettings;
    MediaStreamTrack.prototype.getCapabilities = () =>
      ({torch: true, exposureMode: ["manual", "continuous"], whiteBalanceMode: ["manual", "continuous"]});
    MediaStreamTrack.prototype.getSettings = function() { return {...own.call(this), ...settings}; };
    globalThis.asked = [];
    MediaStreamTrack.prototype.applyConstraints = async ({advanced: [wish]}) => {
      asked.push(wish);
      if (wish.whiteBalanceMode) throw new Error("no");
      Object.assign(settings, wish);
    };"""
    server = serve()
    with phone(tmp_path, camera) as page:
        page.call("Page.addScriptToEvaluateOnNewDocument", source=script)
        source = begin(page, server)
        controls = source.about.controls
        assert (controls["lamp"], controls["exposure"], controls["focus"]) == ("on", "automatic", "not offered")
        assert page.text("light") == ""
        source.settle()
        wait(lambda: source.about.controls["exposure"] == "locked")
        assert source.about.controls["white balance"] == "not taken"
        assert page.evaluate("asked.every((wish) => wish.torch === true)")  # no wish puts the lamp out
        page.press("lamp")
        wait(lambda: source.about.controls["lamp"] == "off")
        source.close()


def test_a_page_that_is_loaded_again_in_the_middle_ends_it_and_keeps_what_came(
    tmp_path: Path, camera: Path, serve: Serve
) -> None:
    server = serve()
    with phone(tmp_path, camera) as page:
        source = begin(page, server)
        frames = source.frames()
        next(frames)
        page.visit(server.url)
        page.press("live")
        page.until("!document.getElementById('over').hidden")
        assert "loaded again" in page.text("over-words")
    with pytest.raises(DawnbeatError, match="loaded again"):
        list(frames)


def test_the_page_judges_frames_as_the_computer_does(tmp_path: Path, serve: Serve) -> None:
    server = serve()
    torch, web = scenes.torch_finger(640, 480), scenes.webcam_finger(640, 480)
    pictures = [
        torch,
        scenes.half_covered(torch, scenes.room(1), 20.0, 0.5),
        scenes.half_covered(torch, scenes.room(1), 20.0, 0.7),
        web,
        scenes.room(2),
        scenes.room(3, gain=0.25),
        scenes.plain_wall(),
        torch,
        web * 0.02,
    ]
    small = [
        cv2.resize(scenes.as_frame(each, number), (128, 96), interpolation=cv2.INTER_AREA)
        for number, each in enumerate(pictures)
    ]
    gauge = ContactGauge()
    ours = [gauge.measure(Frame(0.2 * number, 0, image)) for number, image in enumerate(small)]
    with phone(tmp_path, None) as page:
        page.visit(server.url)
        page.evaluate(
            "import(document.querySelector('script[type=module]').src)"
            f".then((module) => {{ globalThis.gauge = new module.Gauge({json.dumps(skin_numbers())}); }})"
        )
        for number, (image, mine) in enumerate(zip(small, ours, strict=True)):
            pixels = cv2.cvtColor(image, cv2.COLOR_BGR2RGBA).ravel().tolist()
            theirs: dict[str, Any] = page.evaluate(f"gauge.measure(new Uint8ClampedArray({pixels}), {0.2 * number})")
            assert theirs["colour"] == pytest.approx([mine.red, mine.green, mine.blue], abs=1e-6)
            if mine.covered or max(theirs["colour"]) > 10:  # in the dark the computer's gauge says none is covered
                assert theirs["covered"] == pytest.approx(mine.covered, abs=1e-9)
            clipped = [mine.clipped_red, mine.clipped_green, mine.clipped_blue]
            assert theirs["clipped"] == pytest.approx(clipped, abs=0.02)


# Help


def wait(until: Any, limit_s: float = 10.0) -> None:
    end_s = time.monotonic() + limit_s
    while not until():
        assert time.monotonic() < end_s, "never came true"
        time.sleep(0.02)


def trace_of(source: FrameSource) -> Trace:
    gauge = ContactGauge()
    return trace_of_samples([gauge.measure(frame) for frame in source.frames()])


def trace_of_samples(samples: list[Sample]) -> Trace:
    table = np.array([(each.time_s, each.red, each.green, each.blue) for each in samples])
    return Trace(table[:, 0], table[:, 1:4])


def no_websocket(page: Page) -> None:
    """What some browsers do under a certificate that nobody signed: the page comes, the WebSocket never opens."""
    page.call(
        "Page.addScriptToEvaluateOnNewDocument",
        source="globalThis.WebSocket = class { constructor() { setTimeout(() => this.onclose?.(), 5); } close() {} };",
    )


def write_clip(path: Path, taken: datetime | None) -> None:
    """The finger as a video in a QuickTime file, whose header says when it was taken."""
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, cv2.VideoWriter_fourcc(*"MJPG"), RATE_HZ, (160, 120))
    assert writer.isOpened()
    for image in FingerVideo(finger()).images():
        writer.write(image)
    writer.release()
    if taken is not None:
        data = bytearray(path.read_bytes())
        at = data.rindex(b"mvhd") + 8
        data[at : at + 4] = struct.pack(">I", int((taken - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds()))
        path.write_bytes(data)


class Proxy:
    """A line between the browser and the server that can be cut as a network is: nothing comes through, nobody is told.

    What was on the way is lost. slow: about 8 MB a second.
    """

    def __init__(self, port: int, slow: bool) -> None:
        self.cuts = 0
        self._up = threading.Event()
        self._up.set()
        self._slow = slow
        self._to = port
        self._pairs: list[socket.socket] = []
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        self.cuts += 1
        self._up.clear()

    def mend(self) -> None:
        for each in self._pairs:
            each.close()
        self._pairs.clear()
        self._up.set()

    def close(self) -> None:
        self._listening.close()
        self.mend()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            self._up.wait()
            try:
                far = socket.create_connection(("127.0.0.1", self._to))
            except OSError:
                near.close()
                continue
            self._pairs += [near, far]
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with closing(one), closing(other):
            try:
                while data := one.recv(65536):
                    if not self._up.is_set():
                        self._up.wait()
                        return
                    if self._slow:
                        time.sleep(len(data) / 8e6)
                    other.sendall(data)
            except OSError:
                return


@contextmanager
def proxy(port: int, slow: bool = False) -> Iterator[Proxy]:
    line = Proxy(port, slow)
    try:
        yield line
    finally:
        line.close()


def rule(server: PhoneServer, line: Proxy) -> str:
    """Have the browser reach the server's address through the proxy."""
    return f"--host-resolver-rules=MAP 127.0.0.1:{server.port} 127.0.0.1:{line.port}"
