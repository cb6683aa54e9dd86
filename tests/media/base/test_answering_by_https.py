"""``start --tls``: a certificate that a tablet can trust, for this machine's names only, and a server that shows it."""

from __future__ import annotations

import ssl
import urllib.request
from contextlib import ExitStack, closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from socket import create_connection

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from django.core.management import CommandError, call_command

from media.management import certificates
from tests.processes import Installation, free_port, wait_for

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
NAMES = ["store.example.org", "localhost", "192.0.2.7"]


def loaded(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def verified(made: certificates.Certificate, root: Path, name: x509.DNSName, at: datetime) -> bool:
    """By the path validation of the cryptography library: RFC 5280, section 6, as web clients follow it."""
    policy = PolicyBuilder().store(Store([loaded(root)])).time(at)
    try:
        policy.build_server_verifier(name).verify(loaded(made.certificate), [])
    except VerificationError:
        return False
    return True


def test_who_trusts_the_root_trusts_the_server_by_its_names_only(tmp_path):
    made = certificates.kept(tmp_path / "one", NAMES, at=NOW)
    other = certificates.kept(tmp_path / "two", NAMES, at=NOW)
    assert made.root and other.root
    assert verified(made, made.root, x509.DNSName("store.example.org"), NOW)
    assert not verified(made, made.root, x509.DNSName("elsewhere.example.org"), NOW)
    assert not verified(made, other.root, x509.DNSName("store.example.org"), NOW)
    assert not verified(made, made.root, x509.DNSName("store.example.org"), NOW + timedelta(days=398))


def test_the_root_may_vouch_for_nothing_else_and_its_key_is_nowhere(tmp_path):
    made = certificates.kept(tmp_path, NAMES, at=NOW)
    assert made.root
    limits = loaded(made.root).extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical and len(limits.value.permitted_subtrees or []) == len(NAMES)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["root.crt", "server.crt", "server.key"]
    assert made.key.stat().st_mode & 0o077 == 0
    key = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    key.load_cert_chain(made.certificate, made.key)  # the key is the server's, not the root's


def test_it_is_kept_until_it_runs_out_or_lacks_a_name(tmp_path):
    first = certificates.kept(tmp_path, NAMES, at=NOW).certificate.read_bytes()
    assert certificates.kept(tmp_path, NAMES[:1], at=NOW).certificate.read_bytes() == first
    another = certificates.kept(tmp_path, [*NAMES, "vault.example.org"], at=NOW).certificate.read_bytes()
    assert another != first
    late = NOW + timedelta(days=certificates.DAYS - certificates.RENEW_DAYS)
    assert certificates.kept(tmp_path, NAMES, at=late).certificate.read_bytes() != another


def test_a_damaged_certificate_is_made_anew(tmp_path):
    made = certificates.kept(tmp_path, NAMES, at=NOW)
    made.certificate.write_text("no certificate")
    assert loaded(certificates.kept(tmp_path, NAMES, at=NOW).certificate)


@pytest.fixture
def installation(tmp_path):
    made = Installation(tmp_path)
    yield made
    made.close()


def test_a_tablet_reaches_it_by_https_though_others_stay_silent(installation):
    port = free_port()
    process = installation.begin(["manage.py", "start", "--tls", "--port", str(port), "--no-worker"])
    root = installation.folder / "tls/root.crt"
    wait_for(lambda: process.poll() is not None or "Fettle is at https" in installation.said(), seconds=90)
    with ExitStack() as silent:
        for _ in range(20):
            silent.enter_context(closing(create_connection(("127.0.0.1", port))))
        trusting = ssl.create_default_context(cafile=str(root))
        for path in ("/capture/", "/capture/worker.js", "/sign-in/"):
            answer = urllib.request.urlopen(f"https://localhost:{port}{path}", timeout=5, context=trusting)
            assert answer.status == 200
        assert "Secure" in answer.headers["Set-Cookie"]
    with pytest.raises(OSError):
        urllib.request.urlopen(f"https://localhost:{port}/alive/", timeout=5)  # the root is not trusted
    assert str(root) in installation.said()


@pytest.mark.parametrize("arguments", [["--key", "x.key"], ["--tls", "--certificate", "nothing.crt"]])
def test_half_a_certificate_is_refused_in_one_line(arguments):
    with pytest.raises(CommandError, match="--key") as why:
        call_command("start", "--no-worker", "--port", str(free_port()), *arguments)
    assert "\n" not in str(why.value)
