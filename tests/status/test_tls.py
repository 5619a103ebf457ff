"""The page by TLS, and certificates and keys that do not fit."""

import json
import shutil
import socket
import ssl
import subprocess
from contextlib import suppress
from pathlib import Path

import httpx
import pytest
import samples
import serving

from supervisor.status.app import create_app
from supervisor.status.door import Places
from supervisor.status.tls import tls_context
from supervisor.status.token import Unfit

pytestmark = pytest.mark.skipif(
    shutil.which("openssl") is None, reason="openssl, which makes the certificates, is not here"
)


def make(folder: Path, name: str, *password: str) -> tuple[Path, Path]:
    """A certificate for localhost that signs itself, and its key."""
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost",
         "-keyout", str(key), "-out", str(certificate), *(password or ("-nodes",))],
        check=True,
        capture_output=True,
    )  # fmt: skip
    key.chmod(0o600)
    return certificate, key


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return make(tmp_path_factory.mktemp("tls"), "page")


def test_served_by_tls_and_by_nothing_else(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    trusts = ssl.create_default_context(cafile=str(pair[0]))
    with serving.served(create_app(tmp_path), tls_context(*pair)) as port:
        with httpx.Client(verify=trusts, trust_env=False) as client:
            answer = client.get(f"https://localhost:{port}/api/status")
            assert answer.json()["bank"] == samples.CLOSED.bank
        assert b"200 OK" not in serving.rest(serving.get(port, "/api/status"))


def test_old_versions_of_it_are_not_spoken(pair: tuple[Path, Path]) -> None:
    """RFC 8996, "Deprecating TLS 1.0 and TLS 1.1"."""
    assert tls_context(*pair).minimum_version >= ssl.TLSVersion.TLSv1_2


def test_a_client_that_never_shakes_hands_does_not_hold_up_the_end(
    tmp_path: Path, pair: tuple[Path, Path]
) -> None:
    with serving.served(create_app(tmp_path), tls_context(*pair)) as port:
        silent = socket.create_connection(("127.0.0.1", port), timeout=serving.PATIENCE_S)
    assert serving.rest(silent) == b""


def is_open(silent: socket.socket) -> bool:
    silent.setblocking(False)
    try:
        return silent.recv(1) != b""
    except BlockingIOError:
        return True


def test_clients_that_never_shake_hands_are_counted_like_all_others(
    tmp_path: Path, pair: tuple[Path, Path]
) -> None:
    """Of one address and in all. Had they waited for the handshake's end, the first would have been
    hung up on before the last."""
    samples.publish(tmp_path, samples.CLOSED)
    trusts = ssl.create_default_context(cafile=str(pair[0]))
    places = Places(of_all=4, of_one_address=2)
    with serving.served(create_app(tmp_path), tls_context(*pair), places=places) as port:
        silent = [serving.client(port) for _ in range(2)]
        assert serving.rest(serving.client(port)) == b""
        with trusts.wrap_socket(
            serving.client(port, source="127.0.0.2"), server_hostname="localhost"
        ) as other:
            other.sendall(serving.GET % b"/api/status")
            assert b"200 OK" in serving.head_and_some(other, b'"problem"')
            silent.append(serving.client(port, source="127.0.0.3"))
            assert serving.rest(serving.client(port, source="127.0.0.4")) == b""
            assert all(map(is_open, silent))
        for one in silent:
            one.close()


@pytest.mark.parametrize("sends", [b"", b"\x16\x03\x01\x02\x00\x01", b"GET / HTTP/1.1\r\n\r\n"])
def test_a_handshake_that_fails_leaves_its_place(
    tmp_path: Path, pair: tuple[Path, Path], sends: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    trusts = ssl.create_default_context(cafile=str(pair[0]))
    few = Places(2, 2)
    with serving.served(create_app(tmp_path), tls_context(*pair), places=few) as port:
        for _ in range(10):
            failing = serving.client(port, sends)
            with suppress(OSError):  # hung up on already
                failing.shutdown(socket.SHUT_WR)
            serving.rest(failing)
        with trusts.wrap_socket(serving.client(port), server_hostname="localhost") as fit:
            fit.sendall(serving.GET % b"/api/status")
            assert b"200 OK" in serving.head_and_some(fit, b'"problem"')
    assert capfd.readouterr().err == ""


def test_streams_by_tls_end_with_the_server(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    trusts = ssl.create_default_context(cafile=str(pair[0]))
    with serving.served(create_app(tmp_path), tls_context(*pair)) as port:
        stream = trusts.wrap_socket(
            serving.client(port), server_hostname="localhost", suppress_ragged_eofs=False
        )
        stream.sendall(serving.GET % b"/api/stream")
        serving.head_and_some(stream, b"event: status")
    assert serving.rest(stream).endswith(b"0\r\n\r\n")


def test_a_key_of_another(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    _, other = make(tmp_path, "other")
    with pytest.raises(Unfit, match="not that of the certificate"):
        tls_context(pair[0], other)


def test_a_key_with_a_password(tmp_path: Path) -> None:
    certificate, key = make(tmp_path, "locked", "-passout", "pass:secret")
    with pytest.raises(Unfit, match="has a password"):
        tls_context(certificate, key)


def test_files_that_are_not_there_or_no_pem(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    certificate, key = pair
    odd = tmp_path / "odd"
    odd.write_text("no PEM\n")
    odd.chmod(0o600)
    for first, second, words in (
        (tmp_path / "absent", key, "certificate file .* cannot be read"),
        (certificate, tmp_path / "absent", "key file .* cannot be read"),
        (odd, key, "not a certificate and a key in PEM"),
        (certificate, odd, "not a certificate and a key in PEM"),
        (key, certificate, "may be read or written by others"),
    ):
        certificate.chmod(0o644)
        with pytest.raises(Unfit, match=words):
            tls_context(first, second)


def test_a_key_that_everybody_may_read(tmp_path: Path) -> None:
    certificate, key = make(tmp_path, "open")
    key.chmod(0o644)
    with pytest.raises(Unfit, match=r"key file .* by others"):
        tls_context(certificate, key)


def test_the_description_is_served_by_it_too(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    trusts = ssl.create_default_context(cafile=str(pair[0]))
    with serving.served(create_app(tmp_path), tls_context(*pair)) as port:
        stream = trusts.wrap_socket(serving.client(port), server_hostname="localhost")
        stream.sendall(
            b"GET /api/openapi.json HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        )
        body = serving.rest(stream).partition(b"\r\n\r\n")[2]
    assert json.loads(body)["openapi"].startswith("3.1")
