"""Data flows one way: a package imports only what stands to its left in the design."""

import ast
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
    "config": {"errors", "trade", "sky", "watch", "intake", "outputs", "panel"},
}
MAY_IMPORT_ANYTHING = {"cli", "commands", "daemon", "__main__", "__init__"}
# device and network libraries, and the only files that may import them
ONE_HOME = {
    "paho": {"outputs/broker_link.py", "commands/check.py"},
    "serial": {"intake/serial_source.py"},
    "inotify_simple": {"intake/file_source.py"},
    "gpiozero": {"panel/gpio.py"},
    "spidev": {"panel/gpio.py"},
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


@pytest.mark.parametrize("library", ["paho", "serial", "gpiozero", "spidev", "PIL", "pydantic", "sqlite3", "rich"])
def test_the_core_loads_no_device_or_network_library(library: str) -> None:
    import subprocess
    import sys

    code = f"import sys, pkgutil, importlib, sentinel.watch as w\n" \
           f"[importlib.import_module(m.name) for m in pkgutil.walk_packages(w.__path__, 'sentinel.watch.')]\n" \
           f"sys.exit({library!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
