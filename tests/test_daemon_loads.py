"""A daemon that mostly sleeps keeps in memory only what its configuration asks for."""

import subprocess
import sys
from pathlib import Path

import pytest
from nights import CONFIG

LOADS = """
import sys
from pathlib import Path
from sentinel.config import load
from sentinel.daemon import Daemon

daemon = Daemon(load(Path(sys.argv[1])), Path(sys.argv[2]))
daemon.stop()
daemon.run()
print(*sys.modules)
"""
COSTLY = {"PIL", "paho", "gpiozero", "serial", "asyncio", "http", "rich", "starlette", "matplotlib", "numpy"}
PART = {
    "": set(),
    "[mqtt]\nport = 1\n": {"paho", "http"},  # paho loads it itself
    '[panel]\nglass = "simulated"\n': {"PIL"},
    '[space_weather]\nfile = "wwv.txt"\n': {"http"},
    '[[source]]\nkind = "serial"\npath = "/dev/null"\nlayout = "{utc:epoch} {message}"\n': {"serial"},
}


@pytest.mark.parametrize("extra", PART, ids=["the least", "broker", "glass", "space weather", "serial line"])
def test_only_what_is_configured_is_loaded(extra: str, tmp_path: Path) -> None:
    config = tmp_path / "sentinel.toml"
    config.write_text(CONFIG + extra, "utf-8")
    (tmp_path / "decodes.log").touch()
    done = subprocess.run(
        [sys.executable, "-c", LOADS, str(config), str(tmp_path)], check=True, capture_output=True, text=True
    )
    loaded = {name.split(".")[0] for name in done.stdout.split()}
    assert loaded & COSTLY == PART[extra]
