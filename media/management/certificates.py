"""A certificate for a machine that no authority knows: a root for the tablets, and the server's own under it.

The root's key is never written, and the root may only vouch for the names that were asked for, so that whoever steals
a file of this folder cannot pass for another site on the tablets that trust it.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

DAYS = 397  # the longest that current browsers take of a server's certificate, common practice
RENEW_DAYS = 14
ITSELF = ("localhost", "127.0.0.1")
ROOT, SERVER, KEY = "root.crt", "server.crt", "server.key"


@dataclass(frozen=True)
class Certificate:
    """Files that a server shows, and the root that tablets must trust (None: somebody else vouches)."""

    certificate: Path
    key: Path
    root: Path | None = None


def names_of_this_machine() -> list[str]:
    """What others may call this machine: host name, on the local link too, addresses; last what it calls itself."""
    host = socket.gethostname().split(".")[0].lower()
    found = [f"{host}.local", host, socket.getfqdn().lower()]
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    # The address by which this machine reaches others; nothing is sent.
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        found.append(str(probe.getsockname()[0]))
    found = [name for name in found if _says_something(name) and name not in ITSELF]
    return list(dict.fromkeys([*found, *ITSELF]))


def _says_something(name: str) -> bool:
    try:
        _general(name)
    except ValueError:
        return False
    return name != "0.0.0.0"  # noqa: S104 compared, not listened on


def kept(folder: Path, names: Sequence[str], *, at: datetime) -> Certificate:
    """The certificate in ``folder`` if it is for all ``names`` and lasts, else a new one, to be trusted anew."""
    there = Certificate(folder / SERVER, folder / KEY, folder / ROOT)
    if not _serves(there, names, at):
        _write(folder, *_made(names, at))
    return there


def _serves(there: Certificate, names: Sequence[str], at: datetime) -> bool:
    try:
        server = x509.load_pem_x509_certificate(there.certificate.read_bytes())
        there.key.stat()
        (there.root or there.key).stat()
        told = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    return server.not_valid_after_utc > at + timedelta(days=RENEW_DAYS) and {_general(n) for n in names} <= set(told)


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name.encode("idna").decode("ascii"))


def _constraint(name: str) -> x509.GeneralName:
    general = _general(name)
    return x509.IPAddress(ipaddress.ip_network(name)) if isinstance(general, x509.IPAddress) else general


def _made(names: Sequence[str], at: datetime) -> tuple[bytes, bytes, bytes]:
    """PEM of root, server and the server's key. Source: RFC 5280, sections 4.2.1.6, 4.2.1.9, 4.2.1.10."""
    start, end = at - timedelta(days=1), at + timedelta(days=DAYS - 1)
    root_key, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    issuer = _named(f"Fettle on {names[0]}, root of {at.astimezone(UTC):%Y-%m-%d}")
    usage = {"content_commitment": False, "key_encipherment": False, "data_encipherment": False, "key_agreement": False,
             "encipher_only": False, "decipher_only": False}  # fmt: skip
    root = (
        _begun(issuer, issuer, root_key.public_key(), start, end)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(
            x509.KeyUsage(digital_signature=False, key_cert_sign=True, crl_sign=True, **usage), critical=True
        )
        .add_extension(x509.NameConstraints([_constraint(name) for name in names], None), critical=True)
        .sign(root_key, hashes.SHA256())
    )
    server = (
        _begun(_named(names[0]), issuer, key.public_key(), start, end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(digital_signature=True, key_cert_sign=False, crl_sign=False, **usage), critical=True
        )
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    plain = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return root.public_bytes(pem), server.public_bytes(pem), plain


def _named(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, start: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(end)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _write(folder: Path, root: bytes, server: bytes, key: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, content, mode in ((KEY, key, 0o600), (SERVER, server + root, 0o644), (ROOT, root, 0o644)):
        temporary = folder / f".{name}.{os.getpid()}"
        temporary.unlink(missing_ok=True)
        with os.fdopen(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(content)
        temporary.replace(folder / name)
