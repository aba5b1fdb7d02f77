"""A daemon that watches two bands by two receivers: each has topics, entities and a diary of its own."""

import json
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from broker import RealBroker
from nights import LAYOUT, LOCAL, SOUTH_WEST, Heard, calling, seconds
from running import Daemon, Decoder, Subscriber, daemon, decoder, eventually

from sentinel.config import parse
from sentinel.intake.line import LineBatch
from sentinel.outputs.diary_queries import OpeningFilter, openings, reading
from sentinel.outputs.diary_statistics import spans
from sentinel.sources import Sources

START_S = seconds("2026-06-14T18:00:00")
# 570, 597, 730, 792, 946 and 1,195 km to the west of home, by pyproj.
WEST = (
    ("K1QAB", "FN43"), ("W1QAA", "FN42"), ("N1QAC", "FN33"),
    ("W1QAD", "FN31"), ("K2QAE", "FN21"), ("N3QAF", "FM19"),
)  # fmt: skip
TWO_RECEIVERS = f"""\
band = "6m"
[[source]]
path = "ten.log"
layout = "{LAYOUT}"
band = "10m"
[band]
also = ["10m"]
"""


def at(minutes: float) -> float:
    return START_S + 60.0 * minutes


def west(since_min: float, until_min: float) -> Iterator[Heard]:
    for number, station in enumerate(WEST):
        yield from calling(station, at(since_min) + 15.0 * number, at(until_min))


class Shack:
    """A daemon, its two decoders, and who listens on the broker."""

    def __init__(self, running: Daemon, six: Decoder, ten: Decoder, listener: Subscriber) -> None:
        self.running, self.six, self.ten, self.listener = running, six, ten, listener

    def state(self, band: str, state: str) -> dict[str, Any]:
        def newest() -> dict[str, Any] | None:
            told = self.listener.messages(f"/{band}/state")
            return told[-1] if told and told[-1]["state"] == state else None

        return eventually(newest, f"{band} {state}", self.running.log)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[RealBroker]:
    with RealBroker(tmp_path) as running:
        yield running


@pytest.fixture
def shack(tmp_path: Path, broker: RealBroker) -> Iterator[Shack]:
    six, ten = tmp_path / "decodes.log", tmp_path / "ten.log"
    six.touch()
    ten.touch()
    with (
        Subscriber(broker, "#") as listener,
        daemon(tmp_path, broker.port, TWO_RECEIVERS) as running,
        decoder(six) as on_six,
        decoder(ten) as on_ten,
    ):
        yield Shack(running, on_six, on_ten, listener)


def test_short_skip_on_one_receiver_makes_the_other_band_stir_until_it_is_over(shack: Shack) -> None:
    shack.state("6m", "quiet")
    shack.state("10m", "quiet")
    shack.six.hears(calling(LOCAL, START_S, at(8)))
    shack.ten.hears(west(5, 8))
    assert shack.state("10m", "open")["openings"]
    raised = shack.state("6m", "stirring")
    assert raised["because"].startswith("28 MHz skip of 570 km: MUF about 58 MHz ")
    assert (raised["far_stations"], raised["headings"], raised["openings"]) == (0, [], [])
    assert {event["band"] for event in shack.listener.messages("/event")} == {"10m"}
    health = shack.listener.messages("/health")[-1]
    assert list(health["bands"]) == ["6m", "10m"]
    shack.six.hears(calling(SOUTH_WEST[0], at(8), at(9)))  # what is heard there says more
    eventually(
        lambda: "not an opening" in shack.listener.messages("/6m/state")[-1]["because"], "its own", None
    )
    shack.ten.hears(calling(LOCAL, at(8), at(25)))
    shack.six.hears(calling(LOCAL, at(9), at(25)))
    shack.state("10m", "quiet")
    shack.state("6m", "quiet")
    shack.running.stop(signal.SIGTERM)
    log = shack.running.log.read_text("utf-8")
    assert "Traceback" not in log
    assert "watching 6m, 10m from FN84ab" in log
    with reading(shack.running.state / "diary.sqlite") as diary:
        assert [row.opening.nearest_km for row in openings(diary, OpeningFilter(band="10m"))] == [570]
        assert openings(diary, OpeningFilter(band="6m")) == ()
        assert "stirring" in [span.state.value for span in spans(diary, "6m")]
        assert "open" in [span.state.value for span in spans(diary, "10m")]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_each_band_goes_on_after_a_restart_and_nothing_is_told_twice(
    tmp_path: Path, broker: RealBroker, shack: Shack, number: signal.Signals
) -> None:
    shack.state("6m", "quiet")
    shack.six.hears(calling(LOCAL, START_S, at(8)))
    shack.ten.hears(west(5, 8))
    before = shack.state("6m", "stirring")
    opened = shack.state("10m", "open")

    def is_kept() -> bool:
        with reading(shack.running.state / "diary.sqlite") as diary:
            kept = set(diary.execute("SELECT band, state FROM state_change"))
        return {("6m", "stirring"), ("10m", "open")} <= kept

    eventually(is_kept, "both states in the diary", shack.running.log)
    shack.running.process.send_signal(number)
    shack.running.process.wait(20)
    count = len(shack.listener.messages("/state"))
    with daemon(tmp_path, broker.port, TWO_RECEIVERS) as again:
        shack.ten.hears(west(8, 9))
        shack.six.hears(calling(LOCAL, at(8), at(9)))

        def later(band: str) -> list[dict[str, Any]]:
            told = shack.listener.messages("/state")[count:]
            return [each for each in told if each["band"] == band]

        eventually(lambda: later("6m") and later("10m"), "both bands", again.log)
        assert {each["state"] for each in later("10m")} == {"open"}
        assert later("10m")[-1]["openings"][0]["id"] == opened["openings"][0]["id"]
        assert {(each["state"], each["since"]) for each in later("6m")} == {("stirring", before["since"])}
        assert [event["event_type"] for event in shack.listener.messages("/event")] == ["opening-began"]
        again.stop(signal.SIGTERM)


def test_a_backlog_of_one_band_leaves_the_other_at_the_time_that_it_is(
    tmp_path: Path, broker: RealBroker
) -> None:
    log = "".join(one.line() + "\n" for one in calling(LOCAL, START_S, at(30)))
    (tmp_path / "decodes.log").write_text(log, "ascii")
    (tmp_path / "ten.log").touch()
    with Subscriber(broker) as listener, daemon(tmp_path, broker.port, TWO_RECEIVERS) as running:
        both = eventually(lambda: listener.messages("/10m/state"), "a verdict on 10 m", running.log)
        assert both[0]["state"] == "quiet"
        assert both[0]["since"] > "2026-06-14T18:30:00Z"
        eventually(lambda: listener.messages("/6m/state"), "a verdict on 6 m", running.log)
        running.stop(signal.SIGTERM)
    assert "Traceback" not in running.log.read_text("utf-8")


def test_the_hub_is_told_of_both_bands_and_a_mute_is_for_both(shack: Shack) -> None:
    shack.state("10m", "quiet")

    def described() -> dict[str, Any] | None:
        found = [
            json.loads(text) for topic, text in shack.listener.payloads() if topic.startswith("homeassistant")
        ]
        return found[-1] if found else None

    components = eventually(described, "a description", shack.running.log)["components"]
    assert {"6m_state", "6m_event", "10m_state", "10m_event"} <= set(components)
    assert components["10m_state"]["state_topic"].endswith("/10m/state")
    (node,) = {topic.split("/")[2] for topic, _ in shack.listener.payloads() if topic.endswith("/status")}
    shack.listener.publish(f"sentinel/v1/{node}/cmd", json.dumps({"command": "mute"}).encode())
    eventually(lambda: shack.listener.messages("/cmd/result"), "an answer", shack.running.log)
    shack.ten.hears(west(5, 8))
    shack.state("10m", "open")
    assert shack.listener.messages("/event") == []
    shack.listener.publish(f"sentinel/v1/{node}/cmd", json.dumps({"command": "unmute"}).encode())
    eventually(lambda: shack.listener.messages("/10m/event"), "the event that waited", shack.running.log)


def test_the_panel_of_the_main_band_is_drawn_anew_when_another_opens(shack: Shack) -> None:
    picture = shack.running.state / "panel.png"
    shack.state("6m", "quiet")
    shack.state("10m", "quiet")
    before = eventually(lambda: picture.is_file() and picture.read_bytes(), "a picture", shack.running.log)
    shack.ten.hears(one for number in (2, 3, 4, 5) for one in calling(WEST[number], at(5), at(8)))
    shack.state("10m", "open")
    eventually(lambda: picture.read_bytes() != before, "another picture", shack.running.log)
    assert {told["state"] for told in shack.listener.messages("/6m/state")} == {"quiet"}


def test_a_band_is_blind_only_when_none_of_its_sources_is_there(tmp_path: Path) -> None:
    table = {
        "station": {"locator": "FN84ab"},
        "band": {"also": ["10m"]},
        "source": [
            {"path": "six.log", "layout": LAYOUT, "band": "6m"},
            {"path": "ten.log", "layout": LAYOUT, "band": "10m"},
        ],
    }
    (tmp_path / "six.log").touch()
    sources = Sources(parse(table, tmp_path / "sentinel.toml"), {})
    sources.start(lambda _batch: None)
    try:
        eventually(lambda: sources.trouble("6m", 0.0) is None, "the file of 6 m")
        eventually(lambda: "ten.log" in (sources.trouble("10m", 0.0) or ""), "the lack of the other")
    finally:
        sources.stop()


def test_a_band_that_the_receiver_has_left_is_blind_after_a_while_and_not_quiet(tmp_path: Path) -> None:
    layout = LAYOUT.replace("{snr_db}", "{freq_mhz} {snr_db}")
    table = {
        "station": {"locator": "FN84ab"},
        "band": {"also": ["10m"]},
        "source": [{"path": "rig.log", "name": "rig", "layout": layout, "one_band_at_a_time": True}],
    }
    log = tmp_path / "rig.log"
    log.touch()
    sources = Sources(parse(table, tmp_path / "sentinel.toml"), {})
    sources.start(lambda _batch: None)

    def hears(mhz: float, now_s: float) -> None:
        (one,) = calling(LOCAL, START_S, START_S + 1)
        text = one.line().replace("Z ", f"Z {mhz} ", 1)
        assert len(list(sources.read(LineBatch("rig", (text,), is_live=True), None, now_s))) == 1

    try:
        eventually(lambda: sources.trouble("6m", 0.0) is None, "the file")
        hears(50.313, 0.0)
        hears(28.074, 100.0)
        hears(28.074, 700.0)
        assert sources.trouble("6m", 699.0) is None
        assert sources.trouble("6m", 820.0) == (
            "Nothing can be heard: source rig has been on 10m and not on 6m for 12 min."
        )
        assert sources.trouble("10m", 820.0) is None
        hears(14.074, 900.0)
        assert "on a band that is not watched and not on 10m for 10 min" in (
            sources.trouble("10m", 1500.0) or ""
        )
        hears(50.313, 1600.0)
        assert sources.trouble("6m", 9000.0) is None
    finally:
        sources.stop()
