"""The polite session against a loopback server: what is cached, repeated, refused, and said."""

from __future__ import annotations

import gzip
import json
import math
import random
import socket
import sqlite3
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote_plus

import pandas as pd
import pytest
from requests_cache import CachedSession

from spraywindow.errors import SourceError
from spraywindow.sources.http import session as session_module
from spraywindow.sources.http.fetch import Fetched, get_json
from spraywindow.sources.http.reply import ServiceRefusal, block, numbers
from spraywindow.sources.http.session import OUT, polite_session
from tests.loopback import Asked, Loopback, Reply, Step

MODIFIED = "Wed, 25 Nov 2020 01:02:03 GMT"
PAST = {"Expires": "Wed, 25 Nov 2020 02:00:00 GMT", "Last-Modified": MODIFIED}
GOOD = Reply({"rain": 1}, headers=PAST)  # stored, and to be confirmed at each use


@pytest.fixture
def http(tmp_path: Path) -> Iterator[CachedSession]:
    with polite_session(tmp_path, timeout_s=(1.0, 0.4), backoff_s=0.01) as session:
        yield session


def clock() -> pd.Timestamp:
    return pd.Timestamp.now("UTC")


def fetch(http: CachedSession, server: Loopback, later_h: float = 0.0) -> tuple[object, Fetched]:
    return get_json(http, server.url + "/a", now=clock() + pd.Timedelta(hours=later_h))


def test_a_reply_is_kept_until_it_expires(http: CachedSession) -> None:
    with Loopback(Reply([1], headers={"Cache-Control": "max-age=60"})) as server:
        assert fetch(http, server)[0] == fetch(http, server)[0] == [1]
        assert len(server.asked) == 1


def test_a_service_that_says_nothing_is_kept_for_the_default_time(tmp_path: Path) -> None:
    with Loopback(Reply([1]), Reply([2])) as server, polite_session(tmp_path) as http:
        fetch(http, server)
        fetch(http, server)
        assert len(server.asked) == 1
        kept = http.get(server.url + "/a")
    assert kept.expires is not None
    assert 44 <= (pd.Timestamp(kept.expires) - clock()) / pd.Timedelta(minutes=1) <= 45


def test_asks_with_the_exact_last_modified_and_reuses_the_body_on_304(http: CachedSession) -> None:
    def conditional(asked: Asked) -> Reply:
        same = asked.headers.get("if-modified-since") == MODIFIED
        return Reply(status=304, headers=PAST) if same else GOOD

    with Loopback(conditional) as server:
        first, answer = get_json(http, server.url, now=clock())
        time.sleep(1.1)  # Date has whole seconds
        again, confirmed = get_json(http, server.url, now=clock())
    assert first == again == {"rain": 1}
    assert [a.headers.get("if-modified-since") for a in server.asked] == [None, MODIFIED]
    assert not confirmed.stale
    assert confirmed.fetched > answer.fetched  # the service stood by it just now


def test_says_who_asks(
    http: CachedSession, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Loopback(GOOD) as server:
        fetch(http, server)
        monkeypatch.setenv("SPRAYWINDOW_CONTACT", "grower@example.org\r\nX-Bad: (1)é")
        with polite_session(tmp_path / "b") as other:
            fetch(other, server)
    assert server.asked[0].headers["user-agent"].startswith("spraywindow/")
    assert "@" not in server.asked[0].headers["user-agent"]
    assert "(grower@example.org X-Bad: 1)" in server.asked[1].headers["user-agent"]


def test_cache_folder_comes_from_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SPRAYWINDOW_CACHE", str(tmp_path / "here"))
    with Loopback(GOOD) as server, polite_session() as http:
        fetch(http, server)
    assert (tmp_path / "here" / "http.sqlite").is_file()


@pytest.mark.parametrize("state", ["no folder", "read-only", "full", "locked"])
def test_without_a_cache_the_reply_that_comes_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, state: str
) -> None:
    with Loopback(Reply([1], headers={"Cache-Control": "max-age=60"})) as server:
        with polite_session(tmp_path) as http:
            get_json(http, server.url + "/kept", now=clock())
        other = sqlite3.connect(tmp_path / "http.sqlite", isolation_level=None)
        folder = tmp_path
        if state == "no folder":
            folder = tmp_path / "file"
            folder.write_text("")
        elif state in ("read-only", "full"):
            pragma = "query_only = ON" if state == "read-only" else "max_page_count = 1"
            connect = sqlite3.connect

            def hindered(*words: Any, **more: Any) -> sqlite3.Connection:
                made = connect(*words, **more)
                made.execute(f"PRAGMA {pragma}")
                return made

            monkeypatch.setattr("spraywindow.sources.http.cache.sqlite3.connect", hindered)
        else:
            monkeypatch.setattr("spraywindow.sources.http.cache.BUSY_S", 0.1)
            other.execute("BEGIN EXCLUSIVE")
        begun = time.monotonic()
        with polite_session(folder) as http:
            body = Reply({"long": "x" * 9000})
            with Loopback(body) as second:
                answers = [get_json(http, second.url + f"/{n}", now=clock()) for n in range(3)]
        assert time.monotonic() - begun < 3
        other.close()
    assert [answer for answer, _ in answers] == [body.body] * 3
    told = [word for _, fetched in answers for word in fetched.notes]
    assert len(told) == 1
    assert "SPRAYWINDOW_CACHE" in told[0]
    assert "gone on without it" in told[0]


@pytest.mark.parametrize(
    "damage", ["foreign", "half", "cut", "no text", "other tables", "a journal left"]
)
def test_a_cache_that_is_none_is_set_aside_and_begun_anew(tmp_path: Path, damage: str) -> None:
    path = tmp_path / "http.sqlite"
    with Loopback(Reply({"rain": "x" * 40_000}, headers={"Cache-Control": "max-age=60"})) as server:
        with polite_session(tmp_path) as http:
            fetch(http, server)
        sound = path.read_bytes()
        if damage == "other tables":
            path.unlink()
            other = sqlite3.connect(path)
            other.execute("CREATE TABLE replies (a)")
            other.close()
        else:
            path.write_bytes(
                {
                    "foreign": b"no database" * 1000,
                    "half": sound[: len(sound) // 2],
                    "cut": sound[:5000],
                    "no text": sound.replace(b"PRIMARY KEY", b"PRIMARY \xffEY"),
                    "a journal left": b"no database" * 1000,
                }[damage]
            )
        if damage == "a journal left":
            path.with_name("http.sqlite-journal").write_bytes(b"\xff" * 600)
        with polite_session(tmp_path) as http:
            told = [fetch(http, server)[1].notes for _ in range(2)]
        assert len(server.asked) == 2  # and once more kept
    assert "damaged" in told[0][0]
    assert told[1] == ()
    assert path.with_name("http.sqlite.damaged").is_file()


def test_a_flipped_bit_gives_no_other_payload(tmp_path: Path) -> None:
    path, body = tmp_path / "http.sqlite", {"rain": [0.25 * n for n in range(300)]}
    chance = random.Random(12)
    with Loopback(Reply(body, headers={"Cache-Control": "max-age=600"})) as server:
        with polite_session(tmp_path) as http:
            fetch(http, server)
        sound = path.read_bytes()
        for _ in range(150):
            hurt = bytearray(sound)
            hurt[chance.randrange(len(hurt))] ^= 1 << chance.randrange(8)
            path.write_bytes(hurt)
            with polite_session(tmp_path) as http:
                assert fetch(http, server)[0] == body
                assert fetch(http, server)[0] == body


def test_a_small_reply_that_unpacks_to_very_much_is_refused_and_not_kept(tmp_path: Path) -> None:
    packed = gzip.compress(b"[" + b"0," * 100_000_000 + b"0]", 9)
    assert len(packed) < 300_000
    reply = Reply(packed, headers={"Content-Encoding": "gzip", "Cache-Control": "max-age=60"})
    with (
        Loopback(reply) as server,
        polite_session(tmp_path) as http,
        pytest.raises(SourceError, match="longer than 64 MB"),
    ):
        fetch(http, server)
    assert (tmp_path / "http.sqlite").stat().st_size < 100_000


def test_a_key_is_kept_out_of_cache_and_messages(tmp_path: Path) -> None:
    with Loopback(GOOD, Reply(status=400)) as server, polite_session(tmp_path) as http:
        get_json(http, server.url + "/a", {"apikey": "s3cret"}, now=clock())
        assert server.asked[0].query == {"apikey": "s3cret"}
        with pytest.raises(SourceError) as failed:
            get_json(http, server.url + "/b", {"apikey": "s3cret"}, now=clock())
    assert "s3cret" not in str(failed.value)
    assert b"s3cret" not in (tmp_path / "http.sqlite").read_bytes()


KEY = "s3cret/+key"


def test_a_key_that_the_service_says_again_is_said_nowhere(tmp_path: Path) -> None:
    """In its reasons, in a reply that is kept, and in the address of the same host."""
    again = f"{KEY} {quote_plus(KEY)}"
    onward = Reply(status=302, headers={"Location": f"/b?apikey={quote_plus(KEY)}"})
    good = Reply({"asked": again}, headers={"Cache-Control": "max-age=60", "X-Asked": KEY})
    bad = Reply({"reason": f"the key {again} is wrong"}, status=400)
    routes: dict[str, list[Step]] = {"/a": [onward], "/b": [good], "/c": [bad]}
    with Loopback(routes=routes) as server, polite_session(tmp_path) as http:
        answer, _ = get_json(http, server.url + "/a", {"apikey": KEY}, now=clock())
        with pytest.raises(SourceError, match=r"the key \*\*\* \*\*\* is wrong"):
            get_json(http, server.url + "/c", {"apikey": KEY}, now=clock())
    assert answer == {"asked": "*** ***"}
    assert [asked.query for asked in server.asked] == [{"apikey": KEY}] * 3
    kept = (tmp_path / "http.sqlite").read_bytes()
    assert KEY.encode() not in kept
    assert quote_plus(KEY).encode() not in kept


def test_a_key_follows_no_redirect_to_another_host(tmp_path: Path) -> None:
    with Loopback(GOOD) as other:
        for written in (KEY, quote_plus(KEY)):
            away = Reply(status=302, headers={"Location": f"{other.url}/x?apikey={written}"})
            with Loopback(away) as server, polite_session(tmp_path) as http:
                get_json(http, server.url + "/a", {"apikey": KEY}, now=clock())
    assert {asked.query["apikey"] for asked in other.asked} == {"***"}


@pytest.mark.parametrize("reply", [Reply(status=429), Reply(status=403), Reply(hang=True)])
def test_a_host_that_fails_is_not_asked_again_by_one_command(tmp_path: Path, reply: Reply) -> None:
    with (
        Loopback(reply) as server,
        polite_session(tmp_path, timeout_s=(1.0, 0.3), backoff_s=0.01, out=OUT) as http,
    ):
        with pytest.raises(SourceError):
            fetch(http, server)
        asked = len(server.asked)
        with pytest.raises(SourceError, match="not asked again"):
            get_json(http, server.url + "/b", now=clock())
        assert len(server.asked) == asked


def test_an_error_of_one_place_is_not_the_host_s(tmp_path: Path) -> None:
    routes: dict[str, list[Step]] = {"/a": [Reply(status=500)], "/b": [GOOD]}
    with (
        Loopback(routes=routes) as server,
        polite_session(tmp_path, backoff_s=0.01, out=OUT) as http,
    ):
        for _ in range(2):
            with pytest.raises(SourceError, match="500"):
                fetch(http, server)
            assert get_json(http, server.url + "/b", now=clock())[0] == {"rain": 1}


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_tries_again_with_growing_pauses(http: CachedSession, status: int) -> None:
    with Loopback(Reply(status=status), Reply(status=status), GOOD) as server:
        fetch(http, server)
        assert len(server.asked) == 3


def test_backs_off_before_the_first_retry(tmp_path: Path) -> None:
    with (
        Loopback(Reply(status=500), GOOD) as server,
        polite_session(tmp_path, backoff_s=0.3) as http,
    ):
        begun = time.monotonic()
        fetch(http, server)
        assert time.monotonic() - begun >= 0.3


def test_honours_retry_after(http: CachedSession) -> None:
    with Loopback(Reply(status=429, headers={"Retry-After": "1"}), GOOD) as server:
        begun = time.monotonic()
        fetch(http, server)
        assert time.monotonic() - begun >= 1
        assert len(server.asked) == 2


def test_gives_up_at_once_where_the_pause_asked_for_is_too_long(
    http: CachedSession, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session_module, "LONGEST_WAIT_S", 0.5)
    with Loopback(Reply(status=503, headers={"Retry-After": "1"})) as server:
        with pytest.raises(SourceError, match=r"503.*Retry-After: 1"):
            fetch(http, server)
        assert len(server.asked) == 1


@pytest.mark.parametrize("odd", ["soon", "1.5", "-1", "", "Mon, 99 Jan 2020 00:00:00 GMT"])
def test_a_retry_after_that_cannot_be_read_counts_as_absent(http: CachedSession, odd: str) -> None:
    # RFC 9110, section 10.2.3: whole seconds or a date, nothing else
    later = Reply({"reason": "busy"}, 503, headers={"Retry-After": odd})
    with Loopback(later, GOOD) as server:
        assert fetch(http, server)[0] == {"rain": 1}
        assert len(server.asked) == 2
    with Loopback(later) as server:
        with pytest.raises(ServiceRefusal, match=r"503 \(busy\); try again later"):
            fetch(http, server)
        assert len(server.asked) == 3


def test_retries_are_bounded(http: CachedSession) -> None:
    with Loopback(Reply(status=500)) as server:
        with pytest.raises(SourceError, match="500"):
            fetch(http, server)
        assert len(server.asked) == 3


# Bodies: recorded or documented error forms of the three services.
REFUSALS = {
    "reason": (400, {"error": True, "reason": "No data is available for this location"}, "No data"),
    "problem": (
        404,
        {"title": "Data Unavailable For Requested Point", "detail": "Unable to provide data"},
        "Data Unavailable For Requested Point: Unable to provide data",
    ),
    "page": (400, "<html><body>Bad</body></html>", "400 .Bad Request"),
    "list": (422, ["x"], "422"),
    "forbidden": (403, "no", "SPRAYWINDOW_CONTACT"),
    "control characters": (400, {"reason": "a\n\x1b[31mb"}, r"\(a \[31mb\)"),
}


@pytest.mark.parametrize(("status", "body", "words"), REFUSALS.values(), ids=REFUSALS)
def test_a_refusal_shows_the_reason_on_one_line(
    http: CachedSession, status: int, body: object, words: str
) -> None:
    with Loopback(Reply(body, status)) as server:
        with pytest.raises(ServiceRefusal, match=words) as refusal:
            fetch(http, server)
        assert len(server.asked) == 1
    assert refusal.value.status == status
    assert "\n" not in str(refusal.value)


LONG = '{"rain": [' + "1.0, " * 500 + "0.0]}"
BROKEN = {
    "cut, length promised": (Reply(LONG, cut_at=900), "broke off"),
    "cut, no length": (Reply(LONG, cut_at=900, length=False), "not complete JSON"),
    "page": (Reply("<!DOCTYPE html><p>log in"), "web page"),
    "page by type": (Reply("please log in", headers={"Content-Type": "text/html"}), "web page"),
    "empty": (Reply(b""), "not complete JSON"),
    "hang": (Reply(hang=True), "no answer in time"),
    "error": (Reply({"reason": "The service is overloaded"}, 503), "overloaded"),
    "forbidden": (Reply("x", 403), "403"),
}


@pytest.mark.parametrize(("reply", "words"), BROKEN.values(), ids=BROKEN)
def test_a_broken_reply_is_an_error_and_never_cached(
    http: CachedSession, reply: Reply, words: str
) -> None:
    with Loopback(reply) as server, pytest.raises(SourceError, match=words):
        fetch(http, server)
    assert not http.cache.responses


@pytest.mark.parametrize(("reply", "words"), BROKEN.values(), ids=BROKEN)
def test_the_good_copy_stands_in_with_its_age_and_is_refused_past_the_limit(
    http: CachedSession, reply: Reply, words: str
) -> None:
    with Loopback(GOOD, reply) as server:
        fetch(http, server)
        payload, answer = get_json(http, server.url + "/a", now=clock() + pd.Timedelta(hours=5))
        assert payload == {"rain": 1}
        assert answer.stale
        assert len(answer.notes) == 1
        assert "5.0 h ago" in answer.notes[0]
        with pytest.raises(SourceError, match=f"{words}.*7 h old"):
            fetch(http, server, later_h=7)


@pytest.mark.parametrize("text", ['["a"]', '{"a": "\u00b0"}'])
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-32", "utf-8"])
def test_json_in_any_unicode_encoding_is_read_from_the_service_and_from_the_cache(
    http: CachedSession, encoding: str, text: str
) -> None:
    told = Reply(text.encode(encoding), headers=PAST)
    with Loopback(told, told, Reply(status=400)) as server:
        for stale in (False, False, True):
            payload, answer = fetch(http, server)
            assert payload == json.loads(text)
            assert answer.stale == stale


@pytest.mark.parametrize(
    "expires",
    ["", "nonsense", "0", "-1", "Mon, 99 Jan 2020 00:00:00 GMT", "Fri, 31 Dec 9999 23:59:59 -2359"],
)
def test_an_expires_that_cannot_be_read_is_past(http: CachedSession, expires: str) -> None:
    # RFC 9111, section 5.3
    odd = {"Expires": expires, "Last-Modified": MODIFIED}
    with Loopback(Reply([1], headers=odd), Reply([2], headers=odd)) as server:
        assert fetch(http, server)[0] == [1]
        assert fetch(http, server)[0] == [2]
        assert len(server.asked) == 2


def test_a_max_age_beyond_all_reason_is_long(http: CachedSession) -> None:
    # RFC 9111, section 1.2.2
    with Loopback(Reply([1], headers={"Cache-Control": f"max-age={'9' * 20}"})) as server:
        assert fetch(http, server)[0] == fetch(http, server)[0] == [1]
        assert len(server.asked) == 1


@pytest.mark.parametrize(
    "address",
    ["http://[bad/", f"http://{'a' * 80}.example/", "http://.example/", "file:///etc/passwd"],
)
def test_a_redirect_to_no_address_is_one_clear_error(http: CachedSession, address: str) -> None:
    lost = Reply("", 302, headers={"Location": address})
    with Loopback(lost) as server, pytest.raises(SourceError, match=r"address|failed") as caught:
        fetch(http, server)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("status", [200, 400])
def test_json_nested_beyond_reason_is_refused(http: CachedSession, status: int) -> None:
    deep = Reply("[" * 200_000 + "]" * 200_000, status)
    with Loopback(deep) as server, pytest.raises(SourceError, match=r"not complete JSON|400"):
        fetch(http, server)
    assert not http.cache.responses


def test_a_server_that_drips_is_given_up_and_the_copy_held_stands_in(tmp_path: Path) -> None:
    drip = Reply({"rain": list(range(40))}, drip_s=0.05)
    with (
        Loopback(drip, GOOD, drip) as server,
        polite_session(tmp_path, timeout_s=(1.0, 0.4), deadline_s=1.0) as http,
    ):
        begun = time.monotonic()
        with pytest.raises(SourceError, match="no answer in time"):
            fetch(http, server)
        assert time.monotonic() - begun < 5
        fetch(http, server)
        payload, answer = fetch(http, server)
        assert payload == {"rain": 1}
        assert answer.stale


def test_no_network_is_one_clear_error(http: CachedSession) -> None:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
    with pytest.raises(SourceError, match=r"no connection.*network"):
        get_json(http, f"http://127.0.0.1:{port}/", now=clock())


def test_a_copy_that_calls_itself_fresh_for_ever_is_asked_again(http: CachedSession) -> None:
    forever = {"Cache-Control": "max-age=31536000"}
    with Loopback(Reply([1], headers=forever), Reply([2], headers=forever)) as server:
        fetch(http, server)
        payload, answer = get_json(http, server.url + "/a", now=clock() + pd.Timedelta(hours=7))
        assert payload == [2]
        assert not answer.stale


def test_a_copy_made_while_the_clock_was_ahead_has_expired(http: CachedSession) -> None:
    day = {"Cache-Control": "max-age=86400"}
    with Loopback(Reply([1], headers=day), Reply([2], headers=day)) as server:
        fetch(http, server)
        for key in list(http.cache.responses):
            copy = http.cache.responses[key]
            copy.created_at += timedelta(days=10)
            copy.expires += timedelta(days=10)
            http.cache.responses[key] = copy
        assert fetch(http, server)[0] == [2]
        assert fetch(http, server)[0] == [2]
        assert len(server.asked) == 2


def test_the_age_is_counted_by_the_clock_of_the_service(http: CachedSession) -> None:
    with Loopback(GOOD, Reply(status=400)) as server:
        _, answer = fetch(http, server)
        assert answer.fetched.microsecond == 0  # its Date has whole seconds
        for key in list(http.cache.responses):
            copy = http.cache.responses[key]
            copy.created_at -= timedelta(days=10)  # the clock here was behind
            http.cache.responses[key] = copy
        assert fetch(http, server)[1].fetched == answer.fetched


def test_a_deprecated_service_is_read_and_named(http: CachedSession) -> None:
    with Loopback(Reply([1], 203)) as server:
        _, answer = get_json(http, server.url + "/a", now=clock())
        assert len(http.cache.responses) == 1
    assert "will end soon" in answer.notes[0]


def test_blocks_and_numbers() -> None:
    assert numbers([1, None], service="s", where="w")[0] == 1.0
    wrong: list[object] = [{}, [[]], ["x"], ["0_0"], ["1"], [True], [1.0, False], [-math.inf]]
    for bad in wrong:
        with pytest.raises(SourceError, match="w is not a list of numbers"):
            numbers(bad, service="s", where="w")
    holed: list[object] = [{}, {"a": None}, {"a": []}, [], None, {"a": {"b": None}}]
    for missing in holed:
        with pytest.raises(SourceError, match="the answer has no a"):
            block(missing, "a", "b", service="s")
