"""The server under every caller but a browser: the right phone, the wrong one, and those who mean harm."""

from __future__ import annotations

import asyncio
import json
import socket
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, closing
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from dawnbeat.capture.phone.identity import certificate_for
from dawnbeat.capture.phone.server import PhoneServer
from dawnbeat.capture.phone.source import PhoneSource, wait_for_phone
from dawnbeat.shared.errors import DawnbeatError
from tests.capture.phone.conftest import Serve
from tests.capture.phone.test_link import FACTS, batch

HELLO = {"kind": "hello", "page": 7}


def listens(ip: str, port: int) -> bool:
    with closing(socket.socket()) as asking:
        asking.settimeout(1.0)
        return asking.connect_ex((ip, port)) == 0


def base(server: PhoneServer) -> str:
    return f"https://{server.ip}:{server.port}"


def path(server: PhoneServer, name: str = "") -> str:
    return f"{base(server)}/{server.url.rsplit('/', 1)[1]}{name}"


@asynccontextmanager
async def device() -> AsyncIterator[aiohttp.ClientSession]:
    """Something on the network with a memory for cookies of its own, which takes any certificate."""
    jar = aiohttp.CookieJar(unsafe=True)
    connector = aiohttp.TCPConnector(ssl=False)
    async with aiohttp.ClientSession(cookie_jar=jar, connector=connector) as session:
        yield session


async def status(session: aiohttp.ClientSession, url: str, **more: Any) -> tuple[int, bytes]:
    async with session.get(url, **more) as answer:
        return answer.status, await answer.read()


async def connect(session: aiohttp.ClientSession, server: PhoneServer) -> aiohttp.ClientWebSocketResponse:
    assert (await status(session, path(server)))[0] == 200
    return await session.ws_connect(path(server, "/link"), headers={"Origin": base(server)}, max_msg_size=0)


async def hear(talk: aiohttp.ClientWebSocketResponse, kind: str) -> dict[str, Any]:
    """The next message of a kind."""
    while True:
        message = await asyncio.wait_for(talk.receive(), 5.0)
        assert message.type == aiohttp.WSMsgType.TEXT, message
        said: dict[str, Any] = json.loads(message.data)
        if said["kind"] == kind:
            return said


def with_device(work: Callable[[aiohttp.ClientSession], Awaitable[None]]) -> None:
    async def run() -> None:
        async with device() as session:
            await work(session)

    asyncio.run(run())


def test_nothing_listens_before_after_or_elsewhere(serve: Serve) -> None:
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert not listens("127.0.0.1", port)
    server = serve(port=port)
    assert listens("127.0.0.1", port)
    assert not listens("127.0.0.2", port)  # another address of the same computer
    server.stop()
    assert not listens("127.0.0.1", port)
    assert not server.listening


def test_ten_minutes_without_a_phone_close_the_address(serve: Serve) -> None:
    server = serve(open_for_s=0.3)
    with pytest.raises(DawnbeatError, match="ten minutes are over"):
        wait_for_phone(server)
    assert not listens(server.ip, server.port)


def test_a_phone_that_sends_by_then_goes_on_but_nobody_can_come_any_more(serve: Serve) -> None:
    server = serve(open_for_s=3.0)

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        await talk.send_json(HELLO)
        await talk.send_json(FACTS)
        for _ in range(100):
            if not server.listening:
                break
            await asyncio.sleep(0.1)
        assert not listens(server.ip, server.port)
        await talk.send_json(batch(0))
        assert (await hear(talk, "got"))["next"] in (0, 10)
        server.link.over("You may lift the finger.")
        assert (await hear(talk, "over"))["words"] == "You may lift the finger."

    with_device(work)


def test_a_port_that_is_taken_is_said_and_the_usual_one_is_evaded(serve: Serve, tmp_path: Path) -> None:
    server = serve()
    certificate = certificate_for("127.0.0.1", tmp_path / "config")
    with pytest.raises(DawnbeatError, match=rf"port {server.port}.*another port"):
        PhoneServer("127.0.0.1", certificate, tmp_path, server.port)
    with pytest.raises(DawnbeatError, match=r"can't open 203\.0\.113\.1"):
        PhoneServer("203.0.113.1", certificate, tmp_path)
    one, two = (PhoneServer("127.0.0.1", certificate, tmp_path) for _ in range(2))
    one.stop()
    two.stop()
    assert one.port != two.port


def test_the_token_has_at_least_128_bits_and_is_never_the_same(serve: Serve) -> None:
    tokens = [serve().url.rsplit("/", 1)[1] for _ in range(4)]
    assert len(set(tokens)) == 4
    for token in tokens:
        assert len(token) * 5 >= 128  # 32 kinds of letters: five bits each
        assert set(token) <= set("ABCDEFGHJKLMNPQRSTUVWXYZ23456789")


def test_the_page_comes_under_a_strict_policy_and_names_no_other_address(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        async with session.get(path(server)) as answer:
            text, headers = await answer.text(), answer.headers
        assert server.fingerprint in text
        policy = headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; ")
        assert "unsafe" not in policy
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Cache-Control"] == "no-store"
        assert "aiohttp" not in headers.get("Server", "")
        cookie = headers["Set-Cookie"]
        for flag in ("Secure", "HttpOnly", "SameSite=Strict"):
            assert flag in cookie
        code, script = await status(session, path(server, "/page.js"))
        assert code == 200
        for each in (text, script.decode()):
            assert "http://" not in each
            assert "https://" not in each

    with_device(work)


def test_a_wrong_token_host_origin_or_path_gets_nothing(serve: Serve) -> None:
    server = serve()
    right = server.url.rsplit("/", 1)[1]

    async def work(session: aiohttp.ClientSession) -> None:
        for url in ("/", "/favicon.ico", f"/{right[:-1]}", f"/{right}X", "/" + "A" * 26, "/" + "é" * 13, f"//{right}"):
            assert await status(session, base(server) + url) == (404, b"")
        assert await status(session, path(server), headers={"Host": "evil.example"}) == (404, b"")
        assert await status(session, path(server, "/page.js")) == (404, b"")  # the page was not asked for before
        assert (await status(session, path(server)))[0] == 200
        for name in ("/link", "/page.js.map", "/../server.py", "/page.html"):
            assert await status(session, path(server, name)) == (404, b"")
        for origin in ("https://evil.example", "null", f"http://{server.ip}:{server.port}"):
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await session.ws_connect(path(server, "/link"), headers={"Origin": origin})
        with pytest.raises(aiohttp.WSServerHandshakeError):
            await session.ws_connect(path(server, "/link"))
        async with session.post(
            path(server, "/link"), data=b"{}", headers={"Origin": "https://evil.example"}
        ) as answer:
            assert (answer.status, await answer.read()) == (404, b"")

    with_device(work)
    assert server.news.stage == "waiting"
    assert server.news.strangers == 8  # all but what came from the device that had the address already


def test_a_second_phone_gets_nothing_and_the_first_may_come_again(serve: Serve) -> None:
    server = serve()

    async def work(first: aiohttp.ClientSession) -> None:
        async with device() as second:
            assert (await status(second, path(server)))[0] == 200  # nobody has begun
            talk = await connect(first, server)
            await talk.send_json(HELLO)
            await hear(talk, "got")
            assert await status(second, path(server)) == (404, b"")
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await second.ws_connect(path(server, "/link"), headers={"Origin": base(server)})
            again = await connect(first, server)
            await again.send_json(HELLO)
            assert (await hear(again, "got"))["next"] == 0

    with_device(work)
    assert server.news.strangers == 2


def test_a_phone_that_comes_again_is_asked_for_what_is_missing(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        for message in (HELLO, FACTS, batch(0)):
            await talk.send_json(message)
        await hear(talk, "got")
        assert (await hear(talk, "got"))["next"] == 10
        await talk.close()
        talk = await connect(session, server)
        await talk.send_json(HELLO)
        assert (await hear(talk, "got"))["next"] == 10
        await talk.send_json(batch(5, 20))
        assert (await hear(talk, "got"))["next"] == 25

    with_device(work)
    source = PhoneSource(server)
    server.link.over("done")
    assert [round(frame.time_s * 30) for frame in source.frames()] == list(range(25))


def test_the_same_is_said_by_requests_where_a_browser_refuses_the_websocket(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        await status(session, path(server))

        async def post(message: dict[str, Any]) -> list[dict[str, Any]]:
            async with session.post(path(server, "/link"), json=message, headers={"Origin": base(server)}) as answer:
                assert answer.status == 200
                said: list[dict[str, Any]] = await answer.json()
                return said

        assert await post(HELLO) == [{"kind": "got", "next": 0}, {"kind": "status", "lock": False, "phase": "waiting"}]
        await post(FACTS)
        assert (await post(batch(0)))[0] == {"kind": "got", "next": 10}
        ending = asyncio.get_running_loop().run_in_executor(None, server.stop, "You may lift the finger.")
        await asyncio.sleep(0.3)
        assert (await post({"kind": "alive"}))[-1]["kind"] == "over"
        await ending

    with_device(work)
    assert not listens(server.ip, server.port)


HARM = [
    b"garbage",
    b"\x00" * 100,
    json.dumps({**batch(10), "frames": [[float("nan")] * 9]}).encode(),
    b'{"kind":"frames","first":10,"waiting":0,"frames":[[1e999,1,1,1,1,1,1,1,1]]}',
    json.dumps(batch(0, 241)).encode(),
    b"x" * 100_000,
    b"x" * 10_000_000,
    b"[" * 60_000,
]


@pytest.mark.parametrize("harm", HARM, ids=["garbage", "zeros", "nan", "inf", "many", "long", "ten MB", "deep"])
def test_a_message_that_is_none_of_ours_ends_it_with_a_line_and_keeps_what_came(serve: Serve, harm: bytes) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        for message in (HELLO, FACTS, batch(0)):
            await talk.send_json(message)
        await hear(talk, "got")
        await hear(talk, "got")
        try:
            await talk.send_str(harm.decode("latin-1"))
        except ConnectionError:
            return  # hung up on in the middle of it
        over = None
        while True:
            message = await asyncio.wait_for(talk.receive(), 5.0)
            if message.type != aiohttp.WSMsgType.TEXT:
                break
            said = json.loads(message.data)
            over = said if said["kind"] == "over" else over
        if len(harm) < 200_000:  # beyond its limit the connection is hung up on at once
            assert over is not None
            assert over["fault"]
            assert "phone" in over["words"]

    with_device(work)
    frames = PhoneSource(server, patience_s=3.0).frames()
    assert len([next(frames) for _ in range(10)]) == 10
    with pytest.raises(DawnbeatError, match=r"message|frame"):
        next(frames)
    server.stop()
    assert not listens(server.ip, server.port)


def hung_up(connection: socket.socket) -> bool:
    try:
        return connection.recv(1) == b""
    except BlockingIOError:
        return False
    except ConnectionError:
        return True


def test_fifty_connections_leave_room_for_the_phone_that_is_there(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        await talk.send_json(HELLO)
        await hear(talk, "got")
        idle = [socket.create_connection((server.ip, server.port)) for _ in range(50)]
        for each in idle:
            each.setblocking(False)
        for _ in range(50):
            if sum(map(hung_up, idle)) >= 38:
                break
            await asyncio.sleep(0.1)
        assert sum(map(hung_up, idle)) >= 38  # twelve at the most are inside, one of them the phone
        await talk.send_json(FACTS)
        await talk.send_json(batch(0))
        assert (await hear(talk, "got"))["next"] == 10
        for each in idle:
            each.close()

    with_device(work)


def test_one_that_sends_without_end_is_slowed_before_anything_is_read(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        await talk.send_json(HELLO)
        await hear(talk, "got")
        filling = json.dumps({"kind": "alive", "filling": "x" * 60_000})

        async def flood() -> None:
            for _ in range(400):
                await talk.send_str(filling)

        flooding = asyncio.create_task(flood())
        began_s = time.monotonic()
        await asyncio.sleep(2.0)
        assert not flooding.done()  # 24 MB would have taken a fraction of a second
        flooding.cancel()
        assert time.monotonic() - began_s < 10.0

    with_device(work)


def test_a_phone_that_does_not_read_is_hung_up_on_and_holds_nothing_up(
    serve: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dawnbeat.capture.phone.server._SPEAK_LIMIT_S", 0.5)
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        await talk.send_json(HELLO)
        await hear(talk, "got")
        transport = talk._response.connection.transport
        transport.pause_reading()
        server.link.tell({"phase": "reading", "words": "x" * 8_000_000})  # more than the system keeps on the way
        await asyncio.sleep(2.0)
        server.link.tell({"phase": "reading"})
        transport.resume_reading()
        message = await asyncio.wait_for(talk.receive(), 5.0)
        while message.type == aiohttp.WSMsgType.TEXT:
            message = await asyncio.wait_for(talk.receive(), 5.0)
        again = await connect(session, server)  # and there is room for it to come again
        await again.send_json(HELLO)
        await hear(again, "got")

    with_device(work)


def test_the_source_says_what_the_phone_said(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        for message in (HELLO, FACTS, batch(0)):
            await talk.send_json(message)
        await hear(talk, "got")
        await hear(talk, "got")

    with_device(work)
    source = wait_for_phone(server)
    assert isinstance(source, PhoneSource)
    about = source.about
    assert (about.camera, about.width, about.height, about.nominal_rate_hz) == ("phone: back", 640, 480, 30.0)
    assert about.controls["lamp"] == "on"
    assert about.controls["frame times"] == "the phone's own"
    source.settle()
    assert server.link.say()["lock"] is True
    source.close()
    source.close()
    assert list(source.frames()) != []


def test_a_phone_that_is_gone_for_good_is_said_with_what_to_check(serve: Serve) -> None:
    server = serve()

    async def work(session: aiohttp.ClientSession) -> None:
        talk = await connect(session, server)
        for message in (HELLO, FACTS, batch(0)):
            await talk.send_json(message)
        await hear(talk, "got")
        await hear(talk, "got")

    with_device(work)
    frames = PhoneSource(server, patience_s=0.5).frames()
    assert len([next(frames) for _ in range(10)]) == 10
    with pytest.raises(DawnbeatError, match=r"Wi-Fi.*firewall"):
        next(frames)
