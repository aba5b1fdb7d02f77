"""A stop that comes while the daemon is still starting is as clean as any other."""

import os
import signal
import subprocess
from pathlib import Path

import pytest
from command_line import SENTINEL


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_stop_before_anything_has_begun_is_a_success(tmp_path: Path, number: signal.Signals) -> None:
    """The configuration is a named pipe that nobody writes to, so the start goes no further."""
    config = tmp_path / "sentinel.toml"
    os.mkfifo(config)
    command = [*SENTINEL, "run", "--config", str(config)]
    with (
        subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process,
        config.open("w", encoding="utf-8"),  # returns when the daemon reads, so its handlers stand
    ):
        process.send_signal(number)
        _, complaint = process.communicate(timeout=30.0)
    assert (process.returncode, complaint) == (0, "")
