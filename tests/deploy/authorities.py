"""An authority of a laboratory's own, and the certificates it gives its servers and programs."""

import datetime
import ipaddress
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

FROM = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
UNTIL = FROM.replace(year=2046)


class Authority:
    """Gives certificates; what it writes is readable to the owner of the files alone."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self._name = folder, _named(name)
        self._key = ec.generate_private_key(ec.SECP256R1())
        own = _begun(self._name, self._name, self._key)
        own = own.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        self._certificate = own.sign(self._key, hashes.SHA256())
        self.file = _kept(folder / f"{name}.pem", _pem(self._certificate))

    def give(self, name: str, *, address: str = "") -> tuple[Path, Path]:
        """Give the files of a certificate and of its key; a server's names where it is reached."""
        key = ec.generate_private_key(ec.SECP256R1())
        kind = ExtendedKeyUsageOID.SERVER_AUTH if address else ExtendedKeyUsageOID.CLIENT_AUTH
        begun = _begun(_named(name), self._name, key).add_extension(
            x509.ExtendedKeyUsage([kind]), critical=False
        )
        if address:
            begun = begun.add_extension(
                x509.SubjectAlternativeName([_place(address)]), critical=False
            )
        certificate = begun.sign(self._key, hashes.SHA256())
        private = key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        place = self.folder / f"{name}-{certificate.serial_number % 10**6}"
        return (
            _kept(place.with_suffix(".crt"), _pem(certificate)),
            _kept(place.with_suffix(".key"), private),
        )


def _begun(subject, issuer, key):
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(FROM)
        .not_valid_after(UNTIL)
    )


def _named(name):
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _place(address):
    try:
        return x509.IPAddress(ipaddress.ip_address(address))
    except ValueError:
        return x509.DNSName(address)


def _pem(certificate):
    return certificate.public_bytes(serialization.Encoding.PEM)


def _kept(file, content):
    file.write_bytes(content)
    file.chmod(0o600)
    return file
