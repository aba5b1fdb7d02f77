"""Runs the command ``sentinel`` as its users do: a process of its own, without a terminal."""

import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

SENTINEL = (sys.executable, "-m", "sentinel")
PATIENCE_S = 60.0


def sentinel(
    *arguments: str | Path,
    given: bytes = b"",
    environment: Mapping[str, str] | None = None,
    cwd: Path | None = None,
) -> subprocess.CompletedProcess[str]:
    """Run a command to its end, ``given`` on standard input; what it said, as text."""
    done = subprocess.run(
        [*SENTINEL, *map(str, arguments)],
        input=given,
        capture_output=True,
        env=environment,
        cwd=cwd,
        timeout=PATIENCE_S,
        check=False,
    )
    return subprocess.CompletedProcess(
        done.args, done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8")
    )
