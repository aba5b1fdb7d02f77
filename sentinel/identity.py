"""Where the daemon keeps its state, and the name under which brokers and neighbours know it."""

import os
import re
import secrets
from pathlib import Path

from sentinel.errors import RunError

_NODE = re.compile(r"[a-z0-9]{12}")


def state_directory() -> Path:
    """``$STATE_DIRECTORY`` (systemd), else ``$XDG_STATE_HOME/sentinel``; made if need be. Raises RunError."""
    given = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        directory = Path(given)
    else:
        home = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
        directory = Path(home) / "sentinel"
    try:
        directory.mkdir(parents=True, exist_ok=True, mode=0o750)
    except OSError as error:
        raise RunError(
            f"the state directory {directory} cannot be made ({error.strerror}); "
            "set STATE_DIRECTORY to one that can"
        ) from None
    return directory


def node_id(directory: Path) -> str:
    """The node's id, made once and kept: random, so that it tells nothing of the station. Raises RunError."""
    file = directory / "node-id"
    try:
        known = file.read_text("ascii", "replace").strip() if file.exists() else ""
        if _NODE.fullmatch(known):
            return known
        fresh = secrets.token_hex(6)
        partial = directory / "node-id.new"
        with partial.open("w", encoding="ascii") as opened:
            opened.write(fresh + "\n")
            opened.flush()
            os.fsync(opened.fileno())
        partial.replace(file)
    except OSError as error:
        raise RunError(f"{file}: the node id cannot be kept ({error}); mend the folder's rights") from None
    return fresh
