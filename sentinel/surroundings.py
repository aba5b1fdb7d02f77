"""What the daemon looks at besides lines: is the clock synchronised, is the decoder's process there?

Both are looked at now and then from files, by a thread of its own: a call may hang on a sick card. Answers
are None where nothing can be known.
"""

import logging
import shutil
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

from sentinel.watch.bulletin import Part

LOOK_EVERY_S = 15.0
CHRONYC_EVERY_S = 300.0
"""Asking chrony starts a process; a clock that was right five minutes ago is right."""
CHRONYC_PATIENCE_S = 5.0
COMM_LENGTH = 15
"""The kernel keeps so many characters of a process's name (proc(5))."""
STOP_PATIENCE_S = 2.0

log = logging.getLogger("sentinel.surroundings")


def is_clock_synchronised(
    run: Path = Path("/run"), ask: Callable[[], str | None] | None = None
) -> bool | None:
    """What systemd-timesyncd or chrony says of the wall clock; None where neither runs.

    timesyncd touches ``synchronized`` when it has set the clock (systemd-timesyncd(8)); chronyc's report ends
    with the leap status, which is ``Not synchronised`` until then (chronyc(1), -c tracking).
    """
    if (run / "systemd/timesync/synchronized").exists():
        return True
    if (run / "chrony").is_dir():
        report = (ask or _ask_chrony)()
        return None if not report else not report.rstrip().endswith("Not synchronised")
    return False if (run / "systemd/timesync").is_dir() else None


def _ask_chrony() -> str | None:
    program = shutil.which("chronyc")
    if program is None:
        return None
    try:
        done = subprocess.run(
            [program, "-n", "-c", "tracking"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=CHRONYC_PATIENCE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout.decode("utf-8", "replace") if done.returncode == 0 else None


class ProcessLook:
    """Is a process of this name running? Once found, only it is looked at until it has gone."""

    def __init__(self, name: str, proc: Path = Path("/proc")) -> None:
        self._name = name
        self._proc = proc
        self._found: Path | None = None

    def is_running(self) -> bool | None:
        """None where the processes of others are hidden, as ``ProtectProc=`` hides them."""
        if self._found is not None and self._is_it(self._found):
            return True
        self._found = next((each for each in self._numbered() if self._is_it(each)), None)
        if self._found is not None:
            return True
        return False if (self._proc / "1").exists() else None

    def _numbered(self) -> list[Path]:
        try:
            return [each for each in self._proc.iterdir() if each.name.isdigit()]
        except OSError:
            return []

    def _is_it(self, process: Path) -> bool:
        try:
            comm = (process / "comm").read_text("utf-8", "replace").rstrip("\n")
            if comm == self._name[:COMM_LENGTH] and len(self._name) <= COMM_LENGTH:
                return True
            words = (
                (process / "cmdline").read_bytes().split(b"\0")[:2]
            )  # a script stands behind its interpreter
        except OSError:  # it has gone in the meantime
            return False
        return any(word.rsplit(b"/", 1)[-1].decode("utf-8", "replace") == self._name for word in words)


class Surroundings:
    """Looks every 15 s; ``is_clock_synchronised`` and ``is_decoder_running`` are the latest answers."""

    def __init__(
        self,
        process: str | None,
        look_at_clock: Callable[[], bool | None] = is_clock_synchronised,
        look_at_processes: Callable[[], bool | None] | None = None,
        look_at_more: Callable[[], None] = lambda: None,
    ) -> None:
        self.process = process
        self.is_clock_synchronised: bool | None = None
        self.is_decoder_running: bool | None = None
        self._look_at_clock = look_at_clock
        self._look_at_processes = look_at_processes or (ProcessLook(process).is_running if process else None)
        self._look_at_more = look_at_more
        self._next_clock_s = float("-inf")
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="surroundings", daemon=True)

    def look(self) -> None:
        """Look once; call it before ``start`` to know at once."""
        now_s = time.monotonic()
        if now_s >= self._next_clock_s:
            self.is_clock_synchronised = self._look_at_clock()
            self._next_clock_s = now_s + (CHRONYC_EVERY_S if self.is_clock_synchronised else LOOK_EVERY_S)
        if self._look_at_processes is not None:
            self.is_decoder_running = self._look_at_processes()

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(STOP_PATIENCE_S)

    def decoder_parts(self) -> tuple[Part, ...]:
        """The decoder's process as a part, where one is to be watched."""
        if self.process is None:
            return ()
        name = ascii(self.process)[1:-1]
        notes = {
            True: "",
            False: f"no process {name} is running",
            None: "other users' processes are hidden: set ProtectProc=default for the service",
        }
        return (Part("decoder", self.is_decoder_running, notes[self.is_decoder_running]),)

    def _run(self) -> None:
        while True:
            try:
                self._look_at_more()
                if self._ending.wait(LOOK_EVERY_S):
                    return
                self.look()
            except Exception:  # a look may fail in any way and must not end the others
                log.exception("a look around has failed")
                self._ending.wait(LOOK_EVERY_S)


def clock_part(is_synchronised: bool | None, error_s: float | None, warn_s: float) -> Part:
    """The clock as a part. ``error_s`` is what the stations' time offsets say; it outranks the rest."""
    if error_s is not None and abs(error_s) >= warn_s:
        return Part("clock", False, f"off by {error_s:+.1f} s, as the stations' times tell")
    if error_s is None and is_synchronised is False:
        return Part("clock", False, "not synchronised since the start")
    is_known = error_s is not None or is_synchronised is not None
    return Part("clock", True if is_known else None, "" if is_known else "nothing tells whether it is right")
