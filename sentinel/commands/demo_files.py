"""The files of the demo: its configuration, and the invented decoder as a process of its own."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sentinel.rehearsal.evening import CALLSIGN, CANARY, LOCATOR
from sentinel.rehearsal.logs import PLAIN

LOG_NAME = "decodes.log"
_CONFIG = """\
# An invented evening near Halifax, Nova Scotia. Try: sentinel replay {log} --config {config}
[station]
locator = "{locator}"
callsign = "{callsign}"

[receiver]
canaries = ["{canary}"]

[[source]]
kind = "file"
path = "{log}"
layout = "{layout}"

[mqtt]
host = "127.0.0.1"
port = {port}

[panel]
picture = "panel.png"
"""


def write_config(folder: Path, port: int) -> Path:
    """Write the demo's configuration; returns its path."""
    file = folder / "sentinel.toml"
    file.write_text(
        _CONFIG.format(
            locator=LOCATOR,
            callsign=CALLSIGN,
            canary=CANARY,
            log=LOG_NAME,
            layout=PLAIN,
            port=port,
            config=file.name,
        ),
        "utf-8",
    )
    return file


@contextmanager
def invented_decoder(log: Path, seed: int, speed: float) -> Iterator[subprocess.Popen[bytes]]:
    """The decoder's process, ended with the block."""
    command = [
        sys.executable,
        "-m",
        "sentinel.rehearsal.decoder",
        "--out",
        str(log),
        "--seed",
        str(seed),
        "--speed",
        str(speed),
    ]
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
        process.wait(10)
