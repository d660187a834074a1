"""The laboratory's signature in a PDF: PAdES baseline B-B (ETSI EN 319 142-1), put on last.

What is signed is never changed afterwards, so the signature covers the whole file.
"""

import datetime
from dataclasses import dataclass
from io import BytesIO

from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.asymmetric.types import PublicKeyTypes
from cryptography.x509.oid import NameOID
from pyhanko.keys import load_certs_from_pemder_data, load_private_key_from_pemder_data
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko_certvalidator.registry import SimpleCertificateStore

__all__ = ["FIELD", "KeyFault", "SigningKey", "key_from_pem", "new_key_pem", "signed_pdf"]

FIELD = "LaboratorySignature"
_YEARS = 10
#: Of a key by its kind. RSA of 2048 bits has 112 bits of strength, enough until 2030 (NIST
#: SP 800-131A); authorities still hand such keys out.
LEAST_BITS: dict[str, tuple[type[rsa.RSAPublicKey | ec.EllipticCurvePublicKey], int]] = {
    "RSA": (rsa.RSAPublicKey, 2048),
    "EC": (ec.EllipticCurvePublicKey, 256),
}
#: RSA of 128 bits of strength (NIST SP 800-57 part 1, table 2). A certificate that begins from then
#: on needs it; one from before signs until it ends, so that no upgrade stops a laboratory.
STRONG_RSA_BITS = 3072
STRONG_FROM = datetime.datetime(2027, 1, 1, tzinfo=datetime.UTC)


class KeyFault(ValueError):
    """The signing key cannot be used; says why."""


@dataclass(frozen=True)
class SigningKey:
    """The laboratory's key and the certificates that belong to it."""

    private_key: asn1_keys.PrivateKeyInfo
    certificate: asn1_x509.Certificate
    others: tuple[asn1_x509.Certificate, ...] = ()

    @property
    def subject(self) -> str:
        """Return whose key it is, as the certificate says."""
        named: dict[str, str] = self.certificate.subject.native
        return str(named.get("common_name") or self.certificate.subject.human_friendly)

    @property
    def expires_at(self) -> datetime.datetime:
        """Return until when its certificate is valid."""
        moment: datetime.datetime = self.certificate.not_valid_after
        return moment

    @property
    def kind(self) -> str:
        """Name the kind of key and its size."""
        key = self.certificate.public_key
        return f"{str(key.algorithm).upper()}, {key.bit_size} bits"

    @property
    def is_strong(self) -> bool:
        """Say whether it has 128 bits of strength."""
        return _is_strong(self.certificate)


def key_from_pem(pem: bytes, passphrase: bytes | None = None) -> SigningKey:
    """Return the key that a PEM file holds: a private key, its certificate first, then others.

    Raises `KeyFault` when one of them is missing, unreadable, or does not belong to the other.
    """
    try:
        private = load_private_key_from_pemder_data(pem, passphrase)
        public = serialization.load_pem_private_key(pem, passphrase).public_key()
        chain = list(load_certs_from_pemder_data(pem))
    except (ValueError, TypeError) as fault:
        raise KeyFault(
            f"it holds no private key with its certificate in PEM form ({fault})"
        ) from fault
    if not chain:
        raise KeyFault("it holds no certificate beside the private key")
    own = public.public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    _refuse_weak(public)
    if own != chain[0].public_key.dump():
        raise KeyFault("its first certificate belongs to another key")
    if chain[0].not_valid_before >= STRONG_FROM and not _is_strong(chain[0]):
        raise KeyFault(
            f"its certificate begins in {chain[0].not_valid_before:%Y}, and RSA keys need "
            f"{STRONG_RSA_BITS} bits since {STRONG_FROM:%Y}"
        )
    return SigningKey(private, chain[0], tuple(chain[1:]))


def _refuse_weak(public: PublicKeyTypes) -> None:
    """Refuse a key of less than 112 bits of strength (NIST SP 800-57 part 1, table 2).

    An elliptic key is as strong as its curve, however small its own number happens to be.
    """
    for kind, (classes, least) in LEAST_BITS.items():
        if isinstance(public, classes) and public.key_size < least:
            raise KeyFault(f"its {kind} key has {public.key_size} bits; {least} are needed")


def _is_strong(certificate: asn1_x509.Certificate) -> bool:
    key = certificate.public_key
    return bool(key.algorithm != "rsa" or key.bit_size >= STRONG_RSA_BITS)


def new_key_pem(name: str, at: datetime.datetime) -> bytes:
    """Return a new key with a certificate that it signed itself, as PEM: P-256, ten years."""
    key = ec.generate_private_key(ec.SECP256R1())
    named = (NameOID.ORGANIZATION_NAME, NameOID.COMMON_NAME)
    subject = x509.Name([x509.NameAttribute(each, name[:64]) for each in named])
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        **dict.fromkeys(
            (
                *("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign"),
                *("crl_sign", "encipher_only", "decipher_only"),
            ),
            False,
        ),
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - datetime.timedelta(days=1))
        .not_valid_after(at + datetime.timedelta(days=365 * _YEARS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return private + certificate.public_bytes(serialization.Encoding.PEM)


def signed_pdf(pdf: bytes, key: SigningKey, *, reason: str) -> bytes:
    """Return `pdf` with the laboratory's signature added after its end; nothing before it moves."""
    certificates = [key.certificate, *key.others]
    store = SimpleCertificateStore.from_certs(certificates)  # type: ignore[no-untyped-call]
    signer = signers.SimpleSigner(
        signing_cert=key.certificate,
        signing_key=key.private_key,
        cert_registry=store,
        prefer_pss=True,  # RSA with the padding of FIPS 186-5 that has a proof
    )
    told = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        name=key.subject,
        reason=reason,
        subfilter=SigSeedSubFilter.PADES,
    )
    out = BytesIO()
    writer = signers.PdfSigner(told, signer, timestamper=None)
    writer.sign_pdf(IncrementalPdfFileWriter(BytesIO(pdf)), output=out)
    return out.getvalue()
