"""Certificates for OPC UA: made, read, and judged in plain words before they are used."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ringout.live.port import PortError

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

KEY_BITS = 2048  # opc 10000-7, Basic256Sha256: 2048 to 4096
EXPONENT = 65537
DAYS = 365
URI = "urn:ringout:{name}"


@dataclass(frozen=True, slots=True)
class Pair:
    """A certificate with its private key.

    Args:
        certificate: the certificate.
        key: the private key; it stays in memory and is shown nowhere.
    """

    certificate: Certificate
    key: Any = field(repr=False)

    def key_pem(self) -> bytes:
        """Return the private key, open, as the protocol library wants it."""
        from cryptography.hazmat.primitives import serialization as form

        return bytes(
            self.key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
        )


def make_pair(name: str, days: int = DAYS) -> Pair:
    """Return a new key and a certificate that vouches for itself, good for client and server.

    Args:
        name: what it is for, as in `bench-3`.
        days: how long it holds.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import rsa
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = rsa.generate_private_key(public_exponent=EXPONENT, key_size=KEY_BITS)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    usage = dict.fromkeys(
        ("digital_signature", "content_commitment", "key_encipherment", "data_encipherment"), True
    )
    others = ("key_agreement", "key_cert_sign", "crl_sign", "encipher_only", "decipher_only")
    alternative = [
        x509.UniformResourceIdentifier(URI.format(name=name)),
        x509.DNSName(socket.gethostname() or "localhost"),
        x509.DNSName("localhost"),
    ]
    roles = [ExtendedKeyUsageOID.CLIENT_AUTH, ExtendedKeyUsageOID.SERVER_AUTH]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))  # clocks of controllers run slow
        .not_valid_after(now + timedelta(days=days))
        .add_extension(x509.SubjectAlternativeName(alternative), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(**usage, **dict.fromkeys(others, False)), critical=True)
        .add_extension(x509.ExtendedKeyUsage(roles), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Pair(certificate, key)


def write_pair(pair: Pair, certificate: Path, key: Path, passphrase: str = "") -> None:
    """Write both files; the key can be read by its owner only.

    Raises:
        FileExistsError: a key is never written over.
        OSError: a file cannot be written.
    """
    from cryptography.hazmat.primitives import serialization as form

    lock: form.KeySerializationEncryption = form.NoEncryption()
    if passphrase:
        lock = form.BestAvailableEncryption(passphrase.encode())
    held = pair.key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, lock)
    with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(held)
    certificate.write_bytes(pair.certificate.public_bytes(form.Encoding.PEM))


def fingerprint(certificate: Certificate) -> str:
    """Return the SHA-256 fingerprint, in pairs of digits as controllers show it."""
    from cryptography.hazmat.primitives import hashes

    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def read_certificate(path: str) -> Certificate:
    """Return the certificate of a PEM or DER file.

    Raises:
        PortError: it cannot be read, or is none.
    """
    from cryptography import x509

    try:
        data = Path(path).expanduser().read_bytes()
        if b"-----BEGIN" in data:
            return x509.load_pem_x509_certificate(data)
        return x509.load_der_x509_certificate(data)
    except OSError as error:
        raise _unreadable(path, error) from error
    except ValueError as error:
        raise PortError(
            f"{path} holds no certificate", "give a file in PEM or DER form", lasting=True
        ) from error


def read_pair(certificate: str, key: str, passphrase: str = "") -> Pair:
    """Return a certificate and its private key.

    Raises:
        PortError: a file cannot be read, they do not belong together, or the time is over.
    """
    from cryptography.hazmat.primitives import serialization as form

    if not certificate or not key:
        raise PortError(
            "a certificate needs its private key, and the key its certificate",
            "give --certificate and --key, or both in `live`; `ringout certificate` makes them",
            lasting=True,
        )
    shown = read_certificate(certificate)
    given = passphrase.encode() or None
    try:
        data = Path(key).expanduser().read_bytes()
        if b"-----BEGIN" in data:
            private = form.load_pem_private_key(data, given if b"ENCRYPTED" in data else None)
        else:
            private = form.load_der_private_key(data, given)
    except OSError as error:
        raise _unreadable(key, error) from error
    except (ValueError, TypeError) as error:
        raise PortError(
            f"{key} holds no private key that this passphrase opens",
            "give the key in PEM or DER form, and its passphrase in RINGOUT_KEY_PASSWORD",
            lasting=True,
        ) from error
    if private.public_key() != shown.public_key():
        raise PortError(
            f"{key} is not the private key of {certificate}",
            "give files that were made together",
            lasting=True,
        )
    out_of_time = time_problem(shown, certificate)
    if out_of_time:
        raise PortError(out_of_time, "make a new one: `ringout certificate`", lasting=True)
    return Pair(shown, private)


def key_is_locked(key: str) -> bool:
    """Return whether a private key file asks for a passphrase."""
    try:
        return b"ENCRYPTED" in Path(key).expanduser().read_bytes()
    except OSError:
        return False


def _unreadable(path: str, error: OSError) -> PortError:
    return PortError(
        f"{path} cannot be read: {error.strerror or error}", "give another file", lasting=True
    )


def time_problem(certificate: Certificate, name: str) -> str:
    """Return what is wrong with the time of a certificate, or nothing."""
    now = datetime.now(UTC)
    if certificate.not_valid_after_utc < now:
        return f"{name} held until {certificate.not_valid_after_utc:%Y-%m-%d}"
    if certificate.not_valid_before_utc > now:
        return f"{name} holds only from {certificate.not_valid_before_utc:%Y-%m-%d %H:%M} UTC"
    return ""


def application_uri(certificate: Certificate) -> str:
    """Return the application a certificate is made out to, or nothing."""
    from cryptography import x509

    try:
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except x509.ExtensionNotFound:
        return ""
    uris = found.value.get_values_for_type(x509.UniformResourceIdentifier)
    return str(uris[0]) if uris else ""


def vouched_for(certificate: Certificate, trusted: Iterable[Certificate]) -> bool:
    """Return whether a certificate is one of the trusted, or was issued by one of them."""
    from cryptography.exceptions import InvalidSignature

    for one in trusted:
        if one == certificate:
            return True
        if not _may_issue(one) or time_problem(one, ""):
            continue
        try:
            certificate.verify_directly_issued_by(one)
        except (ValueError, TypeError, InvalidSignature):
            continue
        return True
    return False


def _may_issue(certificate: Certificate) -> bool:
    from cryptography import x509

    try:
        found = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
    except x509.ExtensionNotFound:
        return False
    return bool(found.value.ca)
