"""Calls to other systems: to an address that was looked at first, and to no other.

A name is resolved once; every address it has is judged; the call goes to one of those addresses,
with the name kept for the certificate and the Host header. So a name that answers differently the
second time gains nothing. Redirections are not followed.
"""

from __future__ import annotations

import ipaddress
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from http.client import HTTPException
from threading import Event, Timer
from time import monotonic
from typing import TypeAlias
from urllib.parse import SplitResult, urlsplit

from django.conf import settings
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.exceptions import HTTPError

__all__ = ["LONGEST_S", "Answer", "Refused", "checked_addresses", "parts_of", "post"]

Address: TypeAlias = ipaddress.IPv4Address | ipaddress.IPv6Address

#: A call that is not answered by then is cut off, however busily the other side sends.
LONGEST_S = 15.0
_SILENT_S = 10.0
_LONGEST_URL = 500

#: Look public, but answer questions about the machine to whoever asks from it; 192.0.0.0/24 is
#: kept for protocols (RFC 6890, 2.2.2) and serves so too.
_METADATA = (ipaddress.ip_network("168.63.129.16/32"), ipaddress.ip_network("192.0.0.0/24"))
_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052


class Refused(Exception):
    """The address is not called; the words say why."""


@dataclass(frozen=True)
class Answer:
    """What came of a call: a status, or none and why."""

    status: int | None
    said: str
    took_ms: int

    @property
    def is_taken(self) -> bool:
        """Say whether the other system took it: any 2xx."""
        return self.status is not None and 200 <= self.status < 300


def parts_of(url: str) -> SplitResult:
    """Give the parts of an address that may be called; refuses any other form of address."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        msg = "This is no address. Write it as https://name/path."
        raise Refused(msg) from error
    is_plain = url.isascii() and url.isprintable() and " " not in url and "\\" not in url
    if not is_plain or len(url) > _LONGEST_URL or not parts.hostname or port == 0:
        msg = "This is no address. Write it as https://name/path."
        raise Refused(msg)
    if parts.scheme not in {"https", "http"}:
        msg = "The address begins with https://."
        raise Refused(msg)
    if parts.username is not None or parts.password is not None:
        msg = "The address holds a name or a password. Leave them out: calls are signed."
        raise Refused(msg)
    return parts


def checked_addresses(parts: SplitResult) -> list[str]:
    """Resolve the name of an address; refuses when any of what it resolves to is not called."""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    try:
        found = socket.getaddrinfo(parts.hostname, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        msg = f"The name {parts.hostname} is not known here. Check the address."
        raise Refused(msg) from error
    addresses = list(dict.fromkeys(str(each[4][0]) for each in found))
    for address in addresses:
        _judge(parts, address)
    return addresses


def _judge(parts: SplitResult, text: str) -> None:
    if "%" in text:
        msg = f"{parts.hostname} is {text}, an address of this machine's own network."
        raise Refused(msg)
    address = ipaddress.ip_address(text)
    if any(address in network for network in _allowed()):
        return
    if not all(_is_public(each) for each in (address, *_within(address))):
        msg = (
            f"{parts.hostname} is {text}, which is not in the public network. Whoever runs this "
            "server can allow its network in GRADATION_WEBHOOK_NETWORKS."
        )
        raise Refused(msg)
    if parts.scheme != "https":
        msg = "Over the public network only https:// is called."
        raise Refused(msg)


def _allowed() -> list[ipaddress.IPv4Network | ipaddress.IPv6Network]:
    return [ipaddress.ip_network(each) for each in settings.WEBHOOK_NETWORKS]


def _is_public(address: Address) -> bool:
    is_special = address.is_multicast or address.is_reserved or address.is_unspecified
    is_metadata = any(address in network for network in _METADATA)
    return address.is_global and not is_special and not is_metadata


def _within(address: Address) -> list[Address]:
    """List the IPv4 addresses that a network may unpack from an IPv6 address."""
    if isinstance(address, ipaddress.IPv4Address):
        return []
    teredo = address.teredo or ()
    nat64 = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF) if address in _NAT64 else None
    return [each for each in (address.ipv4_mapped, address.sixtofour, nat64, *teredo) if each]


def post(url: str, body: bytes, headers: dict[str, str]) -> Answer:
    """Send `body` to an address, once; whatever goes wrong is told in the answer."""
    began = monotonic()
    try:
        parts = parts_of(url)
        status, said = _called(parts, checked_addresses(parts)[0], body, headers)
    except Refused as refused:
        status, said = None, str(refused)
    except (OSError, ValueError, HTTPError, HTTPException) as error:
        status, said = None, f"No answer: {type(error).__name__}."
    return Answer(status, said, round((monotonic() - began) * 1000))


def _called(
    parts: SplitResult, address: str, body: bytes, headers: dict[str, str]
) -> tuple[int, str]:
    connection = _connection(parts, address)
    is_cut = Event()
    watch = Timer(LONGEST_S, _cut, [connection, is_cut])
    watch.daemon = True
    watch.start()
    try:
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        sent = {"Host": parts.netloc, **headers}
        connection.request("POST", target, body=body, headers=sent, preload_content=False)
        status = connection.getresponse().status
        if is_cut.is_set():  # what came by then is no answer, however it reads
            raise TimeoutError
    finally:
        watch.cancel()
        connection.close()
    if 300 <= status < 400:
        return status, "It points elsewhere. Give the address itself: no redirection is followed."
    return status, "" if 200 <= status < 300 else f"It answered {status}."


def _connection(parts: SplitResult, address: str) -> HTTPConnection:
    if parts.scheme == "http":
        return HTTPConnection(address, parts.port or 80, timeout=_SILENT_S)
    return HTTPSConnection(
        address,
        parts.port or 443,
        timeout=_SILENT_S,
        ssl_context=ssl.create_default_context(),
        server_hostname=parts.hostname,
        assert_hostname=parts.hostname,
    )


def _cut(connection: HTTPConnection, is_cut: Event) -> None:
    is_cut.set()
    if connection.sock is not None:
        with suppress(OSError):
            connection.sock.shutdown(socket.SHUT_RDWR)
