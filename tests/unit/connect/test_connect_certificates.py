"""Our own certificate on disk, and what is wrong with one of a server.

RFC 5280 (fields, subjectAltName) by way of the package cryptography, which writes and reads independently of us.
"""

import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from swarfline.connect import pins
from swarfline.connect.certificates import LIFE, RENEWED_BEFORE, defects, describe, fingerprint, own, write
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
