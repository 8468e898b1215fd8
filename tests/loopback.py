"""A small HTTP server on the loopback address that plays a weather service in the tests."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any
from urllib.parse import parse_qsl, urlsplit


@dataclass(frozen=True)
class Asked:
    """A request as it arrived."""

    path: str
    query: dict[str, str]
    headers: dict[str, str]  # names in lower case


@dataclass(frozen=True)
class Reply:
    """What to answer; `cut_at` sends only so many bytes and closes, `hang` never answers.

    `drip_s` sends the body byte by byte, with pauses [s].
    """

    body: Any = b""  # bytes, text, or what JSON can hold
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    cut_at: int | None = None
    hang: bool = False
    drip_s: float | None = None
    length: bool = True  # False: no Content-Length, so that a cut goes unseen below JSON


Step = Reply | Callable[[Asked], Reply]


class Loopback:
    """Play the given steps in turn; the last one repeats. Routes go by the start of the path."""

    def __init__(self, *script: Step, routes: Mapping[str, list[Step]] | None = None) -> None:
        self.routes = {key: list(steps) for key, steps in (routes or {"/": list(script)}).items()}
        self.asked: list[Asked] = []
        self._done = threading.Event()
        owner = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                owner._answer(self)

            def log_message(self, format: str, *args: object) -> None:  # quiet
                return

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}"

    def __enter__(self) -> Loopback:
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._done.set()
        self._server.shutdown()
        self._server.server_close()

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        parts = urlsplit(handler.path)
        headers = {key.lower(): value for key, value in handler.headers.items()}
        asked = Asked(parts.path, dict(parse_qsl(parts.query)), headers)
        self.asked.append(asked)
        steps = next(
            (
                self.routes[key]
                for key in sorted(self.routes, key=len, reverse=True)
                if parts.path.startswith(key)
            ),
            [Reply(status=404)],
        )
        step = steps.pop(0) if len(steps) > 1 else steps[0]
        reply = step(asked) if callable(step) else step
        if reply.hang:
            self._done.wait(30)
            return
        body = (
            reply.body
            if isinstance(reply.body, bytes)
            else (
                reply.body.encode()
                if isinstance(reply.body, str)
                else json.dumps(reply.body).encode()
            )
        )
        handler.send_response(reply.status)
        given = {"Content-Type": "application/json", **reply.headers}
        if reply.length and reply.status != 304:
            given["Content-Length"] = str(len(body))
        for key, value in given.items():
            handler.send_header(key, value)
        handler.end_headers()
        if reply.drip_s is not None:
            self._drip(handler, body, reply.drip_s)
        elif reply.status != 304:
            handler.wfile.write(body if reply.cut_at is None else body[: reply.cut_at])

    def _drip(self, handler: BaseHTTPRequestHandler, body: bytes, pause_s: float) -> None:
        for number in range(len(body)):
            try:
                handler.wfile.write(body[number : number + 1])
            except OSError:  # the other side gave up
                return
            if self._done.wait(pause_s):
                return
