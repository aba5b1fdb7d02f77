"""Data flows one way: a package imports only what stands to its left in the design."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "sentinel"

# package -> the packages and top modules of ours that it may import
ALLOWED: dict[str, set[str]] = {
    "errors": set(),
    "trade": {"errors"},
    "sky": {"errors"},
    "watch": {"errors", "trade", "sky"},
    "intake": {"errors", "trade", "sky", "watch"},
    "outputs": {"errors", "trade", "sky", "watch"},
    "panel": {"errors", "trade", "sky", "watch"},
    "rehearsal": {"errors", "trade", "sky"},
    "config_types": {"trade"},
    "config_hardware": {"config_faults", "config_types", "panel"},
    "config_page": {"config_types"},
    "config_band": {"config_faults", "config_types", "trade"},
    "config_broker": {"config_faults", "config_types", "errors", "intake"},
    "config_faults": set(),
    "config": {
        *("config_band", "config_broker", "config_faults", "config_hardware", "config_page", "config_types"),
        *("errors", "trade", "sky", "watch", "intake", "outputs", "panel"),
    },
    # the daemon's own small parts
    "band_choice": {"config", "watch"},
    "event_clock": set(),
    "line_time": {"watch"},
    "recent": {"trade", "watch"},
    "restart": {"recent", "sky", "watch"},
    "live_watch": {"event_clock", "line_time", "recent", "restart", "watch"},
    "attention": {"watch"},
    "identity": {"errors"},
    "inbox": set(),
    "memory": set(),
    "notify": set(),
    "tuning": set(),
    "output": {"watch"},
    "worker": {"watch"},
}
MAY_IMPORT_ANYTHING = {"cli", "commands", "daemon", "forecast", "wiring", "__main__", "__init__"} | {
    # the daemon's outputs: each joins one package's parts to its thread
    *(
        "broker_output",
        "band_diary",
        "band_watch",
        "diary_output",
        "neighbours_output",
        "page_output",
        "display_output",
        "picture_output",
        "signal_output",
    ),
    *("night", "opening_outputs", "outside", "requests", "sources", "surroundings", "telling"),
}
# device and network libraries, and the only files that may import them
ONE_HOME = {
    "paho": {"outputs/broker_link.py", "commands/demo_subscriber.py"},
    "serial": {"intake/serial_source.py"},
    "inotify_simple": {"intake/file_source.py"},
    "gpiozero": {"panel/gpio.py"},
    "spidev": {"panel/gpio.py"},
    "starlette": {"outputs/page_app.py"},
    "uvicorn": {"outputs/page_server.py"},
}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def imported_names(tree: ast.AST, path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write absolute imports"
            names.add(node.module or "")
            if node.module == "sentinel":
                names.update(f"sentinel.{alias.name}" for alias in node.names)
    return names


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_one_way(path: Path) -> None:
    relative = path.relative_to(PACKAGE)
    home = relative.parts[0].removesuffix(".py")
    names = imported_names(ast.parse(path.read_text("utf-8")), path)
    if home not in MAY_IMPORT_ANYTHING:
        ours = {n.split(".")[1] for n in names if n.startswith("sentinel.") and n != "sentinel"}
        assert ours <= ALLOWED[home] | {home}, f"{relative} imports {sorted(ours - ALLOWED[home] - {home})}"
    for library, homes in ONE_HOME.items():
        if any(n.split(".")[0] == library for n in names):
            assert relative.as_posix() in homes, f"{relative} may not import {library}"


LOADS_THE_CORE = """
import importlib, pkgutil, sys, sentinel.watch
for module in pkgutil.walk_packages(sentinel.watch.__path__, "sentinel.watch."):
    importlib.import_module(module.name)
print(*sys.modules)
"""


def test_the_core_loads_no_device_network_or_drawing_library() -> None:
    done = subprocess.run([sys.executable, "-c", LOADS_THE_CORE], check=True, capture_output=True, text=True)
    loaded = set(done.stdout.split())
    assert "sentinel.watch.bulletin" in loaded
    assert not loaded & {"paho", "serial", "gpiozero", "spidev", "PIL", "pydantic", "sqlite3", "rich"}
