"""Certificate and key of the page, told apart from what is neither before anything is served."""

import ssl
from pathlib import Path

from supervisor.status.token import Unfit, read_private

LARGEST_KEY_BYTES = 64 * 1024


def tls_context(certificate: Path, key: Path) -> ssl.SSLContext:
    """For a server. Raises Unfit, in words."""
    read_private(key, "key", LARGEST_KEY_BYTES)
    try:
        certificate.open("rb").close()
    except OSError as error:
        raise Unfit(
            f"the certificate file {certificate} cannot be read: {error.strerror}"
        ) from None

    def has_password() -> str:
        raise Unfit(f"the key file {key} has a password, and nobody is there to type it")

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(certificate, key, has_password)
    except ssl.SSLError as error:
        if error.reason == "KEY_VALUES_MISMATCH":
            raise Unfit(f"the key in {key} is not that of the certificate {certificate}") from None
        raise Unfit(f"{certificate} and {key} are not a certificate and a key in PEM") from None
    return context
