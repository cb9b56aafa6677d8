"""Webhook: one HTTP POST of JSON, signed as the open specification "Standard Webhooks" (version 1) says.

The signature is HMAC-SHA256 (RFC 2104, FIPS 180-4) over the message's id, the time of the attempt in seconds and
the body, joined by dots. The id is the same at every attempt.
"""

from __future__ import annotations

import base64
import binascii
import email.utils
import hashlib
import hmac
import http.client
import json
from datetime import UTC
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

import swarfline
from swarfline.calendar import from_us, to_us
from swarfline.messages import Message
from swarfline.plant.channel_checks import url_problem
from swarfline.plant.channels import WebhookTable
from swarfline.plant.secrets import NoSecret, secret
from swarfline.watch.channels.deadline import Deadline, trust
from swarfline.watch.deliver import Later, Refused

ENCODED = "whsec_"
"""A secret that begins so is base64 behind it; any other is taken as it is."""
LONGEST_ANSWER = 65_536
"""Bytes of an answer that are read; nothing in it is used."""
FOR_NOW = frozenset({408, 425, 429})
"""Refusals that say: not now (RFC 9110, RFC 8470, RFC 6585)."""


class Webhook:
    """Sends messages to one address."""

    def __init__(self, table: WebhookTable, beside: Path, timeout_s: float) -> None:
        self._table = table
        self._beside = beside
        self._timeout_s = timeout_s

    def send(self, message: Message, now_us: int) -> str:
        """POST a message; raises Later or Refused."""
        try:
            url = self._url()
            key = self._secret()
        except NoSecret as problem:
            raise Later(str(problem)) from None
        body = body_of(message)
        status, after = self._post(url, body, headers_of(message, body, now_us, key))
        what = f"{url.hostname} answers {status} {http.client.responses.get(status, '')}".rstrip()
        if 200 <= status < 300:
            return ""
        if 300 <= status < 400:
            raise Later(f"{what}: redirections are not followed; name the address where it points to")
        if 400 <= status < 500 and status not in FOR_NOW:
            raise Refused(what)
        raise Later(what, after_s(after, now_us))

    def _url(self) -> SplitResult:
        table = self._table
        if table.url is not None:
            return urlsplit(table.url)
        url = secret(table.url_env, None, self._beside, "the address of the webhook")
        problem = url_problem(url)
        # a name and password in it are allowed here, for it stands nowhere in clear
        if problem is not None and "user name" not in problem:
            raise Later(f"the address in the environment variable {table.url_env} {problem}")
        return urlsplit(url)

    def _secret(self) -> bytes | None:
        table = self._table
        if table.secret_env is None and table.secret_file is None:
            return None
        found = secret(table.secret_env, table.secret_file, self._beside, "the webhook's signing secret")
        if not found.startswith(ENCODED):
            return found.encode()
        try:
            return base64.b64decode(found.removeprefix(ENCODED), validate=True)
        except (binascii.Error, ValueError):
            raise Later(f"the webhook's signing secret is no base64 behind {ENCODED}") from None

    def _post(self, url: SplitResult, body: bytes, headers: dict[str, str]) -> tuple[int, str | None]:
        """Status and Retry-After."""
        host = url.hostname or ""
        path = (url.path or "/") + (f"?{url.query}" if url.query else "")
        if url.username is not None:
            headers = {**headers, "Authorization": _basic(url)}
        with Deadline(self._timeout_s) as deadline:
            connection = self._connection(url, host)
            try:
                connection.connect()
                deadline.watch(connection.sock)
                connection.request("POST", path, body, headers)
                answer = connection.getresponse()
                answer.read(LONGEST_ANSWER)
                if deadline.passed:
                    # headers that were cut off look whole
                    raise TimeoutError
                return answer.status, answer.getheader("Retry-After")
            except (OSError, http.client.HTTPException, ValueError) as problem:
                raise deadline.failed(host, problem) from None
            finally:
                connection.close()

    def _connection(self, url: SplitResult, host: str) -> http.client.HTTPConnection:
        if url.scheme == "http":
            return http.client.HTTPConnection(host, url.port, timeout=self._timeout_s)
        context = trust(self._table.ca_file, self._beside)
        return http.client.HTTPSConnection(host, url.port, timeout=self._timeout_s, context=context)


def _basic(url: SplitResult) -> str:
    pair = f"{url.username}:{url.password or ''}".encode()
    return "Basic " + base64.b64encode(pair).decode()


def body_of(message: Message) -> bytes:
    """The JSON that is sent: the same bytes at every attempt."""
    event = message.data.get("event")
    told = {
        "type": f"alert.{event}" if event is not None else message.kind,
        "id": message.key,
        "timestamp": from_us(message.created_us).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "subject": message.subject,
        "text": message.text,
        "data": message.data,
        "attachments": [file.name for file in message.attachments],
    }
    return json.dumps(told).encode()


def headers_of(message: Message, body: bytes, now_us: int, key: bytes | None) -> dict[str, str]:
    """The headers of one attempt; signed where there is a key."""
    seconds = str(now_us // 1_000_000)
    headers = {
        "Content-Type": "application/json",
        "User-Agent": f"Swarfline/{swarfline.__version__}",
        "Idempotency-Key": f'"{message.key}"',
        "webhook-id": message.key,
        "webhook-timestamp": seconds,
    }
    if key is not None:
        headers["webhook-signature"] = f"v1,{signature(key, message.key, seconds, body)}"
    return headers


def signature(key: bytes, message_id: str, seconds: str, body: bytes) -> str:
    """HMAC-SHA256 of ``id.time.body`` as base64."""
    signed = b".".join((message_id.encode(), seconds.encode(), body))
    return base64.b64encode(mac(key, signed)).decode()


def mac(key: bytes, content: bytes) -> bytes:
    """HMAC-SHA256 of RFC 2104."""
    return hmac.new(key, content, hashlib.sha256).digest()


def after_s(header: str | None, now_us: int) -> float | None:
    """Seconds that a Retry-After asks for: delay or date (RFC 9110, section 10.2.3); None: it does not."""
    if header is None:
        return None
    if header.strip().isdigit() and header.isascii():
        return float(header.strip()[:9])
    try:
        moment = email.utils.parsedate_to_datetime(header)
    except (TypeError, ValueError):
        return None
    moment = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return max(0.0, (to_us(moment) - now_us) / 1_000_000)
