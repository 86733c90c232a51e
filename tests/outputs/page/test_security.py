"""The page's defences: who has no link learns nothing and sets nothing.

The rules are those of the OWASP cheat sheets for session management and cross-site request
forgery, of RFC 6454 (Origin) and RFC 6265bis (SameSite); from memory.
"""

import re
import socket
import time

import pytest

from tests.outputs.page.serving import STEADY, Listener, Served, path_of, serve, until
from warmwatch.core.reading import MarkName
from warmwatch.outputs.page.gate import REFUSAL
from warmwatch.outputs.page.limits import MOST_STREAMS
from warmwatch.outputs.page.rights import Right, Rights

PATHS = (
    "/",
    "/page.js",
    "/page.css",
    "/icon.svg",
    "/events",
    "/mark",
    "/nothing",
    "/open/",
    "/open",
)


def refused(served: Served, method: str, path: str, **headers: str | None) -> None:
    answer = served.ask(method, path, b"{}" if method == "POST" else None, **headers)
    assert answer.status == 403
    assert answer.body.decode() == REFUSAL


@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE", "OPTIONS"])
def test_a_stranger_learns_nothing(method: str) -> None:
    """Without the cookie every path, there or not, is refused with the same words."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        for path in PATHS:
            for cookie in (None, "", f"page-{served.server.port}=guess", "page-1=x; other=y"):
                refused(served, method, path, Cookie=cookie)


def test_the_link_is_exchanged_for_a_cookie() -> None:
    """The link's key gives an HttpOnly, SameSite=Strict cookie that is not the key itself."""
    with serve() as served:
        link = served.server.link(Right.MARK)
        answer = served.ask("GET", path_of(link), Cookie=None)
        assert answer.status == 200
        given = answer.headers["Set-Cookie"]
        assert "HttpOnly" in given
        assert "SameSite=Strict" in given
        assert "Domain" not in given
        cookie = given.split(";")[0]
        assert link.rsplit("/", 1)[1] not in cookie
        assert served.ask("GET", "/", Cookie=cookie).status == 200


@pytest.mark.parametrize(
    "path", ["/open/", "/open/x", "/open/%00", "/open/%C3%A4", "/open/" + "a" * 900]
)
def test_a_wrong_key_is_refused(path: str) -> None:
    """A wrong key gives no cookie."""
    with serve() as served:
        answer = served.ask("GET", path, Cookie=None)
        assert answer.status == 403
        assert "Set-Cookie" not in answer.headers


def test_keys_cannot_be_guessed_and_die_with_the_run() -> None:
    """Keys and cookies have 144 bits, are all different, and are of no use in another run."""
    one, two = (Rights(marks=True, run=True) for _ in range(2))
    secrets = [r.key(right) for r in (one, two) for right in Right]
    secrets += [r.cookie(right) for r in (one, two) for right in Right]
    assert len(set(secrets)) == 12
    assert all(re.fullmatch(r"[\w-]{24}", secret) for secret in secrets)
    assert two.by_key(one.key(Right.MARK)) is None
    assert one.by_cookie(one.key(Right.MARK)) is None


def test_secrets_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every known secret is compared, by the library's constant-time function, also after a hit."""
    compared: list[bytes] = []

    def compare(a: bytes, b: bytes) -> bool:
        compared.append(a)
        return a == b

    monkeypatch.setattr("warmwatch.outputs.page.rights.hmac.compare_digest", compare)
    rights = Rights(marks=True)
    for text in (rights.key(Right.WATCH), rights.key(Right.MARK), "wrong", ""):
        compared.clear()
        rights.by_key(text)
        assert len(compared) == 2


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "", None, "localhost"],
)
def test_a_wrong_host_is_refused(host: str | None) -> None:
    """A name that an attacker points at this address (DNS rebinding) is not answered."""
    with serve() as served:
        name = None if host is None else host.format(port=served.server.port)
        refused(served, "GET", "/", Host=name)
        refused(served, "GET", path_of(served.server.link(Right.WATCH)), Host=name)
        assert served.ask("GET", "/", Host=f"localhost:{served.server.port}").status == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": None},
        {"Origin": "https://{host}"},
        {"Origin": "http://localhost:1"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Content_Type": "text/plain"},
        {"Content_Type": "application/x-www-form-urlencoded"},
        {"Content_Type": None},
        {"Host": "evil.example", "Origin": "http://evil.example"},
        {"Cookie": None},
    ],
)
def test_a_cross_site_mark_is_refused(headers: dict[str, str | None]) -> None:
    """A mark counts only from our own page: right Origin, right type, right fetch metadata."""
    with serve() as served:
        filled = {k: v and v.format(host=served.host) for k, v in headers.items()}
        assert served.mark({"mark": "plug-out"}, **filled).status == 403
        assert served.page.drain() == []


def test_watching_is_not_marking() -> None:
    """The link for watching gives the page and its stream, and cannot set a mark."""
    with serve() as served:
        watching = served.cookie(Right.WATCH)
        assert served.ask("GET", "/", Cookie=watching).status == 200
        assert served.mark({"mark": "drip"}, Cookie=watching).status == 403
        with Listener(served, Right.WATCH) as listener:
            assert next(listener.messages("hello"))["right"] == "watch"
        assert served.page.drain() == []


def test_without_the_right_nobody_marks() -> None:
    """Where marking was not given, there is not even a key for it."""
    with serve(marks=False) as served:
        assert [line for line in served.page.links() if "mark" in line] == []
        mark = served.mark({"mark": "drip"}, Cookie=served.cookie(Right.WATCH))
        assert mark.status == 403


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"null", b'{"mark": 5}', b'{"mark": "explode"}', b'{"mark": "note"}',
        b'{"mark": "drip", "note": 5}', b'{"mark": ["drip"]}', b"[" * 3000, b"\xff\xfe",
    ],
)  # fmt: skip
def test_what_is_no_mark_is_refused(body: bytes) -> None:
    """A body that is no mark changes nothing, and the server goes on."""
    with serve() as served:
        assert served.mark(body).status == 400
        assert served.mark({"mark": "drip"}).status == 202
        assert served.page.drain() == [(MarkName.DRIP, "")]


def test_sizes_are_limited() -> None:
    """A long body, one without a length, a long line or header are refused; a note is cut."""
    with serve() as served:
        long_body = {"mark": "note", "note": "x" * 5000}
        assert served.mark(long_body).status == 400
        chunked = served.ask("POST", "/mark", None, Transfer_Encoding="chunked")
        assert chunked.status == 403
        assert served.ask("GET", "/" + "x" * 3000).status == 403
        assert served.ask("GET", "/", X_Long="y" * 9000).status == 403
        served.mark({"mark": "note", "note": "a\x1b[31mb\n" + "z" * 900})
        name, note = served.page.drain()[0]
        assert name is MarkName.NOTE
        assert note.startswith("a [31mb z")
        assert len(note) == 500


def test_rates_are_limited(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dozens of marks at once are not taken; a phone that asks hundreds of times is refused."""
    with serve() as served:
        answers = [served.mark({"mark": "drip"}).status for _ in range(60)]
        assert answers.count(202) in range(20, 40)
        assert answers.count(429) >= 20
    monkeypatch.setattr("warmwatch.outputs.page.limits.is_loopback", lambda address: False)
    with serve() as served:
        statuses = [served.ask("GET", "/icon.svg").status for _ in range(100)]
        assert statuses[:60] == [200] * 60
        assert statuses.count(403) >= 20


def test_every_answer_has_the_strict_headers() -> None:
    """Refusals, files and marks carry the same policy, and none tells what serves it."""
    with serve() as served:
        answers = [
            served.ask("GET", "/"),
            served.ask("GET", "/", Cookie=None),
            served.ask("GET", path_of(served.server.link(Right.WATCH))),
            served.mark({"mark": "drip"}),
        ]
        for answer in answers:
            policy = answer.headers["Content-Security-Policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert "frame-ancestors 'none'" in policy
            assert answer.headers["X-Content-Type-Options"] == "nosniff"
            assert answer.headers["Referrer-Policy"] == "no-referrer"
            assert answer.headers["Cache-Control"] == "no-store"
            assert not re.search("python|aiohttp|warm", str(answer.headers), re.IGNORECASE)


def test_nonsense_is_refused_like_everything_else() -> None:
    """What is no HTTP at all gets the same words and tells nothing of the server."""
    with serve() as served:
        for nonsense in (
            b"NONSENSE\r\n\r\n",
            b"\x16\x03\x01\x02\x00\x01\x00",
            b"GET / HTTP/9.9\r\n\r\n",
        ):
            with socket.create_connection(("127.0.0.1", served.server.port), 5) as client:
                client.sendall(nonsense + b"\r\n\r\n")
                answer = client.recv(4096)
                assert b" 403 " in answer
                assert not re.search(b"python|aiohttp", answer, re.IGNORECASE)


def ended(client: socket.socket) -> bool:
    """Whether the other side closes or resets the connection, and says nothing first."""
    try:
        return client.recv(100) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_a_silent_connection_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who connects and asks nothing, or only half a question, is put out."""
    monkeypatch.setattr("warmwatch.outputs.page.connections.FIRST_REQUEST_S", 0.3)
    with serve() as served:
        for start in (b"", b"GET / HTTP/1.1\r\nHost: "):
            with socket.create_connection(("127.0.0.1", served.server.port), 5) as client:
                client.sendall(start)
                assert ended(client)


def test_connections_are_limited(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond a fixed number, connections are closed at once; those that are there go on."""
    monkeypatch.setattr("warmwatch.outputs.page.connections.MOST_CONNECTIONS", 5)
    with serve() as served, Listener(served) as listener:
        served.played.take(STEADY)
        served.show()
        messages = listener.messages("state")
        next(messages)
        held = [socket.create_connection(("127.0.0.1", served.server.port), 5) for _ in range(12)]
        served.show()
        assert next(messages)["figure"] == "85"
        closed = 0
        for client in held:
            client.settimeout(0.2)
            closed += ended(client)
            client.close()
        assert closed >= 7


@pytest.mark.slow
def test_pages_are_limited_and_none_slows_the_watch() -> None:
    """Of 50 pages a fixed number is served, the rest refused; showing stays a matter of moments."""
    with serve() as served:
        served.played.take(STEADY)
        served.show()
        listeners = [Listener(served) for _ in range(50)]
        statuses = [listener.status() for listener in listeners]
        assert statuses.count(200) == MOST_STREAMS
        assert statuses.count(503) == 50 - MOST_STREAMS
        slowest_s = 0.0
        for tenth in range(20):
            started = time.monotonic()
            served.show(later_s=tenth / 10)
            slowest_s = max(slowest_s, time.monotonic() - started)
            time.sleep(0.02)
        assert slowest_s < 0.25
        served_ones = [li for li, status in zip(listeners, statuses, strict=True) if status == 200]
        for listener in served_ones:
            assert next(listener.messages("state"))["figure"] == "85"
        for listener in listeners:
            listener.__exit__()
        until(lambda: served.server.clients == 0)


def test_a_client_that_reads_nothing_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slow client is dropped; another one gets everything meanwhile."""
    monkeypatch.setattr("warmwatch.outputs.page.streams.SLOW_S", 0.5)
    with serve() as served, Listener(served, buffer=4096), Listener(served) as good:
        served.played.take(STEADY)
        until(lambda: served.server.clients == 2)
        messages = good.messages("state")
        deadline = time.monotonic() + 20.0
        rounds = 0
        while served.server.clients == 2:
            assert time.monotonic() < deadline
            served.show(recording="x" * 20000)
            served.show(link_trouble="y" * 8000)
            next(messages)
            rounds += 1
        served.show()
        assert next(messages)["word"]
        assert served.server.clients == 1


def test_the_cookie_is_bound_to_the_port() -> None:
    """Two watches on one machine do not take each other's cookies."""
    with serve() as one, serve() as two:
        refused(two, "GET", "/", Cookie=one.cookie())


CODINGS = ("gzip", "deflate", "br", "identity", "x" * 50)


@pytest.mark.parametrize("coding", CODINGS)
def test_a_coded_body_is_refused_and_leaves_no_trace(
    coding: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """Content codings are refused, from friend and stranger; nothing of it reaches the terminal."""
    with serve() as served:
        for headers in ({}, {"Cookie": None}, {"Host": "evil.example", "Cookie": None}):
            told = served.mark(b"not gzip at all", Content_Encoding=coding, **headers)
            assert (told.status, told.body.decode()) == (403, REFUSAL)
        assert served.mark({"mark": "drip"}).status == 202
        assert served.page.drain() == [(MarkName.DRIP, "")]
    assert capfd.readouterr() == ("", "")


def test_a_slow_body_ends_its_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    """A body that never comes whole is given up, also from who has the cookie."""
    monkeypatch.setattr("warmwatch.outputs.page.gate.BODY_S", 0.3)
    with serve() as served:
        head = (
            f"POST /mark HTTP/1.1\r\nHost: {served.host}\r\nCookie: {served.cookie()}\r\n"
            f"Origin: http://{served.host}\r\nContent-Type: application/json\r\n"
            "Content-Length: 100\r\n\r\n{"
        )
        clients = [socket.create_connection(("127.0.0.1", served.server.port), 5) for _ in range(9)]
        for client in clients:
            client.sendall(head.encode())
        for client in clients:
            assert b" 403 " in client.recv(4096)
            while client.recv(4096):
                pass
            client.close()


def test_one_browser_has_one_stream() -> None:
    """The newest page of a browser gets the stream, the one before is told; others keep theirs."""
    with serve() as served:
        mine = f"{served.cookie()}; browser-{served.server.port}=mine"
        with (
            Listener(served) as other,
            Listener(served, cookie=mine) as first,
            Listener(served, cookie=mine) as second,
        ):
            assert next(second.messages("hello"))
            assert next(first.messages("elsewhere")) == {}
            served.played.take(STEADY)
            served.show()
            assert next(second.messages("state"))["figure"] == "85"
            assert next(other.messages("state"))["figure"] == "85"
            until(lambda: served.server.clients == 2)


def test_running_is_a_right_of_its_own() -> None:
    """Orders and proofs are for the running link alone; a watch without a visit has no such key."""
    with serve(run=True) as served:
        path = served.server.site.offer(b"%PDF invented")
        for right in (Right.WATCH, Right.MARK):
            cookie = served.cookie(right)
            assert served.post("/do", {"do": "start"}, Cookie=cookie).status == 403
            refused(served, "GET", path, Cookie=cookie)
        assert served.server.site.orders.empty()
        assert served.post("/do", {"do": "start", "n": 1}).status == 202
        assert served.server.site.orders.get_nowait().name == "start"
        assert served.ask("GET", path).body == b"%PDF invented"
        assert served.mark({"mark": "drip"}).status == 202
    with serve() as served:
        assert served.post("/do", {"do": "start"}).status == 403
        assert Right.RUN not in served.server.site.rights.given


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": None},
        {"Sec_Fetch_Site": "cross-site"},
        {"Content_Type": "text/plain"},
        {"Cookie": None},
        {"Host": "evil.example", "Origin": "http://evil.example"},
    ],
)
@pytest.mark.parametrize("path", ["/do", "/understand"])
def test_a_cross_site_order_is_refused(headers: dict[str, str | None], path: str) -> None:
    """An order counts only from our own page, as a mark does."""
    with serve(run=True) as served:
        assert served.post(path, {"do": "start"}, **headers).status == 403
        assert served.server.site.orders.empty()


@pytest.mark.parametrize(
    "told",
    [
        b"", b"[]", b"null", b"{", {"do": 5}, {"do": "explode"}, {"do": "start", "n": "1"},
        {"do": "start", "n": True}, {"do": "new", "label": ["x"]}, {"do": "new", "label": None},
        {"do": "new", **{f"k{i}": "x" for i in range(9)}}, b"[" * 3000,
    ],
)  # fmt: skip
def test_what_is_no_order_is_refused(told: object) -> None:
    """A body that is no order changes nothing; long texts are cut, control signs taken out."""
    with serve(run=True) as served:
        assert served.post("/do", told).status == 400
        assert served.server.site.orders.empty()
        long = {"do": "new", "label": "a\x1b[31m" + "x" * 900, "keep": True}
        assert served.post("/do", long).status == 202
        order = served.server.site.orders.get_nowait()
        assert order.texts["label"].startswith("a [31mx")
        assert len(order.texts["label"]) == 200
        assert order.ticks == {"keep": True}


@pytest.mark.parametrize(
    "path",
    [
        "/proof/", "/proof/x", "/proof/../page.js", "/proof/%2e%2e/page.js", "/proof/" + "a" * 900,
        "/proof//etc/passwd", "/../../etc/passwd", "/static/page.js", "/proof/%00",
    ],
)  # fmt: skip
def test_no_path_reaches_the_file_system(path: str) -> None:
    """Proofs are known by their unguessable names alone; paths of any kind are refused."""
    with serve(run=True) as served:
        name = served.server.site.offer(b"%PDF")
        assert len(name) >= 24
        assert served.server.site.offer(b"%PDF") != name
        refused(served, "GET", path)


def test_orders_are_limited() -> None:
    """Dozens of orders at once are not taken, and only the newest proofs are kept."""
    with serve(run=True) as served:
        statuses = [served.post("/do", {"do": "look"}).status for _ in range(40)]
        assert statuses.count(202) <= 20
        assert 429 in statuses
        names = [served.server.site.offer(b"%PDF") for _ in range(20)]
        kept = [served.ask("GET", name).status for name in names]
        assert kept[-1] == 200
        assert kept.count(200) == 8
