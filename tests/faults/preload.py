"""C sources beside this file, compiled to be preloaded into a process of its own."""

import os
import shutil
import struct
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def environment(source: str, folder: Path) -> dict[str, str]:
    """An environment that preloads ``source``; skips where nothing compiles it."""
    if struct.calcsize("P") != 8:
        pytest.skip("the preloaded calls are those of a 64-bit C library")
    if shutil.which("cc") is None:
        pytest.skip("no C compiler is installed (Debian: apt-get install gcc libc6-dev)")
    library = folder / Path(source).with_suffix(".so")
    compiled = subprocess.run(
        ["cc", "-shared", "-fPIC", "-O1", "-Wall", "-o", str(library), str(HERE / source), "-ldl"],
        capture_output=True,
        text=True,
        check=False,
    )
    if compiled.returncode != 0:
        pytest.skip(f"the C compiler cannot make a library here: {compiled.stderr.strip()[-200:]}")
    return {**os.environ, "LD_PRELOAD": str(library)}
