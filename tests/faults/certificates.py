"""The broker comes back with a wrong certificate: no word goes there; what waits goes to the right one."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from broker import Listener, RealBroker, TlsFiles, free_port
from faults.mqtt import longest_delay
from faults.row import Faults, Row
from running import PATIENCE_S, eventually
from test_broker_link import STATE, make_authority, make_certificate, running, settings_for, state

from sentinel.outputs.broker_link import BrokerLink

CERTIFICATES = ("expired", "elsewhere", "stranger's")


@contextmanager
def certificates() -> Iterator[Path]:
    """A folder with an authority, a good certificate of its own and the wrong ones."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed (Debian: apt-get install openssl)")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_authority(folder, "authority")
        make_certificate(folder, "good", "127.0.0.1", 2)
        make_certificate(folder, "elsewhere", "127.9.9.9", 2)
        make_certificate(folder, "expired", "127.0.0.1", -1)
        (folder / "own").mkdir()
        make_authority(folder / "own", "authority")
        make_certificate(folder / "own", "stranger's", "127.0.0.1", 2)
        yield folder


def wrong_certificates(is_long: bool) -> Row:
    """The broker comes back with a wrong certificate, then with the right one; the link lives through it all.

    Nothing may be sent to the wrong ones, and the state of that time must arrive at the right one.
    """
    rounds = 5 if is_long else 1
    injected = survived = gone = 0
    with certificates() as folder:
        good, wrong = files_of(folder, "good"), {}
        for name in CERTIFICATES:
            wrong[name] = files_of(folder / "own" if name == "stranger's" else folder, name)
        authority = str(folder / "authority.pem")
        plain = free_port()
        also_plain = f"listener {plain} 127.0.0.1"
        with (
            longest_delay(0.5),
            RealBroker(folder, tls=good, options=also_plain) as broker,
            running(settings_for(broker, tls=True, ca=authority)) as link,
        ):
            for name in CERTIFICATES * rounds:
                payload = f"{name} {injected}".encode("ascii")
                injected += 1
                assert link.wait_connected(PATIENCE_S)
                survived += is_refused(broker, wrong[name], link, payload)
                broker.stop()
                broker._tls = good
                broker.start()
                with Listener(_At(plain)) as listener:  # type: ignore[arg-type]
                    with suppress(pytest.fail.Exception, AssertionError):
                        listener.wait_for(STATE, payload, PATIENCE_S)
                    gone += (STATE, payload) not in listener.payloads()
    return Row(injected, survived, gone, None, ", ".join(CERTIFICATES))


class _At:
    """Where a listener finds the broker without TLS."""

    host = "127.0.0.1"

    def __init__(self, port: int) -> None:
        self.port = port


def files_of(folder: Path, name: str) -> TlsFiles:
    return TlsFiles(folder / "authority.pem", folder / f"{name}.pem", folder / f"{name}.key")


def is_refused(broker: RealBroker, files: TlsFiles, link: BrokerLink, payload: bytes) -> bool:
    """Start the broker anew with these files and hand in a state: no word of it may be sent."""
    broker.stop()
    broker._tls = files
    broker.start()
    link.publish(state(payload))
    eventually(lambda: "certificate" in link.health().reason, "a reason that names the certificate")
    ours = f"as {link.settings.client}-{link.settings.node}"
    return not link.health().is_connected and not any(ours in line for line in broker.log)


FAULTS: Faults = {"the broker's certificate is wrong": wrong_certificates}
