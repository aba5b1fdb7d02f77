"""How small the daemon is: at rest, from a line to a message, to the first verdict, on the card, in a replay.

    python tests/bench/small.py [--only rest latency ...] [--lines 1000000] [--logs DIRECTORY]

Beside it: mosquitto, gpsd on a silent pseudo-terminal, and a shell pipeline that follows the same file and
only counts distinct calls. A program that is not installed is left out, and that is said. Prints the machine,
figures, bars and ratios; passes no judgement.

at rest    the daemon with a file, a broker, the diary and the picture; nothing is written. A wake-up is a
           thread that waited and was woken. Resident memory counts shared pages in full, for everybody.
latency    from the write of a line that changes the state to the subscriber's receipt of it
start      from the start of the process to the first verdict at the broker, and in the log
written    block writes while a line comes every 15 s, the diary's flush included, as a day of it
replay     processor time and peak memory of ``sentinel replay --json`` over a long log: an ordinary month, or
           a band so crowded that every slot is full
"""

import argparse
import compileall
import json
import os
import pty
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from broker import Listener, RealBroker, free_port
from command_line import SENTINEL
from long_logs import make
from meter import AtRest, between, percentile, this_machine, usage_of
from nights import LOCAL, SLOT_S, SOUTH_WEST, Heard, seconds
from paho.mqtt import client as mqtt
from running import Daemon, daemon

import sentinel

SETTLED_S = 15.0
"""After so long the start is over: memory stands, retained messages are out."""
CHANGES = 200
STARTS = 10
WARM_SLOTS = 8
"""Two minutes: a new diary is made and its first pages written once, not every day."""
START_S = seconds("2026-06-14T20:00:00")
COUNT_CALLS = "{ if (!seen[$6]++) { n++; print n; fflush() } }"
BARS = {
    "resident, MiB": 45.0,
    "wake-ups a second": 2.0,
    "processor, %": 0.1,
    "line to MQTT, p99, ms": 50.0,
    "start to first verdict, s": 1.0,
    "written, MB a day": 10.0,
    "replay of a million lines, s": 12.0,
}


def quiet_broker(port: int) -> str:
    """A configuration of mosquitto that logs no more than its start."""
    return f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_type information\nuser root\n"


class States(Listener):
    """The states heard, each with the moment of its receipt."""

    def __init__(self, broker: RealBroker) -> None:
        super().__init__(broker, "sentinel/v1/+/6m/state")
        self.received: list[tuple[float, str]] = []

    def _note(self, client: object, data: object, message: mqtt.MQTTMessage) -> None:
        received = time.monotonic(), json.loads(message.payload)["state"]
        with self._changed:
            self.received.append(received)
            self._changed.notify_all()

    def next_s(self, state: str | None, after: int) -> float:
        """When ``state``, or any, was first received behind the first ``after`` messages."""

        def found() -> float | None:
            return next((at_s for at_s, told in self.received[after:] if state in (None, told)), None)

        with self._changed:
            assert self._changed.wait_for(lambda: found() is not None, 30.0), f"{state} never came"
            at_s = found()
        assert at_s is not None
        return at_s


# --- at rest ----------------------------------------------------------------------------------------


@contextmanager
def ours(folder: Path, broker: RealBroker) -> Iterator[tuple[Daemon, list[int]]]:
    (folder / "decodes.log").touch()
    with daemon(folder, broker.port) as running:
        running.says("quiet: ")
        running.says("connected to")
        yield running, [running.process.pid]


@contextmanager
def silent_gpsd(folder: Path) -> Iterator[list[int]]:
    """gpsd with a receiver that says nothing."""
    far, near = pty.openpty()
    socket = folder / "gpsd.sock"
    command = ["gpsd", "-N", "-n", "-b", "-F", str(socket), "-S", str(free_port()), os.ttyname(near)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield [process.pid]
    finally:
        process.terminate()
        process.wait(10)
        os.close(near)
        os.close(far)


@contextmanager
def pipeline(log: Path) -> Iterator[tuple[subprocess.Popen[bytes], list[int]]]:
    """``tail -F LOG | awk``, which prints the count of distinct calls whenever it grows."""
    tail = subprocess.Popen(["tail", "-n", "0", "-F", str(log)], stdout=subprocess.PIPE)
    awk = subprocess.Popen([*awk_at_once(), COUNT_CALLS], stdin=tail.stdout, stdout=subprocess.PIPE)
    try:
        yield awk, [tail.pid, awk.pid]
    finally:
        for process in (tail, awk):
            process.terminate()
            process.wait(10)


def awk_at_once() -> list[str]:
    """awk that answers each line; mawk, Debian's usual one, waits for a full buffer unless told otherwise."""
    found = shutil.which("awk")
    assert found is not None, "awk is not installed"
    return [found, "-W", "interactive"] if Path(found).resolve().name == "mawk" else [found]


def at_rest(folder: Path, rest_s: float) -> dict[str, AtRest]:
    """All of them over the same stretch of time."""
    with ExitStack() as stack:
        broker = stack.enter_context(RealBroker(folder, config=quiet_broker))
        pids = {"sentinel": stack.enter_context(ours(folder, broker))[1]}
        pids["mosquitto"] = [broker.pid]
        pids["tail | awk"] = stack.enter_context(pipeline(folder / "decodes.log"))[1]
        if shutil.which("gpsd", path=f"{os.environ['PATH']}:/usr/sbin"):
            pids["gpsd"] = stack.enter_context(silent_gpsd(folder))
        else:
            print("gpsd is not installed and is left out (Debian: apt-get install gpsd)")
        time.sleep(SETTLED_S)
        before = {name: usage_of(each) for name, each in pids.items()}
        time.sleep(rest_s)
        return {name: between(before[name], usage_of(each)) for name, each in pids.items()}


# --- from a line to an answer -----------------------------------------------------------------------


def changes() -> Iterator[tuple[str, str]]:
    """Lines, and the state that they bring about: a far station twice, half an hour later a local one."""
    call, square = SOUTH_WEST[0]
    for number in range(CHANGES // 2):
        at_s = START_S + 1800.0 * number
        heard = [Heard(at_s, f"CQ {call} {square}"), Heard(at_s + 2 * SLOT_S, f"CQ {call} {square}")]
        yield "".join(one.line() + "\n" for one in heard), "stirring"
        yield Heard(at_s + 1500.0, f"CQ {LOCAL[0]} {LOCAL[1][:4]}").line() + "\n", "quiet"


def latencies_ms(folder: Path) -> list[float]:
    """From write to the subscriber's receipt, for each change of state."""
    found = []
    with RealBroker(folder) as broker, States(broker) as states, ours(folder, broker):
        states.next_s("quiet", 0)
        with (folder / "decodes.log").open("ab", buffering=0) as log:
            for lines, state in changes():
                before, began_s = len(states.received), time.monotonic()
                log.write(lines.encode("ascii"))
                found.append(1000.0 * (states.next_s(state, before) - began_s))
    return found


def pipeline_latencies_ms(folder: Path) -> list[float]:
    """From the write of a line with a new call to awk's answer."""
    log, found = folder / "counted.log", []
    log.touch()
    with pipeline(log) as (awk, _), log.open("ab", buffering=0) as file:
        assert awk.stdout is not None
        time.sleep(1.0)
        for number in range(CHANGES):
            line = Heard(START_S, f"CQ W{number % 10}Q{chr(65 + number // 10)}A EM83").line()
            began_s = time.monotonic()
            file.write(f"{line}\n".encode("ascii"))
            awk.stdout.readline()
            found.append(1000.0 * (time.monotonic() - began_s))
    return found


# --- the start --------------------------------------------------------------------------------------


def starts_s(folder: Path) -> list[float]:
    """From the start of the process to the verdict at the subscriber; all but the first recall a diary."""
    found = []
    for _ in range(STARTS):
        with RealBroker(folder) as broker, States(broker) as states:
            began_s = time.monotonic()
            with ours(folder, broker):
                found.append(states.next_s(None, 0) - began_s)
    return found


# --- the card ---------------------------------------------------------------------------------------


def written_mb_a_day(folder: Path, for_s: float) -> float:
    """While a far station is heard every slot."""
    log = folder / "decodes.log"
    with RealBroker(folder) as broker, ours(folder, broker) as (_, pids), log.open("ab", buffering=0) as file:
        before = usage_of(pids)
        for number in range(int(for_s / SLOT_S)):
            if number == WARM_SLOTS:
                before = usage_of(pids)
            call, square = SOUTH_WEST[number % len(SOUTH_WEST)]
            one = Heard(START_S + SLOT_S * number, f"CQ {call} {square}")
            file.write(f"{one.line()}\n".encode("ascii"))
            time.sleep(SLOT_S)
        os.sync()
        return between(before, usage_of(pids)).written_bytes_per_s * 86_400 / 1e6


# --- replay -----------------------------------------------------------------------------------------


def run_and_measure(command: Sequence[str], stdin: Path | None = None) -> tuple[float, float, float]:
    """Elapsed s, processor s, and peak MiB of a command."""
    began_s = time.monotonic()
    with ExitStack() as stack:
        given = stack.enter_context(stdin.open("rb")) if stdin else subprocess.DEVNULL
        process = subprocess.Popen(command, stdin=given, stdout=subprocess.DEVNULL)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, command
    return time.monotonic() - began_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def replays(folder: Path, lines: int) -> Iterator[tuple[str, float, float, float]]:
    """Name, elapsed s, processor s, peak MiB; a tenth of each log first, to see whether memory grows."""
    config, *logs = make(folder, lines)
    for log in logs:
        part = folder / f"{log.stem}-tenth.log"
        with log.open("rb") as whole, part.open("wb") as file:
            file.writelines(line for _, line in zip(range(lines // 10), whole, strict=False))
        for path, count in ((part, lines // 10), (log, lines)):
            command = [*SENTINEL, "replay", str(path), "--config", str(config), "--json"]
            yield (f"sentinel, {log.stem}, {count:,} lines", *run_and_measure(command))
        yield (f"awk, {log.stem}, {lines:,} lines", *run_and_measure(["awk", COUNT_CALLS, str(log)]))


# --- the table --------------------------------------------------------------------------------------


def show(what: str, value: float, compared: dict[str, float]) -> None:
    """One figure beside its bar, and ours as a multiple of theirs."""
    bar = BARS.get(what)
    limit = "" if bar is None else f"bar {bar:g}"
    beside = "   ".join(
        f"{name} {theirs:.3g} ({value / theirs:.1f}x)" if theirs > 0 else f"{name} 0"
        for name, theirs in compared.items()
    )
    print(f"{what:<30} {value:>9.3g}   {limit:<8}  {beside}", flush=True)


def show_rest(folder: Path, given: argparse.Namespace) -> None:
    rows = at_rest(folder, given.rest_s)
    own = rows.pop("sentinel")
    for what, pick in PICKS.items():
        show(what, pick(own), {name: pick(row) for name, row in rows.items()})


PICKS: dict[str, Callable[[AtRest], float]] = {
    "resident, MiB": lambda row: row.resident_mib,
    "wake-ups a second": lambda row: row.wakes_per_s,
    "processor, %": lambda row: row.cpu_percent,
}


def show_latency(folder: Path, given: argparse.Namespace) -> None:
    ours_ms, theirs_ms = latencies_ms(folder), pipeline_latencies_ms(folder)
    for share, name in ((0.5, "median"), (0.99, "p99")):
        theirs = {"tail | awk": percentile(theirs_ms, share)}
        show(f"line to MQTT, {name}, ms", percentile(ours_ms, share), theirs)


def show_start(folder: Path, given: argparse.Namespace) -> None:
    found = starts_s(folder)
    show("start to first verdict, s", percentile(found, 0.5), {})
    show(f"  the slowest of {STARTS}, s", max(found), {})


def show_written(folder: Path, given: argparse.Namespace) -> None:
    show("written, MB a day", written_mb_a_day(folder, given.written_s), {})


def show_replay(folder: Path, given: argparse.Namespace) -> None:
    logs = given.logs or folder
    for name, elapsed_s, cpu_s, peak_mib in replays(logs, given.lines):
        print(f"replay: {name:<38} {elapsed_s:7.1f} s, processor {cpu_s:7.1f} s, peak {peak_mib:5.0f} MiB")
    print(f"{'':<30} bar {BARS['replay of a million lines, s']:g} s, and a peak that does not grow")


PARTS = {
    "rest": show_rest,
    "latency": show_latency,
    "start": show_start,
    "written": show_written,
    "replay": show_replay,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rest-s", type=float, default=300.0)
    parser.add_argument("--written-s", type=float, default=1200.0)
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--logs", type=Path, help="where the long logs are kept, or to be made")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    given = parser.parse_args()
    # as installed: pip compiles; without bytecode every start would compile, and keep what that takes
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    compileall.compile_dir(Path(sentinel.__file__).parent, quiet=1)
    print(this_machine())
    for part in given.only:
        with tempfile.TemporaryDirectory() as folder:
            PARTS[part](Path(folder), given)


if __name__ == "__main__":
    main()
