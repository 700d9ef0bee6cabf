"""TLS towards the broker: on by default, host always checked, 1.2 or newer, no fallback to plain."""

from __future__ import annotations

import ssl

from logger.publish.errors import ConnectFailed
from logger.publish.settings import BrokerSettings

# OpenSSL's X509_V_ERR_* numbers, as Python hands them on in SSLCertVerificationError.verify_code.
_NOT_YET_VALID = 9
_EXPIRED = 10
_UNKNOWN_ISSUER = frozenset({2, 18, 19, 20, 21})
_NOT_TLS = frozenset({"WRONG_VERSION_NUMBER", "RECORD_LAYER_FAILURE", "UNEXPECTED_MESSAGE", "HTTP_REQUEST"})
"""OpenSSL's reasons when the peer's first bytes are no TLS record."""
_WRONG_NAME = frozenset({62, 64})


class _ClosedOnFailure(ssl.SSLSocket):
    """The MQTT library leaves a socket open whose handshake failed; a bench that retries for days must not."""

    def do_handshake(self, block: bool = False) -> None:
        """As usual, and closed when it fails."""
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def tls_context(settings: BrokerSettings) -> ssl.SSLContext | None:
    """The context for these settings, None when plain MQTT was asked for. Raises ConnectFailed."""
    if settings.insecure:
        return None
    try:
        context = ssl.create_default_context(cafile=settings.ca_file)
    except (OSError, ssl.SSLError) as error:
        raise ConnectFailed(
            f"ca_file {settings.ca_file} holds no readable PEM certificate.", refused=True
        ) from error
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _ClosedOnFailure
    if settings.cert_file is not None:
        _load_own_certificate(context, settings)
    return context


def _load_own_certificate(context: ssl.SSLContext, settings: BrokerSettings) -> None:
    assert settings.cert_file is not None
    try:
        # An empty password callback: a locked key must be refused, not ask at a terminal.
        context.load_cert_chain(settings.cert_file, settings.key_file, password=lambda: b"")
    except (OSError, ssl.SSLError) as error:
        raise ConnectFailed(
            f"cert_file {settings.cert_file} and key_file {settings.key_file} are not a readable pair of "
            "PEM certificate and unlocked key.",
            refused=True,
        ) from error


def tls_sentence(error: ssl.SSLError, address: str) -> str:
    """Why TLS failed and what to do, one sentence for each cause a person can act on."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return _certificate_sentence(error, address)
    if error.reason in _NOT_TLS:
        return (
            f"{address} answers, but not in TLS: this looks like the broker's plain port. "
            "Use its TLS port (often 8883); there is no fallback to plain."
        )
    return f"No TLS with {address}: {error.reason or error}."


def handshake_cut_sentence(address: str) -> str:
    """For a peer that hung up instead of answering the first TLS message."""
    return (
        f"{address} hung up during the TLS handshake: it is the broker's plain port, or knows no TLS 1.2; "
        "there is no fallback."
    )


def _certificate_sentence(error: ssl.SSLCertVerificationError, address: str) -> str:
    code = error.verify_code
    if code == _EXPIRED:
        return f"The certificate of {address} has expired: the broker needs a new one (check this clock too)."
    if code == _NOT_YET_VALID:
        return f"The certificate of {address} is not valid yet: check this computer's clock."
    if code in _WRONG_NAME:
        return (
            f"The certificate of {address} is for another host name: use the name it was made for, or "
            "have it made for this one."
        )
    if code in _UNKNOWN_ISSUER:
        return (
            f"The certificate of {address} comes from an authority this computer does not know: name "
            "the plant's authority with ca_file."
        )
    return f"The certificate of {address} is not accepted: {error.verify_message}."
