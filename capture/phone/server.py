"""The page for the phone, served on one address of this computer while a reading is wanted and not a moment longer."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import json
import logging
import os
import secrets
import socket
import threading
import time
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from dawnbeat.capture.patches import skin_numbers
from dawnbeat.capture.phone.identity import Certificate, needed
from dawnbeat.capture.phone.link import Link, News
from dawnbeat.capture.phone.messages import MOST_CHUNK_BYTES, OFFSET_BYTES, TOO_LONG, Pace, RefusedError, message_from
from dawnbeat.shared.errors import DawnbeatError, one_line

_log = logging.getLogger(__name__)

USUAL_PORT = 8765
OPEN_FOR_S = 600.0
TOO_LATE = "ten minutes are over: press again for a new address"
STOPPED = "it was stopped on the computer"
FIREWALL = (
    "Phone and computer must be in the same network, not a guest network, and this computer's firewall must let "
    "Dawnbeat in on port {port}."
)

# Letters and digits that nobody confuses: 26 of 32 kinds are 130 bits. Capitals keep the code small.
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
_TOKEN_LETTERS = 26
_COOKIE = "__Host-dawnbeat"
_MOST_CONNECTIONS = 12
_MOST_VISITS = 8  # loads of the page before a phone began: a look ahead by the phone's own scanner is one
_ICONS = ("/favicon", "/apple-touch-icon")  # which browsers ask for by themselves, some without the cookie
_ACCEPT_EVERY_S = 0.02
_HANDSHAKE_S = 8.0
_REQUEST_S = 30.0
_SILENT_S = 8.0
_SPEAK_EVERY_S = 0.25
_SPEAK_LIMIT_S = 5.0
_LAST_WORDS_S = 2.0
_LOOK_EVERY_S = 0.2
_VIOLATION = 1008
_GONE = (TimeoutError, ConnectionError, RuntimeError)  # what sending to a phone that is away raises


class PhoneServer:
    """Opens the address at once and closes it by itself after ten minutes; a phone that sends by then may go on.

    ip: the one address to listen on. port: None for the usual one, or any free one where that is taken.
    clips: the folder that takes in a clip. open_for_s: for tests.

    url: with the one-time token; whoever begins first has it. fingerprint: of the certificate. link: what the
    phone says. Raises DawnbeatError where it can't listen there.
    """

    def __init__(
        self, ip: str, certificate: Certificate, clips: Path, port: int | None = None, open_for_s: float = OPEN_FOR_S
    ) -> None:
        needed("aiohttp.web")
        self.fingerprint = certificate.fingerprint
        self.link = Link(clips)
        self._token = "".join(secrets.choice(_LETTERS) for _ in range(_TOKEN_LETTERS))
        self._context = certificate.context()
        self._open_for_s = open_for_s
        self._listening = _listen(ip, port)
        self.ip, self.port = ip, int(self._listening.getsockname()[1])
        self._stop: Callable[[], object] = lambda: None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True, name="phone")
        self._thread.start()
        self._ready.wait(5.0)

    @property
    def url(self) -> str:
        """The address for the phone. All capitals, which makes its code smaller; no part of it minds."""
        return f"HTTPS://{self.ip}:{self.port}/{self._token}"

    @property
    def firewall(self) -> str:
        """What to check where the phone finds nothing."""
        return FIREWALL.format(port=self.port)

    @property
    def news(self) -> News:
        """Where things stand, for the computer's screen."""
        return self.link.news

    @property
    def listening(self) -> bool:
        """Whether the address is open."""
        return self._listening.fileno() >= 0

    def stop(self, words: str = STOPPED, fault: bool = False) -> None:
        """Tell the phone that it is over and close the address; calling it again does no harm."""
        self.link.over(words, fault)
        with contextlib.suppress(RuntimeError):  # it has ended by itself in between
            self._stop()
        if threading.current_thread() is not self._thread:
            self._thread.join(_LAST_WORDS_S + 5.0)
        self.link.upload.discard()

    def _run(self) -> None:
        try:
            asyncio.run(_Serving(self).run())
        except Exception as error:  # a fault of ours must be told, not vanish in a thread
            _log.exception("the page for the phone")
            self.link.over(f"the page for the phone failed: {one_line(error)}", True)
        finally:
            self._listening.close()
            self._ready.set()


class _Serving:
    """The event loop's side of the server."""

    def __init__(self, server: PhoneServer) -> None:
        self.web = needed("aiohttp.web")
        self.server, self.link = server, server.link
        self.host = f"{server.ip}:{server.port}"
        self.origin = f"https://{self.host}"
        self.visits: set[str] = set()
        self.owner: str | None = None
        self.page, self.headers = _page(self.host, f"/{server._token}", server.fingerprint)
        self.over = asyncio.Event()
        self.inside: set[asyncio.Task[None]] = set()  # a task for each connection, from its handshake on
        self.kept: set[asyncio.Transport] = set()
        self.talk: Any = None
        self.polled = self.told = False
        self.accepting: asyncio.Task[None] | None = None
        self.pace = Pace()

    async def run(self) -> None:
        """Serve until the server is stopped, or until nothing is left to be served."""
        loop = asyncio.get_running_loop()
        self.server._stop = lambda: loop.call_soon_threadsafe(self.over.set)
        if self.link.is_over:  # it was stopped before it could listen
            self.over.set()
        runner = self.web.ServerRunner(
            self.web.Server(self._answer, access_log=None, keepalive_timeout=15.0, max_field_size=2048)
        )
        await runner.setup()
        self.accepting = asyncio.create_task(self._accept(runner.server))
        ending = asyncio.create_task(self._end_in_time())
        self.server._ready.set()
        try:
            await self.over.wait()
            ending.cancel()
            if not self.polled:  # a phone that asks by and by has to come once more for the last words
                self._close_door()
            await self._last_words()
        finally:
            self._close_door()
            ending.cancel()
            for task in self.inside:
                task.cancel()
            await runner.cleanup()

    async def _accept(self, protocols: Callable[[], asyncio.Protocol]) -> None:
        """Take in connections, few at a time and not too fast; what is beyond is hung up on before it says anything."""
        loop = asyncio.get_running_loop()
        while True:
            connection, _ = await loop.sock_accept(self.server._listening)
            if len(self.inside) >= _MOST_CONNECTIONS:
                connection.close()
            else:
                task = asyncio.create_task(self._serve_one(protocols, connection))
                self.inside.add(task)
                task.add_done_callback(self.inside.discard)
            await asyncio.sleep(_ACCEPT_EVERY_S)

    async def _serve_one(self, protocols: Callable[[], asyncio.Protocol], connection: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        try:
            transport, _ = await loop.connect_accepted_socket(
                protocols, connection, ssl=self.server._context, ssl_handshake_timeout=_HANDSHAKE_S
            )
        except (OSError, asyncio.CancelledError):  # no TLS, or the phone doesn't trust the certificate yet
            connection.close()
            return
        deadline_s = loop.time() + _REQUEST_S
        try:
            while not transport.is_closing():
                if loop.time() > deadline_s and transport not in self.kept:
                    transport.abort()
                await asyncio.sleep(_LOOK_EVERY_S)
        except asyncio.CancelledError:
            transport.abort()
        self.kept.discard(transport)

    async def _end_in_time(self) -> None:
        """Close the address after ten minutes. Whoever is connected by then goes on until it is over."""
        clocks = (time.monotonic, time.time)  # the first stands still while a computer sleeps
        ends = [clock() + self.server._open_for_s for clock in clocks]
        while all(clock() < end for clock, end in zip(clocks, ends, strict=True)):
            await asyncio.sleep(min(1.0, self.server._open_for_s / 4))
        if self.talk is None or self.link.facts is None:
            self._break_off(TOO_LATE)
        else:
            self._close_door()

    def _break_off(self, why: object) -> None:
        self.link.over(str(why), True)
        self.over.set()

    def _close_door(self) -> None:
        """Listen no more; who is inside stays."""
        if self.accepting is not None:
            self.accepting.cancel()
        # The loop must let go of the socket before its number may be used by another.
        asyncio.get_running_loop().call_soon(self.server._listening.close)

    async def _last_words(self) -> None:
        """Give the phone a moment to be told that it is over."""
        loop = asyncio.get_running_loop()
        deadline_s = loop.time() + _LAST_WORDS_S
        while (self.talk is not None or (self.polled and not self.told)) and loop.time() < deadline_s:
            await asyncio.sleep(0.05)

    # Requests

    async def _answer(self, request: Any) -> Any:
        try:
            answer = await self._route(request)
        except self.web.HTTPException:
            answer = self._nothing()
        if not answer.prepared:
            answer.headers.update(self.headers)
        return answer

    async def _route(self, request: Any) -> Any:
        token, _, name = request.path.removeprefix("/").partition("/")
        known = secrets.compare_digest(token.upper().encode(), self.server._token.encode())
        visitor = request.cookies.get(_COOKIE, "")
        if not known or request.headers.get("Host") != self.host or not self._welcome(visitor, name):
            return self._turned_away(visitor, request.path)
        if request.method == "GET" and name in ("", "page.js"):
            return self._static(name, visitor)
        if name == "link" and request.headers.get("Origin") == self.origin and visitor in self.visits:
            upgrade = request.method == "GET" and request.headers.get("Upgrade", "").lower() == "websocket"
            if upgrade or request.method == "POST":
                self.owner = visitor
                return await (self._converse(request) if upgrade else self._post(request))
        return self._turned_away(visitor, request.path)

    def _turned_away(self, visitor: str, path: str) -> Any:
        """Nothing, and a mark where it was another device than the one that the address is for."""
        ours = visitor in self.visits if self.owner is None else visitor == self.owner
        if not ours and not path.startswith(_ICONS):
            self.link.strangers += 1
        return self._nothing()

    def _welcome(self, visitor: str, name: str) -> bool:
        """Whether this visitor may come in: anybody with the address until one began, then nobody else."""
        if self.owner is not None:
            return visitor == self.owner
        return visitor in self.visits or (name == "" and len(self.visits) < _MOST_VISITS)

    def _nothing(self) -> Any:
        return self.web.Response(status=404, headers={"Connection": "close"})

    def _static(self, name: str, visitor: str) -> Any:
        if name == "page.js":
            script = files(__package__).joinpath("page.js").read_bytes()
            return self.web.Response(body=script, content_type="text/javascript", charset="utf-8")
        answer = self.web.Response(text=self.page, content_type="text/html", charset="utf-8")
        if visitor not in self.visits:
            visitor = secrets.token_urlsafe(24)
            self.visits.add(visitor)
            answer.headers["Set-Cookie"] = f"{_COOKIE}={visitor}; Secure; HttpOnly; SameSite=Strict; Path=/"
        return answer

    async def _converse(self, request: Any) -> Any:
        """The WebSocket: hear the phone message by message, and tell it how the reading goes."""
        types = needed("aiohttp").WSMsgType
        talk = self.web.WebSocketResponse(
            max_msg_size=MOST_CHUNK_BYTES + OFFSET_BYTES + 1, compress=False, timeout=2.0, receive_timeout=_SILENT_S
        )
        await talk.prepare(request)
        self.kept.add(request.transport)
        before, self.talk = self.talk, talk
        if before is not None:  # the same phone came again before the old connection was known to be gone
            await before.close()
        speaking = asyncio.create_task(self._speak(talk, request))
        try:
            while True:
                message = await talk.receive()
                if message.type == types.TEXT:
                    await self._say(talk, await self._heard_text(message.data))
                elif message.type == types.BINARY:
                    await self._say(talk, self._heard_piece(message.data))
                elif message.type == types.ERROR and getattr(message.data, "code", None) is not None:
                    raise RefusedError("a message from the phone is too long, or none that a page sends")
                else:
                    break
        except RefusedError as error:
            self._break_off(error)
            with contextlib.suppress(*_GONE):
                await self._say(talk, [self.link.say()])
                await talk.close(code=_VIOLATION)
        except _GONE:
            pass  # it comes again and sends what was not acknowledged
        finally:
            speaking.cancel()
            self.kept.discard(request.transport)
            if request.transport is not None and not talk.closed:
                request.transport.abort()
            if self.talk is talk:
                self.talk = None
        return talk

    async def _speak(self, talk: Any, request: Any) -> None:
        """Tell the phone the newest state four times a second; one that doesn't listen is hung up on."""
        try:
            while True:
                said = self.link.say()
                await self._say(talk, [said])
                if said["kind"] == "over":
                    await talk.close()
                    return
                await asyncio.sleep(_SPEAK_EVERY_S)
        except _GONE:
            if request.transport is not None:
                request.transport.abort()

    async def _say(self, talk: Any, said: list[dict[str, Any]]) -> None:
        for each in said:
            await asyncio.wait_for(talk.send_str(json.dumps(each)), _SPEAK_LIMIT_S)

    async def _post(self, request: Any) -> Any:
        """The same for browsers that refuse a WebSocket under a certificate of one's own: one message a request."""
        most = MOST_CHUNK_BYTES + OFFSET_BYTES
        if request.content_length is None or request.content_length > most:
            self._break_off(TOO_LONG)
            return self._nothing()
        self.polled = True
        try:
            data = await asyncio.wait_for(request.content.readexactly(request.content_length), _REQUEST_S)
            if request.content_type == "application/octet-stream":
                said = self._heard_piece(data)
            else:
                said = await self._heard_text(data)
        except (TimeoutError, asyncio.IncompleteReadError):
            return self._nothing()
        except RefusedError as error:
            self._break_off(error)
            said = []
        said.append(self.link.say())
        self.told = self.link.is_over
        return self.web.json_response(said)

    async def _heard_text(self, text: str | bytes) -> list[dict[str, Any]]:
        await asyncio.sleep(self.pace.wait_s(len(text), time.monotonic()))
        message = message_from(text)
        while not self.link.room and not self.over.is_set():
            await asyncio.sleep(0.1)
        return self.link.hear(message)

    def _heard_piece(self, data: bytes) -> list[dict[str, Any]]:
        if len(data) <= OFFSET_BYTES:
            raise RefusedError("a piece of the clip is too short")
        return self.link.hear_piece(int.from_bytes(data[:OFFSET_BYTES], "big"), data[OFFSET_BYTES:])


def _listen(ip: str, port: int | None) -> socket.socket:
    """A socket that listens there; on any free port where none is asked for and the usual one is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # on Windows it would let two programs have the port
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((ip, USUAL_PORT if port is None else port))
        listening.listen(16)
        listening.setblocking(False)
        return listening
    except OSError as error:
        listening.close()
        if port is None:
            return _listen(ip, 0)
        place = f"{ip} port {port}" if port else ip
        raise DawnbeatError(
            f"can't open {place} for the phone ({one_line(error.strerror or error)}): choose another port or "
            "network, or end the program that uses it"
        ) from error


def _page(host: str, path: str, fingerprint: str) -> tuple[str, dict[str, str]]:
    """The page with what it must know, and the headers that go with every answer."""
    text = files(__package__).joinpath("page.html").read_text(encoding="utf-8")
    given = {"fingerprint": fingerprint, "skin": skin_numbers(), "most_bytes": MOST_CHUNK_BYTES}
    text = text.replace("{given}", json.dumps(given)).replace("{path}", path)
    style = text.split("<style>")[1].split("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; script-src 'self'; style-src 'sha256-{digest}'; connect-src 'self' wss://{host}; "
        "img-src data:; media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return text, {
        "Content-Security-Policy": policy,
        "Cache-Control": "no-store",
        "Cross-Origin-Embedder-Policy": "require-corp",  # with the next one: finer times for the frames
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "camera=(self), microphone=(), geolocation=(), screen-wake-lock=(self)",
        "Referrer-Policy": "no-referrer",
        "Server": "",
        "X-Content-Type-Options": "nosniff",
    }
