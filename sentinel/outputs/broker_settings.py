"""How to reach a broker, and the sentences for what goes wrong on the way. No client library in here."""

import socket
import ssl
from dataclasses import dataclass, field

from sentinel.errors import ConfigError

KEEPALIVE_S = 30


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """One broker and who we are to it.

    ``node`` is the node id; ``ca``, ``cert`` and ``key`` are paths of PEM files, None for the system's
    certificates and for no client certificate. The password never shows in a repr or a message. ``table`` is
    the one of the configuration that says all this. ``client`` and the node make the client id: two links to
    one broker must differ in it.
    """

    host: str
    node: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca: str | None = None
    cert: str | None = None
    key: str | None = None
    keepalive_s: int = KEEPALIVE_S
    table: str = "mqtt"
    client: str = "sentinel"

    @property
    def where(self) -> str:
        """Host and port, for messages."""
        return f"{self.host}:{self.port}"


def connect_fault(error: OSError, settings: BrokerSettings) -> str:
    """Why no connection came about, and the mend."""
    where, table = settings.where, settings.table
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"the certificate of {where} is not trusted ({error.verify_message}): "
            f"see {table}.ca, {table}.host and this computer's clock"
        )
    if isinstance(error, ssl.SSLError):
        return f"no TLS with {where} ({error.reason or 'handshake failed'}): see {table}.tls and {table}.port"
    if isinstance(error, socket.gaierror):
        return f"the name {settings.host!a} cannot be found: see {table}.host and the network"
    if isinstance(error, ConnectionRefusedError):
        return f"nothing listens on {where}: start the broker, or see {table}.host and {table}.port"
    if isinstance(error, TimeoutError):
        return f"{where} does not answer: see {table}.host and the network"
    if settings.tls and isinstance(error, ConnectionError):
        return f"no TLS with {where} ({error.strerror}): see {table}.tls and {table}.port"
    return f"{where} cannot be reached ({error.strerror or type(error).__name__})"


# Reason codes of MQTT 5 (OASIS standard 5.0, sections 3.2.2.2 and 3.14.2.1); the client library translates
# the return codes of 3.1.1 into them.
FIRST_FAILURE_CODE = 128
UNSUPPORTED_PROTOCOL = 132
_REFUSALS = {
    UNSUPPORTED_PROTOCOL: "the broker does not speak this version of MQTT",
    133: "the broker refuses the client id",
    134: "the broker refuses the user name or password: see {table}.user and {table}.password_file",
    135: "the broker refuses this user or the password: see {table}.user and {table}.password_file",
    136: "the broker is not available just now",
    137: "the broker is busy",
    138: "the broker has banned this client",
    139: "the broker is shutting down",
    142: "another client uses the same node id: give each its own",
    149: "the broker found a message too large",
    151: "the broker's quota is used up",
    154: "the broker does not support retained messages",
    159: "the broker limits the rate of connections",
}


def refusal_fault(code: int, settings: BrokerSettings) -> str:
    """What the broker's reason code means."""
    meaning = _REFUSALS.get(code, f"the broker gave reason code {code}")
    return f"{meaning.format(table=settings.table)} ({settings.where})"


class _HandshakeSocket(ssl.SSLSocket):
    """Closes itself when the handshake fails; the client library leaves that to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def tls_context(settings: BrokerSettings) -> ssl.SSLContext:
    """Certificate and host name are always checked. Raises ConfigError, which names the key and the file."""
    try:
        context = ssl.create_default_context(cafile=settings.ca)
    except OSError as error:
        raise ConfigError(
            f"{settings.table}.ca = {settings.ca!a} cannot be used ({_why(error)}): give a PEM file"
        ) from None
    context.sslsocket_class = _HandshakeSocket
    if settings.cert is not None:
        try:
            context.load_cert_chain(settings.cert, settings.key, password=_no_passphrase)
        except OSError as error:
            pair = f"{settings.table}.cert = {settings.cert!a} with {settings.table}.key = {settings.key!a}"
            raise ConfigError(
                f"{pair} cannot be used ({_why(error)}): give PEM files without a passphrase"
            ) from None
    return context


def _no_passphrase() -> str:
    """Without this, an encrypted key would make the daemon ask on a terminal that nobody sees."""
    raise OSError(None, "the key needs a passphrase")


def _why(error: OSError) -> str:
    return error.strerror or str(getattr(error, "reason", None) or type(error).__name__)
