"""What twenty open pages cost: processor time of the daemon's side, and the bytes that go out.

    python tests/bench/page_clients.py [--clients 20] [--seconds 120]

The page runs in a process of its own and is told a bulletin every 5 s, as the daemon does, with something new
in it every 15 s, the slot of FT8, while the band is open with 60 stations: the dearest hour there is. The
clients are another process; each listens to the events, fetches the panel's picture and asks the diary as the
scripts of the page do, all of them at once when they begin. What that first rush takes is told apart, so that
a shorter time than an hour tells what an hour costs; figures are printed, not judged.
"""

import argparse
import asyncio
import multiprocessing
import sys
import tempfile
import time
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import page_samples

from sentinel.outputs.page import PageSettings, StatusPage
from sentinel.panel.samples import NOON_S, samples
from sentinel.watch.bulletin import Bulletin

TOLD_EVERY_S, NEWS_EVERY_S = 5.0, 15.0
STATIONS = 60
EVERY_S = {"/panel.png": 60.0, "/day.json": 300.0, "/openings.json?days=30": 300.0, "/months.json": 900.0}
RUSH_S = TOLD_EVERY_S
"""After so long every page stands."""


def bulletin_at(seconds: float) -> Bulletin:
    """The band as it stands so long after the beginning."""
    base = samples()["open"]
    slot = int(seconds // NEWS_EVERY_S)
    stations = tuple(
        replace(
            base.stations[n % 5],
            call=f"W{n % 10}Q{chr(65 + n // 10)}A",
            last_at_s=NOON_S + slot * NEWS_EVERY_S,
        )
        for n in range(STATIONS)
    )
    return replace(base, at_s=NOON_S + seconds, far_stations=STATIONS, stations=stations)


def serve(told: Connection, diary: Path, seconds: float) -> None:
    """The page's process: tells where it listens, and at the end what it took."""
    page = StatusPage(PageSettings(diary, port=0), page_samples.furnishings())
    page.start()
    page.put(bulletin_at(0))
    told.send(page.wait_listening(10))
    told.recv()
    began_s, before_s, rush_s = time.monotonic(), time.process_time(), 0.0
    while (gone_s := time.monotonic() - began_s) < seconds:
        time.sleep(TOLD_EVERY_S)
        page.put(bulletin_at(gone_s))
        if not rush_s:
            rush_s = time.process_time() - before_s
    busy_s = time.process_time() - before_s - rush_s
    told.send((rush_s, busy_s, time.monotonic() - began_s - RUSH_S))
    page.stop()


async def listen(address: tuple[str, int], until_s: float) -> int:
    """One page's events; returns the bytes."""
    reader, writer = await asyncio.open_connection(*address)
    writer.write(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
    received = 0
    while (left_s := until_s - time.monotonic()) > 0:
        try:
            received += len(await asyncio.wait_for(reader.read(1 << 16), left_s))
        except TimeoutError:
            break
    writer.close()
    return received


async def question(address: tuple[str, int], path: str) -> int:
    """One answer's bytes."""
    reader, writer = await asyncio.open_connection(*address)
    writer.write(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
    answer = await reader.read()
    writer.close()
    return len(answer)


async def look(address: tuple[str, int], until_s: float) -> int:
    """One open page; returns the bytes it has had."""
    events = asyncio.create_task(listen(address, until_s))
    received, due_s = 0, dict.fromkeys(EVERY_S, 0.0)
    while (now_s := time.monotonic()) < until_s:
        for path in [path for path, at_s in due_s.items() if at_s <= now_s]:
            received += await question(address, path)
            due_s[path] = now_s + EVERY_S[path]
        await asyncio.sleep(min(*due_s.values(), until_s) - now_s)
    return received + await events


async def look_all(address: tuple[str, int], clients: int, seconds: float) -> list[int]:
    until_s = time.monotonic() + seconds
    return await asyncio.gather(*(look(address, until_s) for _ in range(clients)))


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    arguments.add_argument("--clients", type=int, default=20)
    arguments.add_argument("--seconds", type=float, default=120.0)
    options = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        diary = Path(folder) / "diary.sqlite"
        page_samples.write_diary(diary)
        for clients in (0, options.clients):
            here, there = multiprocessing.Pipe()
            page = multiprocessing.get_context("spawn").Process(
                target=serve, args=(there, diary, options.seconds)
            )
            page.start()
            address = here.recv()
            here.send("begin")
            received = asyncio.run(look_all(address, clients, options.seconds)) if clients else []
            rush_s, busy_s, took_s = here.recv()
            page.join()
            an_hour = 100 * (rush_s + busy_s / took_s * 3600) / 3600
            print(
                f"{clients:>3} clients: {1000 * rush_s:.0f} ms of processor time at the beginning, then "
                f"{100 * busy_s / took_s:.3f} % for {took_s:.0f} s; an hour {an_hour:.3f} %; "
                f"{sum(received) / 1e6:.1f} MB sent"
            )


if __name__ == "__main__":
    main()
