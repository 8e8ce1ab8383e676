"""Who may see the page: this machine only, or whoever has the printed token."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from dataclasses import dataclass
from urllib.parse import urlsplit

from armarc.errors import UsageError


def is_loopback(host: str) -> bool:
    """Whether a host name or address is this machine itself."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """What a request must show.

    Parameters
    ----------
    host : str
        Address the server listens on.
    port : int
    token : str
        Needed in the address of the page and of its socket; empty on this machine alone.
    """

    host: str
    port: int
    token: str = ""

    @property
    def query(self) -> str:
        """What an address of the page ends with."""
        return f"?token={self.token}" if self.token else ""

    def allows_host(self, header: str | None) -> bool:
        """Check a Host header: a foreign name that was made to point here is turned away."""
        name = _host_name(header)
        if name is None:
            return False
        if is_loopback(self.host):
            return is_loopback(name)
        if is_loopback(name) or name == self.host:
            return True
        try:
            ipaddress.ip_address(name)
            return True
        except ValueError:
            return name in (socket.gethostname(), f"{socket.gethostname()}.local")

    def allows_origin(self, origin: str | None, host: str | None) -> bool:
        """Check an Origin header: the page itself, or a program that sends none."""
        if origin is None:
            return True
        parts = urlsplit(origin)
        return parts.scheme in ("http", "https") and bool(host) and parts.netloc == host

    def allows_token(self, token: str | None) -> bool:
        """Check the token, in constant time."""
        return not self.token or secrets.compare_digest((token or "").encode(), self.token.encode())


def open_access(host: str, port: int, *, always_by_token: bool = False) -> Access:
    """Access for an address: open to this machine, by token to a network and for what takes something in.

    Raises
    ------
    UsageError
        For an address that is none.
    """
    if not host or any(sign in host for sign in "/ @?#"):
        raise UsageError(f"{host!r} is not an address to listen on", "for example --host 0.0.0.0")
    token = "" if is_loopback(host) and not always_by_token else secrets.token_urlsafe(12)
    return Access(host=host, port=port, token=token)


def _host_name(header: str | None) -> str | None:
    if not header:
        return None
    try:
        return urlsplit(f"//{header}").hostname
    except ValueError:
        return None


def own_address(host: str) -> str:
    """An address of this machine that others can type, for a server that listens everywhere."""
    if host not in ("0.0.0.0", "::"):
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the system only picks the interface that leads outside (TEST-NET-1, RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()
