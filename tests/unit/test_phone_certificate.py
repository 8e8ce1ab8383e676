"""The certificate made on the spot, and the code a phone scans."""

from __future__ import annotations

import hashlib
import os
import ssl
from pathlib import Path

import pytest

pytest.importorskip("cryptography", reason="the extra 'phone' is not installed")
pytest.importorskip("segno", reason="the extra 'phone' is not installed")

from armarc.cli.phone import qr_text
from armarc.errors import UsageError
from armarc.live.web import certificate
from armarc.live.web.certificate import own_certificate


def test_it_is_kept_for_its_owner_and_says_what_browsers_show(tmp_path: Path) -> None:
    first = own_certificate("192.0.2.7", tmp_path / "data")
    again = own_certificate("192.0.2.7", tmp_path / "data")
    assert first == again
    assert os.name == "nt" or first.file.stat().st_mode & 0o077 == 0
    # Python's own ssl and hashlib: SHA-256 of the certificate's DER, as every browser prints it.
    pem = first.file.read_text()
    der = ssl.PEM_cert_to_DER_cert(pem[pem.index("-----BEGIN CERTIFICATE") :])
    assert first.fingerprint.replace(":", "").lower() == hashlib.sha256(der).hexdigest()
    assert first.context().get_ca_certs() == []


def test_another_address_or_a_damaged_file_makes_a_new_one(tmp_path: Path) -> None:
    first = own_certificate("192.0.2.7", tmp_path)
    other = own_certificate("2001:db8::1", tmp_path)
    assert other.fingerprint != first.fingerprint
    assert own_certificate("localhost", tmp_path) == other  # every one names this machine itself
    other.file.write_bytes(other.file.read_bytes()[:300])
    third = own_certificate("2001:db8::1", tmp_path)
    assert third.fingerprint != other.fingerprint
    third.context()


def test_one_that_runs_out_is_renewed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(certificate, "LASTS_D", certificate.RENEWED_D)
    old = own_certificate("192.0.2.7", tmp_path)
    monkeypatch.undo()
    assert own_certificate("192.0.2.7", tmp_path) != old


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file")
    with pytest.raises(UsageError, match="cannot be kept"):
        own_certificate("192.0.2.7", tmp_path / "data")


def test_the_code_is_the_library_s_own_in_half_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    import segno

    monkeypatch.setenv("NO_COLOR", "1")
    address = "https://192.0.2.7:8765/phone?token=abcdefghijklmnop"
    dark = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
    rows: list[list[int]] = []
    for line in qr_text(address).splitlines():
        rows += [[dark[sign][half] for sign in line] for half in (0, 1)]
    wanted = [
        list(map(int, row)) for row in segno.make(address, error="l", micro=False).matrix_iter(border=2)
    ]
    assert rows[: len(wanted)] == wanted
    assert max(map(len, qr_text(address).splitlines())) <= 80
    monkeypatch.delenv("NO_COLOR")
    assert "\x1b[97;40m" in qr_text(address)
