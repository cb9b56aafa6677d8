"""Our own certificate on disk, and what is wrong with one of a server.

RFC 5280 (fields, subjectAltName) by way of the package cryptography, which writes and reads independently of us.
"""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from swarfline.connect import pins
from swarfline.connect.certificates import LIFE, RENEWED_BEFORE, defects, describe, fingerprint, own
from swarfline.connect.private import write
from swarfline.connect.reasons import Ended

from .secured import NOW, URI, certificate


def kinds(der, host="127.0.0.1", uri=URI, now=NOW):
    return [kind for kind, _ in defects(describe(der), now, host, uri)]


def test_own_is_made_once_private_and_with_an_address_of_its_own(tmp_path):
    folder, other = tmp_path / "a" / "certificates", tmp_path / "b" / "certificates"
    folder.parent.mkdir()
    other.parent.mkdir()
    first = own(folder, NOW)
    assert own(folder, NOW + timedelta(days=1)) == first
    assert first.key.stat().st_mode & 0o777 == 0o600
    assert folder.stat().st_mode & 0o777 == 0o700
    assert own(other, NOW).uri != first.uri
    read = x509.load_der_x509_certificate(first.certificate.read_bytes())
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.UniformResourceIdentifier) == [first.uri]
    assert read.public_key().key_size == 2048
    assert isinstance(read.signature_hash_algorithm, hashes.SHA256)
    assert read.not_valid_after_utc - NOW <= LIFE


def test_folders_are_private_whoever_makes_them_first(tmp_path):
    folder = tmp_path / "certificates"
    pins.keep(folder, "line", pins.Pin(certificate()))
    assert folder.stat().st_mode & 0o777 == 0o700
    assert (folder / "servers").stat().st_mode & 0o777 == 0o700


def test_own_is_renewed_before_its_end_with_the_same_address_and_the_old_one_kept(tmp_path):
    folder = tmp_path / "certificates"
    first = own(folder, NOW)
    old = first.certificate.read_bytes()
    later = first.described.end - RENEWED_BEFORE + timedelta(hours=1)
    renewed = own(folder, later)
    assert renewed.uri == first.uri
    assert renewed.described.fingerprint != first.described.fingerprint
    assert renewed.described.end > later + RENEWED_BEFORE
    assert [f.read_bytes() for f in folder.glob("own-until-*.der")] == [old]


def test_half_of_our_own_is_told(tmp_path):
    folder = tmp_path / "certificates"
    own(folder, NOW).key.unlink()
    with pytest.raises(Ended, match=r"own\.key\.pem is missing"):
        own(folder, NOW)


def test_all_who_ask_at_once_get_the_same_one(tmp_path):
    """At a first start every secured server asks at once, and `swarfline trust --own` may do so beside them."""
    folder = tmp_path / "certificates"
    with ThreadPoolExecutor(6) as pool:
        got = list(pool.map(lambda _: own(folder, NOW), range(6)))
        soon = got[0].described.end - timedelta(days=1)
        renewed = list(pool.map(lambda _: own(folder, soon), range(6)))
    assert len(set(got)) == 1
    assert len(set(renewed)) == 1
    assert len(list(folder.glob("own-until-*.der"))) == 1


def test_processes_that_ask_at_once_get_the_same_one(tmp_path):
    folder = tmp_path / "certificates"
    code = (
        "import sys; from datetime import datetime, UTC; from pathlib import Path; "
        "from swarfline.connect.certificates import own; print('ready', flush=True); input(); "
        "print(own(Path(sys.argv[1]), datetime.now(UTC)).uri)"
    )
    asked = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for _ in range(3)
    ]
    # none begins before all are ready
    assert [process.stdout.readline() for process in asked] == ["ready\n"] * 3
    for process in asked:
        process.stdin.write("\n")
        process.stdin.flush()
    told = [process.communicate(timeout=60)[0] for process in asked]
    assert [process.returncode for process in asked] == [0, 0, 0]
    assert len(set(told)) == 1


def test_a_key_of_another_certificate_is_told(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    ours, other = own(tmp_path / "a" / "certificates", NOW), own(tmp_path / "b" / "certificates", NOW)
    ours.key.write_bytes(other.key.read_bytes())
    with pytest.raises(Ended, match=r"own\.key\.pem does not belong to .*own\.der"):
        own(tmp_path / "a" / "certificates", NOW)
    ours.key.write_bytes(b"no key")
    with pytest.raises(Ended, match=r"own\.key\.pem is no key"):
        own(tmp_path / "a" / "certificates", NOW)


def test_a_key_that_others_can_read_is_refused(tmp_path):
    ours = own(tmp_path / "certificates", NOW)
    ours.key.chmod(0o640)
    with pytest.raises(Ended, match=r"others can read .*own\.key\.pem.*chmod 600"):
        own(tmp_path / "certificates", NOW)


def test_approvals_in_a_folder_that_others_write_in_do_not_count(tmp_path):
    folder = tmp_path / "certificates"
    pins.keep(folder, "line", pins.Pin(certificate()))
    for which in (folder, folder / "servers"):
        which.chmod(0o777)
        with pytest.raises(Ended, match="others can write in"):
            pins.read(folder, "line")
        which.chmod(0o700)
    assert pins.read(folder, "line") is not None


def test_what_the_system_refuses_is_told_by_name(tmp_path):
    (tmp_path / "certificates").write_text("a file is in the way")
    for ask in (
        lambda: own(tmp_path / "certificates", NOW),
        lambda: pins.keep(tmp_path / "certificates", "line", pins.Pin(certificate())),
    ):
        with pytest.raises(Ended, match=r"certificates.*cannot be used"):
            ask()
    # in place of a file of another user, which root could read all the same
    unreadable = tmp_path / "other" / "servers" / "line.json"
    unreadable.mkdir(parents=True)
    with pytest.raises(Ended, match=r"line\.json cannot be used .*run swarfline trust as that user"):
        pins.read(tmp_path / "other", "line")


def test_a_folder_that_others_write_in_is_refused(tmp_path):
    folder = tmp_path / "certificates"
    folder.mkdir()
    folder.chmod(0o770)
    with pytest.raises(Ended, match="others can write"):
        write(folder / "x", b"")


def test_a_fit_certificate_has_no_defects():
    assert kinds(certificate()) == []
    assert kinds(certificate(host="Mill-7.works"), host="mill-7.works.") == []


@pytest.mark.parametrize(
    ("der", "expected"),
    [
        (certificate("weak", bits=1024), ["key"]),
        (certificate(end=NOW - timedelta(hours=1)), ["time"]),
        (certificate(begin=NOW + timedelta(hours=1)), ["time"]),
        (certificate(host="192.0.2.7"), ["host"]),
        (certificate(uri="urn:test:other"), ["uri"]),
    ],
)
def test_each_defect_is_found(der, expected):
    assert kinds(der) == expected


def test_a_forgeable_signature_is_found():
    # no library signs this way any more, so the certificate is described as if it had been
    forgeable = replace(describe(certificate()), hash_name="sha1")
    assert [kind for kind, _ in defects(forgeable, NOW, "127.0.0.1", URI)] == ["signature"]


def test_what_is_no_certificate_is_told():
    with pytest.raises(Ended, match="cannot be read"):
        describe(b"\x30\x82\x00\x01x")


def test_fingerprint_is_sha256_as_openssl_prints_it(tmp_path):
    der = certificate()
    code = "import hashlib, sys; print(hashlib.sha256(sys.stdin.buffer.read()).hexdigest())"
    told = subprocess.run([sys.executable, "-c", code], input=der, capture_output=True, check=True)
    assert fingerprint(der) == told.stdout.decode().strip()


def test_pins_are_kept_read_and_forgotten(tmp_path):
    assert pins.read(tmp_path, "line") is None
    pin = pins.Pin(certificate(), ("host",))
    path = pins.keep(tmp_path / "certificates", "line", pin)
    assert pins.read(tmp_path / "certificates", "line") == pin
    path.write_text('{"certificate": "?"}')
    with pytest.raises(Ended, match="approve the server again"):
        pins.read(tmp_path / "certificates", "line")
    assert pins.forget(tmp_path / "certificates", "line")
    assert not pins.forget(tmp_path / "certificates", "line")
