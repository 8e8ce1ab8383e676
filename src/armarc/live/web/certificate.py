"""A certificate made on the spot: browsers give motion only to pages that came encrypted.

Nobody else vouches for it, so a browser warns once; the fingerprint that is printed lets its reader see that it is
this machine's. Kept in the data folder, so that one phone warns only once.
"""

from __future__ import annotations

import contextlib
import datetime
import ipaddress
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.computer import DATA_VARIABLE, data_folder, how_to_add
from armarc.errors import UsageError
from armarc.files import write_whole

if TYPE_CHECKING:
    from cryptography import x509

LASTS_D = 397
"""Browsers refuse certificates that are valid for longer than 398 days (CA/Browser Forum, baseline requirements, from
memory)."""
RENEWED_D = 14
_FILE = "page-certificate.pem"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """Key and certificate in one file.

    Parameters
    ----------
    file : Path
        PEM; for its owner's eyes alone.
    fingerprint : str
        SHA-256 of the certificate, as browsers show it.
    """

    file: Path
    fingerprint: str

    def context(self) -> ssl.SSLContext:
        """What a server listens with."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.file)
        return context


def own_certificate(address: str, folder: Path | None = None) -> Certificate:
    """The certificate kept for this machine, or a new one where none is kept, it runs out or lacks `address`.

    Raises
    ------
    UsageError
        The library is missing, or the folder cannot be written.
    """
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes
    except ImportError as error:
        raise UsageError("the phone's page needs the package cryptography", how_to_add("phone")) from error
    file = (folder or data_folder()) / _FILE
    kept: x509.Certificate | None = None
    with contextlib.suppress(OSError, ValueError, ssl.SSLError):
        kept = x509.load_pem_x509_certificate(file.read_bytes())
        # A file that is half there, or whose key does not fit, is made anew.
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(file)
        if not _serves(kept, address):
            kept = None
    if kept is None:
        text, kept = _made(address)
        _keep(file, text)
    digest = kept.fingerprint(hashes.SHA256())
    return Certificate(file=file, fingerprint=":".join(f"{byte:02X}" for byte in digest))


def _serves(kept: x509.Certificate, address: str) -> bool:
    from cryptography import x509

    soon = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=RENEWED_D)
    if kept.not_valid_after_utc < soon:
        return False
    try:
        names = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return False
    return _name(address) in list(names)


def _name(address: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(address))
    except ValueError:
        return x509.DNSName(address.encode("idna").decode())


def _made(address: str) -> tuple[bytes, x509.Certificate]:
    """Key and certificate as PEM, and the certificate."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    named = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "armarc, made on this machine")])
    names = {_name(address), _name("127.0.0.1"), _name("localhost")}
    with contextlib.suppress(UnicodeError, ValueError):
        names.add(_name(socket.gethostname()))
    now = datetime.datetime.now(datetime.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(named)
        .issuer_name(named)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=LASTS_D - 1))
        .add_extension(x509.SubjectAlternativeName(sorted(names, key=repr)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return secret + certificate.public_bytes(serialization.Encoding.PEM), certificate


def _keep(file: Path, text: bytes) -> None:
    """Write the file whole or not at all, for its owner's eyes alone."""
    try:
        write_whole(file, text, private=True)
    except OSError as error:
        raise UsageError(
            f"{file}: the certificate of the phone's page cannot be kept: {error.strerror or error}",
            f"make its folder writable, or name another in {DATA_VARIABLE}",
        ) from error
