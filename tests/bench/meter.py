"""What Linux knows of running processes: memory, processor time, wake-ups, bytes written. Prints nothing."""

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")
TICKS_PER_S = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Usage:
    """Processes together at one instant. ``wakes`` counts how often a thread waited and was woken;
    ``written_bytes`` what went to block devices, ``handed_bytes`` what write calls were handed."""

    at_s: float
    resident_mib: float
    cpu_s: float
    wakes: int
    written_bytes: int
    handed_bytes: int


def usage_of(pids: Sequence[int]) -> Usage:
    """The sum over these processes; ProcessLookupError when one has ended."""
    try:
        each = [_usage_of_one(Path(f"/proc/{pid}")) for pid in pids]
    except FileNotFoundError as error:
        raise ProcessLookupError(f"{error.filename} is gone") from None
    return Usage(
        time.monotonic(),
        sum(one.resident_mib for one in each),
        sum(one.cpu_s for one in each),
        sum(one.wakes for one in each),
        sum(one.written_bytes for one in each),
        sum(one.handed_bytes for one in each),
    )


def _usage_of_one(proc: Path) -> Usage:
    resident_pages = int((proc / "statm").read_text("ascii").split()[1])
    ticks = (proc / "stat").read_text("utf-8").rpartition(")")[2].split()[11:13]
    wakes = sum(
        int(_field(thread / "status", "voluntary_ctxt_switches")) for thread in (proc / "task").iterdir()
    )
    io = proc / "io"
    return Usage(
        time.monotonic(),
        resident_pages * PAGE_BYTES / 2**20,
        sum(map(int, ticks)) / TICKS_PER_S,
        wakes,
        int(_field(io, "write_bytes")),
        int(_field(io, "wchar")),
    )


def _field(file: Path, name: str) -> str:
    for line in file.read_text("utf-8").splitlines():
        if line.startswith(f"{name}:"):
            return line.partition(":")[2].split()[0]
    return "0"


@dataclass(frozen=True, slots=True)
class AtRest:
    """Processes over a stretch in which nothing is asked of them."""

    resident_mib: float
    wakes_per_s: float
    cpu_percent: float
    written_bytes_per_s: float


def between(before: Usage, after: Usage) -> AtRest:
    """What a second of the stretch took."""
    lasted_s = after.at_s - before.at_s
    return AtRest(
        after.resident_mib,
        (after.wakes - before.wakes) / lasted_s,
        100.0 * (after.cpu_s - before.cpu_s) / lasted_s,
        (after.written_bytes - before.written_bytes) / lasted_s,
    )


def percentile(values: Sequence[float], share: float) -> float:
    """The value that ``share`` of them do not exceed."""
    return sorted(values)[max(0, round(share * len(values)) - 1)]


def this_machine() -> str:
    """One line: date, processor, cores, kernel, Python."""
    model = next(
        (
            line.partition(":")[2].strip()
            for line in Path("/proc/cpuinfo").read_text("utf-8").splitlines()
            if line.startswith(("model name", "Model"))
        ),
        os.uname().machine,
    )
    load = os.getloadavg()[0]
    return (
        f"{time.strftime('%Y-%m-%d')}, {model}, {os.cpu_count()} cores, Linux {os.uname().release}, "
        f"load {load:.1f} when it began"
    )
