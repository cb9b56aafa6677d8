"""Mail: its form, and what every answer of a real mail server comes to."""

from __future__ import annotations

import email
import email.policy
import socket
import threading
import time
from dataclasses import replace

import pytest

from swarfline.messages import Attachment, Message
from swarfline.plant.channels import MailTable
from swarfline.watch.channels.mail import Mail, mail_of
from swarfline.watch.deliver import Later, Refused

from .receivers import Mailbox, mail_server
from .trusted import trusted_by

NOW_US = 1_773_100_800_123_456
MESSAGE = Message("shop", "raised-1", "N1: tool 7 nearly worn (µ)", "Tool 7: 95 of 100 µm\n.\nend", NOW_US)
FULL = replace(
    MESSAGE, html="<p>Tool 7</p>",
    attachments=(
        Attachment("week 12 é.pdf", "application/pdf", b"%PDF\0\xff"), Attachment("a.csv", "nonsense", b"a"),
    ),
)  # fmt: skip
ADDRESSES = {"sender": "swarfline@works.example", "recipients": ("setter@works.example", "chief@works.example")}


def mail(port, folder, timeout_s=5.0, host="127.0.0.1", encryption="none", **keys):
    table = MailTable(host=host, port=port, encryption=encryption, **{**ADDRESSES, **keys})
    return Mail(table, folder, timeout_s)


def read(content):
    return email.message_from_bytes(content, policy=email.policy.default)


def test_what_arrives(tmp_path):
    box = Mailbox()
    with mail_server(box) as port:
        assert mail(port, tmp_path).send(FULL, NOW_US) == ""
    assert box.envelopes == [(ADDRESSES["sender"], list(ADDRESSES["recipients"]))]
    told = read(box.mails[0])
    assert told.defects == []
    assert (told["From"], told["To"]) == (ADDRESSES["sender"], ", ".join(ADDRESSES["recipients"]))
    assert told["Subject"] == MESSAGE.subject
    # RFC 5322, section 3.3
    assert told["Date"] == "Tue, 10 Mar 2026 00:00:00 +0000"
    # RFC 3834, section 5
    assert told["Auto-Submitted"] == "auto-generated"
    assert told.get_body(("plain",)).get_content().split() == MESSAGE.text.split()
    assert told.get_body(("html",)).get_content().rstrip() == "<p>Tool 7</p>"
    files = [
        (file.get_filename(), file.get_content_type(), file.get_content()) for file in told.iter_attachments()
    ]
    assert files == [
        ("week 12 é.pdf", "application/pdf", b"%PDF\0\xff"),
        ("a.csv", "application/octet-stream", b"a"),
    ]


def test_every_attempt_is_the_same_mail(tmp_path):
    box = Mailbox()
    with mail_server(box) as port:
        for now_us in (NOW_US, NOW_US + 60_000_000):
            mail(port, tmp_path).send(MESSAGE, now_us)
    assert box.mails[0] == box.mails[1]
    assert read(box.mails[0])["Message-ID"].endswith("@works.example>")


def test_message_ids_differ_by_key_and_channel():
    ids = {
        mail_of(replace(MESSAGE, **change), **ADDRESSES)["Message-ID"]
        for change in ({}, {"key": "raised-2"}, {"channel": "office"}, {"text": "other"})
    }
    assert len(ids) == 3


def test_what_is_told_later_of_an_alert_answers_what_was_told_first():
    first = mail_of(replace(MESSAGE, data={"story": "raised-1"}), **ADDRESSES)
    later = mail_of(replace(MESSAGE, key="cleared-1", data={"story": "raised-1"}), **ADDRESSES)
    assert "In-Reply-To" not in first
    assert later["In-Reply-To"] == later["References"] == first["Message-ID"] != later["Message-ID"]


HOSTILE = ["a\r\nBcc: x@works.example", "a\nb\rc\0d", "a\u2028b", "\ud800a", "=?utf-8?q?x?=\r\n\r\nbody"]


@pytest.mark.parametrize("subject", HOSTILE)
def test_no_machine_writes_headers(tmp_path, subject):
    box = Mailbox()
    with mail_server(box) as port:
        mail(port, tmp_path).send(replace(MESSAGE, subject=subject, text=subject), NOW_US)
    told = read(box.mails[0])
    assert set(told.keys()) == {
        "From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "Content-Type",
        "Content-Transfer-Encoding", "MIME-Version", "X-Peer", "X-MailFrom", "X-RcptTo",
    } - {"X-Peer", "X-MailFrom", "X-RcptTo"}  # fmt: skip


@pytest.mark.parametrize("reply", ["451 try again", "421 closing", "452 full"])
def test_not_now(tmp_path, reply):
    with mail_server(Mailbox(data=reply)) as port, pytest.raises(Later, match=f"answers {reply[:3]}: {reply[4:]}"):
        mail(port, tmp_path).send(MESSAGE, NOW_US)


def test_never(tmp_path):
    with (
        mail_server(Mailbox(data="554 no spam\x07 here")) as port,
        pytest.raises(Refused, match="554: no spam here"),
    ):
        mail(port, tmp_path).send(MESSAGE, NOW_US)


def test_one_recipient_is_refused_for_good_and_the_others_get_it(tmp_path):
    box = Mailbox(recipients={"chief@works.example": "550 nobody of this name"})
    with mail_server(box) as port:
        remark = mail(port, tmp_path).send(MESSAGE, NOW_US)
    assert "chief@works.example: 550 nobody of this name; the others got it" in remark
    assert box.envelopes[0][1] == ["setter@works.example"]


def test_one_recipient_is_refused_for_now_and_nobody_gets_it_twice(tmp_path):
    box = Mailbox(recipients={"chief@works.example": "450 later"})
    with mail_server(box) as port, pytest.raises(Later, match=r"chief@works\.example: 450 later"):
        mail(port, tmp_path).send(MESSAGE, NOW_US)
    assert box.mails == []


def test_every_recipient_is_refused_for_good(tmp_path):
    replies = dict.fromkeys(ADDRESSES["recipients"], "550 nobody of this name")
    with mail_server(Mailbox(recipients=replies)) as port, pytest.raises(Refused, match="550 nobody"):
        mail(port, tmp_path).send(MESSAGE, NOW_US)


@pytest.fixture
def tls(tmp_path):
    return trusted_by(tmp_path, "mail.crt")


def test_signing_in_over_starttls(tmp_path, tls, monkeypatch):
    monkeypatch.setenv("MAIL_PASSWORD", "Ganz-geheim")
    box = Mailbox()
    keys = {"encryption": "starttls", "user": "monitor", "password_env": "MAIL_PASSWORD"}
    with mail_server(box, tls, ("monitor", "Ganz-geheim")) as port:
        with pytest.raises(Later, match="certificate is not trusted"):
            mail(port, tmp_path, **keys).send(MESSAGE, NOW_US)
        mail(port, tmp_path, ca_file="mail.crt", **keys).send(MESSAGE, NOW_US)
        monkeypatch.setenv("MAIL_PASSWORD", "other-word")
        with pytest.raises(Later, match="does not let user monitor in") as caught:
            mail(port, tmp_path, ca_file="mail.crt", **keys).send(MESSAGE, NOW_US)
    assert len(box.mails) == 1
    assert "other-word" not in str(caught.value)


def test_tls_from_the_first_byte(tmp_path, tls):
    box = Mailbox()
    with mail_server(box, ssl_context=tls) as port:
        mail(port, tmp_path, encryption="tls", ca_file="mail.crt").send(MESSAGE, NOW_US)
    assert len(box.mails) == 1


def test_a_server_without_starttls_gets_nothing(tmp_path):
    box = Mailbox()
    with mail_server(box) as port, pytest.raises(Later) as caught:
        mail(port, tmp_path, encryption="starttls").send(MESSAGE, NOW_US)
    assert box.mails == []
    assert str(caught.value) == (
        'mail server 127.0.0.1 offers no STARTTLS; set encryption = "tls" if it speaks TLS from the first byte, '
        'or encryption = "none" if the network to it is trusted'
    )


def test_a_server_where_nobody_signs_in_says_so(tmp_path, tls, monkeypatch):
    monkeypatch.setenv("MAIL_PASSWORD", "Ganz-geheim")
    keys = {"encryption": "tls", "ca_file": "mail.crt", "user": "monitor", "password_env": "MAIL_PASSWORD"}
    box = Mailbox()
    # it offers AUTH after STARTTLS only, which a connection by TLS has no more use for
    with mail_server(box, ssl_context=tls) as port, pytest.raises(Later) as caught:
        mail(port, tmp_path, **keys).send(MESSAGE, NOW_US)
    assert str(caught.value) == (
        "mail server 127.0.0.1 lets nobody sign in; leave out the user monitor and the password"
    )


def test_a_password_that_is_missing_is_a_matter_of_time(tmp_path):
    with mail_server(Mailbox()) as port, pytest.raises(Later, match="NO_SUCH_PASSWORD, which is to hold"):
        mail(port, tmp_path, user="monitor", password_env="NO_SUCH_PASSWORD").send(MESSAGE, NOW_US)


def test_nobody_there(tmp_path, free_port):
    with pytest.raises(Later, match=r"mail server 127\.0\.0\.1: Connection refused"):
        mail(free_port, tmp_path).send(MESSAGE, NOW_US)


def test_a_server_that_hangs_at_the_end(tmp_path):
    with mail_server(Mailbox(pause_s=0.6)) as port, pytest.raises(Later, match=r"no answer within 0\.3 s"):
        mail(port, tmp_path, timeout_s=0.3).send(MESSAGE, NOW_US)


def test_a_greeting_that_does_not_end(tmp_path):
    listener, greeted = socket.create_server(("127.0.0.1", 0)), threading.Event()

    def greet():
        connection, _ = listener.accept()
        with connection:
            try:
                for _ in range(500):
                    connection.sendall(b"2")
                    time.sleep(0.02)
                greeted.set()
            except OSError:
                pass

    thread = threading.Thread(target=greet, daemon=True)
    thread.start()
    with pytest.raises(Later, match=r"no answer within 0\.3 s"):
        mail(listener.getsockname()[1], tmp_path, timeout_s=0.3).send(MESSAGE, NOW_US)
    assert not greeted.is_set()
    thread.join(5)
    listener.close()
