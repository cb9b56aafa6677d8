"""Receivers of messages on the loopback: HTTP and SMTP servers that do as they are told, and remember."""

from __future__ import annotations

import asyncio
import json
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

Answer = Callable[["Posts"], None] | int
"""What to do with one request: a status, or anything else."""


class Posts(BaseHTTPRequestHandler):
    """Takes one request, keeps it, and does what the receiver was told."""

    server: Receiver

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.posts.append(Post(self.path, dict(self.headers), body))
        answer = self.server.answers.pop(0) if self.server.answers else self.server.otherwise
        if isinstance(answer, int):
            self.say(answer)
        else:
            answer(self)

    def say(self, status: int, **headers: str) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@dataclass
class Post:
    path: str
    headers: dict[str, str]
    body: bytes

    @property
    def told(self) -> dict:
        return json.loads(self.body)


class Receiver(ThreadingHTTPServer):
    """Answers ``answers`` in order, then ``otherwise``."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, port: int = 0) -> None:
        super().__init__(("127.0.0.1", port), Posts)
        self.posts: list[Post] = []
        self.answers: list[Answer] = []
        self.otherwise: Answer = 204
        self.dripped = False

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/hook?a=1"

    @property
    def keys(self) -> list[str]:
        return [post.told["id"] for post in self.posts]

    def handle_error(self, *_: object) -> None:
        pass


@contextmanager
def receiving(port: int = 0, tls: ssl.SSLContext | None = None) -> Iterator[Receiver]:
    """An HTTP receiver, with TLS where it is given a certificate."""
    server = Receiver(port)
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


def hang(post: Posts) -> None:
    """Says nothing for longer than any test waits."""
    time.sleep(3)


def drip(post: Posts) -> None:
    """One byte at a time, each well within any limit of a socket."""
    post.wfile.write(b"HTTP/1.1 200 OK\r\nX-Long: ")
    for _ in range(500):
        post.wfile.write(b"x")
        post.wfile.flush()
        time.sleep(0.02)
    post.server.dripped = True


def cut(post: Posts) -> None:
    """Takes the request and ends the connection."""
    post.connection.shutdown(socket.SHUT_RDWR)
    post.close_connection = True


def with_headers(status: int, **headers: str) -> Answer:
    """A status with more headers."""
    return lambda post: post.say(status, **headers)


@dataclass
class Mailbox:
    """What a mail server does at each step: replies by recipient, a reply to the data; and what it took."""

    data: str = "250 taken"
    recipients: dict[str, str] = field(default_factory=dict)
    mails: list[bytes] = field(default_factory=list)
    envelopes: list[tuple[str, list[str]]] = field(default_factory=list)
    pause_s: float = 0.0

    async def handle_RCPT(self, server, session, envelope, address, options):
        reply = self.recipients.get(address, "250 OK")
        if reply.startswith("250"):
            envelope.rcpt_tos.append(address)
        return reply

    async def handle_DATA(self, server, session, envelope):
        await asyncio.sleep(self.pause_s)
        self.mails.append(envelope.content)
        self.envelopes.append((envelope.mail_from, list(envelope.rcpt_tos)))
        return self.data


@contextmanager
def mail_server(
    box: Mailbox, tls: ssl.SSLContext | None = None, user: tuple[str, str] | None = None, **options: object
) -> Iterator[int]:
    """A mail server; its port. ``tls``: by STARTTLS; ``user``: name and password that it wants."""

    def known(server, session, envelope, mechanism, data):
        ok = (data.login.decode(), data.password.decode()) == user
        return AuthResult(success=ok, handled=ok)

    more = {"authenticator": known, "auth_required": True} if user is not None else {}
    if tls is not None:
        more |= {"tls_context": tls, "require_starttls": True}
    elif user is not None:
        more |= {"auth_require_tls": False}
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    controller = Controller(box, "127.0.0.1", port, **more, **options)
    controller.start()
    try:
        yield port
    finally:
        controller.stop()
