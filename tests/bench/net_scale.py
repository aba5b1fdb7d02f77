"""What 2,000 and 10,000 neighbours on one broker cost a node: what its neighbourhood does, not the world.

    python tests/bench/net_scale.py
    python tests/bench/net_scale.py --seconds 30 --worlds none europe

A real broker on loopback and one real daemon; the other nodes are summaries, published by one client. Every
node speaks every minute (``--every``), five times as often as a real one at rest. Bounded: one world at a
time, ``--seconds`` each after its nodes have spoken once.

none             no neighbours: what the daemon costs alone
europe           2,000 nodes over 24 by 20 squares, 36 to 60 N, 10 W to 30 E
dense europe     10,000 nodes over the same: five times as many around each
five europes     10,000 nodes at the first density over five such areas side by side

messages a node  received a minute by 20 listeners in random squares, mean and most; in the daemon's square
known            nodes within reach that the daemon counts (200 at most); some words are refused as too many
                 within 30 s, since here every node has spoken shortly before the measuring begins
CPU, MiB         of the daemon, and of the broker, which carries the world; per cent of one core, resident
"""

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1]))

from broker import RealBroker
from wire_samples import open_bulletin, quiet_bulletin

from sentinel.outputs import mqtt_messages as m
from sentinel.outputs import wire
from sentinel.outputs.net import net_filters
from sentinel.outputs.values import iso_z
from sentinel.trade.locator import locator_of, square_of

REACH_KM = 300.0
HOME = "JN58td"  # in the middle
LISTENERS = 20
PATIENCE_S = 60.0
TICKS = os.sysconf("SC_CLK_TCK")
SOUTH_DEG, NORTH_DEG, WEST_DEG, WIDTH_DEG = 36, 60, -10, 40
BAND = "6m"


@dataclass(frozen=True)
class World:
    """So many nodes over so many areas of the size of Europe."""

    nodes: int
    areas: int

    def places(self, rng: random.Random) -> list[str]:
        """A square for each node."""
        return [
            locator_of(
                rng.uniform(SOUTH_DEG, NORTH_DEG),
                (WEST_DEG + rng.uniform(0, WIDTH_DEG * self.areas) + 180) % 360 - 180,
                4,
            )
            for _ in range(self.nodes)
        ]


WORLDS = {
    "none": World(0, 1),
    "europe": World(2_000, 1),
    "dense europe": World(10_000, 1),
    "five europes": World(10_000, 5),
}


@dataclass
class Node:
    """A summary that is published again and again."""

    topic: str
    payload: dict[str, object]

    def speak(self, client: mqtt.Client) -> None:
        payload = json.dumps({**self.payload, "t": iso_z(time.time())}, separators=(",", ":"))
        client.publish(self.topic, payload, 0, retain=True)


@dataclass
class Cost:
    """CPU seconds and resident bytes of a process."""

    cpu_s: float
    resident: int

    @staticmethod
    def of(pid: int) -> "Cost":
        fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
        resident = int(fields[21]) * os.sysconf("SC_PAGE_SIZE")
        return Cost((int(fields[11]) + int(fields[12])) / TICKS, resident)  # proc(5): utime, stime, rss


@dataclass
class Counter:
    """A client that counts what a node in its square would receive."""

    square: str
    port: int
    count: int = 0
    client: mqtt.Client = field(init=False)

    def __post_init__(self) -> None:
        self.client = connect(self.port)
        self.client.on_message = self._count
        filters = net_filters(BAND, self.square, REACH_KM)
        self.client.subscribe([(each, 0) for each in filters])

    def _count(self, *_message: object) -> None:
        self.count += 1


def connect(port: int) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.max_queued_messages_set(100_000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def leave(client: mqtt.Client) -> None:
    client.disconnect()
    client.loop_stop()


def config(port: int) -> str:
    user = "user root\n" if os.geteuid() == 0 else ""
    return (
        f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_type information\nlog_type error\n"
        f"max_queued_messages 0\npersistence false\n{user}"
    )


@contextmanager
def daemon(folder: Path, port: int) -> Iterator[int]:
    """``sentinel run`` among the neighbours; its process id."""
    (folder / "decodes.log").touch()
    (folder / "sentinel.toml").write_text(
        f'[station]\nlocator = "{HOME}"\n'
        f'[[source]]\npath = "decodes.log"\nlayout = "{{utc:epoch}} {{message}}"\n'
        f"[mqtt]\nport = {port}\n[neighbours]\nport = {port}\nreach_km = {REACH_KM:g}\n",
        "utf-8",
    )
    with (folder / "daemon.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "sentinel", "run", "--config", str(folder / "sentinel.toml")],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env={**os.environ, "STATE_DIRECTORY": str(folder / "state")},
        )
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def known_nodes(port: int) -> str:
    """What the daemon says of its neighbours on the home broker."""
    notes: list[str] = []
    client = connect(port)

    def note(_client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        parts = {part["name"]: part["note"] for part in json.loads(message.payload)["parts"]}
        notes.append(parts.get("neighbours", ""))

    client.on_message = note
    client.subscribe("sentinel/v1/+/health", 0)
    deadline_s = time.monotonic() + PATIENCE_S
    while not notes and time.monotonic() < deadline_s:
        time.sleep(0.05)
    leave(client)
    return notes[-1] if notes else "unknown"


def population(world: World, rng: random.Random) -> list[Node]:
    """The world's nodes; for one in ten the band is open."""
    nodes = []
    for number, square in enumerate(world.places(rng)):
        bulletin = open_bulletin() if number % 10 == 0 else quiet_bulletin()
        message = m.net_message(
            m.Topics(f"node{number:05d}"), bulletin, square, wire.Envelope(time.time(), "b00t", 1)
        )
        nodes.append(Node(message.topic, json.loads(message.payload)))
    rng.shuffle(nodes)
    return nodes


def speak_for(client: mqtt.Client, nodes: Sequence[Node], every_s: float, for_s: float) -> int:
    """Let the nodes speak one after the other, each once in ``every_s``; returns how many words that were."""
    start_s = time.monotonic()
    spoken = 0
    while (passed_s := time.monotonic() - start_s) < for_s:
        while spoken < passed_s * len(nodes) / every_s:
            nodes[spoken % len(nodes)].speak(client)
            spoken += 1
        time.sleep(0.01)
    return spoken


def run(name: str, every_s: float, for_s: float, seed: int) -> str:
    """One world; its row of the table."""
    rng = random.Random(seed)
    world = WORLDS[name]
    nodes = population(world, rng)
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        broker = stack.enter_context(RealBroker(Path(folder), config=config))
        assert broker._process is not None
        speaker = connect(broker.port)
        speak_for(speaker, nodes, 10.0, 10.0)  # each once: the broker keeps it
        pid = stack.enter_context(daemon(Path(folder), broker.port))
        squares = [square_of(HOME), *rng.sample(world.places(rng), min(LISTENERS, world.nodes))]
        counters = [Counter(square, broker.port) for square in squares]
        speak_for(speaker, nodes, every_s, 8.0)  # what was kept has come, the daemon has settled
        for counter in counters:
            counter.count = 0
        before, broker_before = Cost.of(pid), Cost.of(broker._process.pid)
        spoken = speak_for(speaker, nodes, every_s, for_s)
        after, broker_after = Cost.of(pid), Cost.of(broker._process.pid)
        counts = [60.0 * counter.count / for_s for counter in counters]
        note = known_nodes(broker.port)
        for client in (speaker, *(counter.client for counter in counters)):
            leave(client)
    own, others = counts[0], counts[1:] or [0.0]
    return (
        f"| {name} | {world.nodes:,} | {spoken / for_s:.0f} | {sum(others) / len(others):.0f}, "
        f"{max(others):.0f}; {own:.0f} | {note.partition(', ')[2]} "
        f"| {100 * (after.cpu_s - before.cpu_s) / for_s:.2f} | {after.resident / 2**20:.1f} "
        f"| {100 * (broker_after.cpu_s - broker_before.cpu_s) / for_s:.1f} "
        f"| {broker_after.resident / 2**20:.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=60.0, help="how long each world is measured")
    parser.add_argument("--every", type=float, default=60.0, help="how often each node speaks, seconds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--worlds", nargs="+", choices=sorted(WORLDS), default=list(WORLDS))
    options = parser.parse_args()
    print(
        "| world | nodes | words/s | messages/min a node: mean, most; daemon | known to the daemon ", end=""
    )
    print("| daemon CPU % | MiB | broker CPU % | MiB |")
    print("|---" * 9 + "|")
    for name in options.worlds:
        print(run(name, options.every, options.seconds, options.seed), flush=True)


if __name__ == "__main__":
    main()
