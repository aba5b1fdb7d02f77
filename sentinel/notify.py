"""What the service manager is told: the protocol of sd_notify(3), one datagram a message.

Without a service manager nothing is sent and nothing fails. A message that cannot be sent is dropped: the
manager's watchdog, which then misses it, is the remedy.
"""

import os
import re
import socket

_CONTROL = re.compile(r"[^\x20-\x7e]")
LONGEST_STATUS = 200
"""``systemctl status`` shows one line; a terminal is some 200 columns wide at most."""


def ready() -> bool:
    """The daemon has started: its sources are open and its loop begins."""
    return _send("READY=1")


def status(text: str) -> bool:
    """One line for people. It may quote what came off the air: a line break would begin another message."""
    return _send("STATUS=" + _CONTROL.sub("?", text)[:LONGEST_STATUS])


def watchdog() -> bool:
    """There was progress. Call it at least every ``watchdog_interval_s``."""
    return _send("WATCHDOG=1")


def stopping() -> bool:
    """The daemon is ending on purpose."""
    return _send("STOPPING=1")


def watchdog_interval_s() -> float | None:
    """How often the manager wants to see progress: half its limit, as sd_watchdog_enabled(3) advises.

    None when there is no watchdog, or when it is meant for another process.
    """
    limit_us = os.environ.get("WATCHDOG_USEC", "")
    meant_for = os.environ.get("WATCHDOG_PID", "")
    if not (limit_us.isascii() and limit_us.isdigit()) or meant_for not in ("", str(os.getpid())):
        return None
    return int(limit_us) / 2e6 or None


def _send(message: str) -> bool:
    """True when the manager's socket took the message."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if address.startswith("@"):
        address = "\0" + address[1:]  # an abstract socket; no environment variable can hold its first byte
    elif not address.startswith("/"):
        return False
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as channel:
            channel.setblocking(False)
            channel.sendto(message.encode("ascii"), address)
    except (OSError, ValueError):
        return False
    return True
