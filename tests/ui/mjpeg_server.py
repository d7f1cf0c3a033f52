"""A phone on the loopback interface: it sends an invented finger as MJPEG at the pace of a camera."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from dawnbeat.capture.frames import load_cv2
from dawnbeat.recordings.invented.finger_video import RehearsalSource

_QUALITY = 95
_HEAD = b"HTTP/1.0 200 OK\r\nContent-Type: multipart/x-mixed-replace; boundary=next\r\n\r\n"


@contextmanager
def finger_stream(
    seed: int,
    rate_hz: float,
    duration_s: float,
    late_s: Callable[[float], float] | None = None,
    lost: Callable[[int], bool] | None = None,
) -> Iterator[str]:
    """Serve the rehearsal finger to whoever connects, from its first frame each time; gives the address.

    late_s: how long a frame taken at a time waits before it is sent, in seconds; frames keep their order. lost: whether
    a frame of that number is never sent.
    """
    sources: list[RehearsalSource] = []
    threads: list[threading.Thread] = []

    def send(connection: socket.socket) -> None:
        cv2 = load_cv2()
        source = RehearsalSource(seed=seed, rate_hz=rate_hz, duration_s=duration_s, realtime=True)
        sources.append(source)
        try:
            with connection:
                connection.recv(4096)
                connection.sendall(_HEAD)
                for number, frame in enumerate(source.frames()):
                    if lost is not None and lost(number):
                        continue
                    if late_s is not None:
                        time.sleep(late_s(frame.time_s))
                    good, data = cv2.imencode(".jpg", frame.image, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
                    assert good
                    head = f"--next\r\nContent-Type: image/jpeg\r\nContent-Length: {data.size}\r\n\r\n"
                    connection.sendall(head.encode() + data.tobytes() + b"\r\n")
        except OSError:
            return  # whoever watched has hung up
        finally:
            source.close()

    def answer(listening: socket.socket) -> None:
        while True:
            try:
                connection, _ = listening.accept()
            except OSError:
                return
            threads.append(threading.Thread(target=send, args=(connection,), daemon=True))
            threads[-1].start()

    with socket.create_server(("127.0.0.1", 0)) as listening:
        accepting = threading.Thread(target=answer, args=(listening,), daemon=True)
        accepting.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}/video"
        finally:
            listening.shutdown(socket.SHUT_RDWR)
            for source in sources:
                source.close()
            for thread in (accepting, *threads):
                thread.join(5.0)
