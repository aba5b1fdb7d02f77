"""The daemon, a decoder, a broker and a subscriber, each on its own and joined only as in a shack."""

import json
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import maidenhead
import pytest
from broker import RealBroker
from nights import BEYOND_4000_KM, HOME, LOCAL, SOUTH_WEST, calling, seconds
from PIL import Image
from pyproj import Geod
from running import PATIENCE_S, Subscriber, daemon, decoder, eventually

from sentinel.outputs.wire import schemas

START_S = seconds("2026-06-14T20:00:00")
MINUTE = 60.0


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[RealBroker]:
    with RealBroker(tmp_path) as running:
        yield running


def at(minutes: float) -> float:
    return START_S + MINUTE * minutes


def seen_from_home(square: str) -> tuple[float, float]:
    """Azimuth in degrees and distance in km between the centres, by pyproj."""
    (lat, lon), (far_lat, far_lon) = (maidenhead.to_location(text, center=True) for text in (HOME, square))
    azimuth, _, metres = Geod(ellps="WGS84").inv(lon, lat, far_lon, far_lat)
    return azimuth % 360.0, metres / 1000.0


def test_a_subscriber_follows_the_band_through_quiet_stirring_open_and_quiet(
    tmp_path: Path, broker: RealBroker
) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with daemon(tmp_path, broker.port) as running, decoder(log) as band, Subscriber(broker) as subscriber:
        subscriber.wait_for_state("quiet", running.log)
        band.hears(calling(LOCAL, START_S, at(10)))
        band.hears([*calling(LOCAL, at(10), at(12)), *calling(SOUTH_WEST[0], at(10), at(11))])
        stirring = subscriber.wait_for_state("stirring", running.log)
        band.hears([*calling(LOCAL, at(12), at(20))])
        subscriber.wait_for_state("quiet", running.log)
        band.hears(one for station in SOUTH_WEST for one in calling(station, at(20), at(25)))
        opened = subscriber.wait_for_state("open", running.log)
        band.hears(calling(LOCAL, at(25), at(60)))
        closed = subscriber.wait_for_state("quiet", running.log)
        eventually(lambda: "opening-ended" in subscriber.events(), "the end of the opening", running.log)
        events = subscriber.messages("/6m/event")
        (topic,) = {topic for topic, _ in subscriber.payloads() if topic.endswith("/6m/state")}
        with Subscriber(broker) as late:
            kept = late.wait_for(topic)
        picture = eventually(lambda: next(running.state.glob("panel.png"), None), "the picture", running.log)
        with Image.open(picture) as image:
            assert image.size == (250, 122)

    told = subscriber.states()
    in_order = iter(told)
    assert all(state in in_order for state in ("quiet", "stirring", "open", "quiet"))
    assert (told.count("open"), told[-1], "blind" in told) == (1, "quiet", False)
    for message in subscriber.messages("/6m/state"):
        jsonschema.Draft202012Validator(schemas()["state"]).validate(message)
    for message in events:
        jsonschema.Draft202012Validator(schemas()["event"]).validate(message)
    assert [kind for kind in subscriber.events() if kind != "notable"] == ["opening-began", "opening-ended"]
    assert kept.retain
    assert json.loads(kept.payload)["state"] == "quiet"

    bearing_deg, distance_km = seen_from_home(SOUTH_WEST[0][1])
    (heading,) = stirring["headings"]
    assert heading["bearing_deg"] == pytest.approx(bearing_deg, abs=0.051)
    assert heading["nearest_km"] == heading["farthest_km"] == round(distance_km)
    places = {station[1]: seen_from_home(station[1]) for station in SOUTH_WEST}
    (heading,) = opened["headings"]
    assert heading["nearest_km"] in {round(km) for _, km in places.values()}
    assert heading["farthest_km"] in {round(km) for _, km in places.values()}
    assert (
        min(deg for deg, _ in places.values()) < heading["bearing_deg"] < max(d for d, _ in places.values())
    )
    (ended,) = [event["opening"] for event in events if event["event_type"] == "opening-ended"]
    assert ended["nearest_km"] == round(min(km for _, km in places.values()))
    assert ended["farthest_km"] == round(max(km for _, km in places.values()))
    assert closed["far_stations"] == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_daemon_well_and_leaves_offline_behind(
    number: int, tmp_path: Path, broker: RealBroker
) -> None:
    (tmp_path / "decodes.log").write_text(
        "".join(one.line() + "\n" for one in calling(LOCAL, START_S, at(5))), "ascii"
    )
    with Subscriber(broker) as subscriber, daemon(tmp_path, broker.port) as running:
        subscriber.wait_for_state("quiet", running.log)
        assert subscriber.status()[0] == b"online"
        running.stop(number)
        with Subscriber(broker) as late:
            eventually(late.status, "a retained status")
            assert late.status() == [b"offline"]
    assert "Traceback" not in running.log.read_text("utf-8")


def test_a_daemon_that_is_killed_has_left_its_will_with_the_broker(
    tmp_path: Path, broker: RealBroker
) -> None:
    (tmp_path / "decodes.log").touch()
    with daemon(tmp_path, broker.port) as running:
        running.says("connected to")
        broker.wait_for_log("Will message specified (7 bytes) (r1, q1).")  # "offline", retained
        running.process.kill()
        running.process.wait(PATIENCE_S)
    node = (running.state / "node-id").read_text("ascii").strip()
    assert f"sentinel/v1/{node}/status" in broker.wait_for_log("\tsentinel/v1/")


def test_a_broker_that_comes_late_gets_the_state_that_holds(tmp_path: Path, broker: RealBroker) -> None:
    broker.stop()
    log = tmp_path / "decodes.log"
    log.touch()
    with daemon(tmp_path, broker.port) as running, decoder(log) as band:
        running.says("quiet: ")
        band.hears([*calling(LOCAL, START_S, at(10)), *calling(BEYOND_4000_KM, at(5), at(10))])
        running.says("open: ")
        broker.start()
        with Subscriber(broker) as subscriber:
            told = subscriber.wait_for_state("open", running.log)
            assert subscriber.states() == ["open"]
            assert told["headings"][0]["nearest_km"] == round(seen_from_home(BEYOND_4000_KM[1])[1])


def test_no_line_is_lost_over_a_late_file_a_rename_a_truncation_and_half_a_line(
    tmp_path: Path, broker: RealBroker
) -> None:
    """The station beyond 4,000 km opens the band with its third line, each behind another accident."""
    log = tmp_path / "decodes.log"
    far = [one.line() + "\n" for one in calling(BEYOND_4000_KM, at(5), at(6.5))]
    assert len(far) == 3
    with Subscriber(broker) as subscriber, daemon(tmp_path, broker.port) as running:
        running.says("is not there; waiting for it")
        blind = subscriber.wait_for_state("blind", running.log)
        assert blind["blind_reason"] == "source-gone"
        assert blind["far_stations"] is None
        with decoder(log) as band:
            band.hears(calling(LOCAL, START_S, at(5)))
            subscriber.wait_for_state("quiet", running.log)
            band.write(far[0])
        log.rename(tmp_path / "decodes.log.1")
        with decoder(log) as band:
            band.write(far[1])
            subscriber.wait_for_state("stirring", running.log)
            os.truncate(log, 0)
            band.write(far[2][:30])
            band.write(far[2][30:])
            subscriber.wait_for_state("open", running.log)
    assert "Traceback" not in running.log.read_text("utf-8")


def test_the_daemon_runs_without_a_broker(tmp_path: Path) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with daemon(tmp_path, None) as running, decoder(log) as band:
        running.says("quiet: ")
        band.hears([*calling(LOCAL, START_S, at(10)), *calling(BEYOND_4000_KM, at(5), at(10))])
        running.says("open: ")
        eventually(lambda: (running.state / "panel.png").is_file(), "the picture", running.log)
        running.stop(signal.SIGTERM)


def test_a_state_directory_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("in the way", "ascii")
    (tmp_path / "decodes.log").touch()
    with daemon(tmp_path, None) as running:
        assert running.process.wait(PATIENCE_S) == 1
    said = running.log.read_text("utf-8")
    assert "STATE_DIRECTORY" in said
    assert said.count("\n") == 1
