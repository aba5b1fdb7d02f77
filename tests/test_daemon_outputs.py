"""The daemon's outputs as a whole: commands, discovery, glass, lamps, button, each well or said not to be."""

import json
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from broker import RealBroker
from nights import BEYOND_4000_KM, LOCAL, SOUTH_WEST, calling, seconds
from PIL import Image
from running import Subscriber, daemon, decoder, eventually

from sentinel.panel.farewell import farewell_picture

START_S = seconds("2026-06-14T20:00:00")


def at(minutes: float) -> float:
    return START_S + 60.0 * minutes


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[RealBroker]:
    with RealBroker(tmp_path) as running:
        yield running


class Listener(Subscriber):
    """Also sends commands, and knows the node's name."""

    def node(self) -> str:
        (node,) = {topic.split("/")[2] for topic, _ in self.payloads() if topic.endswith("/status")}
        return node

    def command(self, command: str, **more: Any) -> dict[str, Any]:
        """Ask something of the node; returns its answer."""
        id = f"{command}-{len(self.messages('/cmd/result'))}"
        payload = json.dumps({"id": id, "command": command, **more}).encode()
        self.publish(f"sentinel/v1/{self.node()}/cmd", payload)
        return eventually(lambda: self.answer(id), f"answer to {command}")

    def answer(self, id: str) -> dict[str, Any] | None:
        return next((each for each in self.messages("/cmd/result") if each["id"] == id), None)

    def newest(self, level: str, is_it: Callable[[dict[str, Any]], bool], what: str) -> dict[str, Any]:
        """The newest message of a level, once it is as asked for."""

        def look() -> dict[str, Any] | None:
            found = self.messages(level)
            return found[-1] if found and is_it(found[-1]) else None

        return eventually(look, what)


def parts_of(message: dict[str, Any]) -> dict[str, tuple[bool | None, str]]:
    return {part["name"]: (part["well"], part["note"]) for part in message["parts"]}


def opens(band: Any) -> None:
    band.hears([*calling(LOCAL, START_S, at(10)), *calling(BEYOND_4000_KM, at(5), at(10))])


def test_commands_mute_unmute_and_acknowledge_and_every_one_is_answered(
    tmp_path: Path, broker: RealBroker
) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with Listener(broker) as hub, daemon(tmp_path, broker.port) as running, decoder(log) as band:
        hub.wait_for_state("quiet", running.log)
        assert hub.command("acknowledge")["done"] is False
        assert hub.command("mute")["done"] is True
        hub.newest("/health", lambda health: health["muted"], "muted health")
        opens(band)
        hub.wait_for_state("open", running.log)
        assert hub.messages("/6m/event") == []
        assert hub.command("unmute")["done"] is True
        (began,) = eventually(lambda: hub.messages("/6m/event"), "the event that waited", running.log)
        assert began["event_type"] == "opening-began"
        assert hub.command("acknowledge", band="10m")["done"] is False
        assert hub.command("acknowledge", band="6m")["done"] is True
        hub.newest("/6m/state", lambda state: state["acknowledged"], "acknowledged state")
        hub.publish(f"sentinel/v1/{hub.node()}/cmd", b"nonsense")
        eventually(lambda: hub.answer(None), "an answer to nonsense")  # type: ignore[arg-type]
        band.hears(calling(LOCAL, at(10), at(40)))
        quiet = hub.wait_for_state("quiet", running.log)
        assert quiet["acknowledged"] is False
        running.stop(signal.SIGTERM)
    assert "Traceback" not in running.log.read_text("utf-8")


def test_mute_outlives_the_process(tmp_path: Path, broker: RealBroker) -> None:
    (tmp_path / "decodes.log").touch()
    with Listener(broker) as hub:
        with daemon(tmp_path, broker.port) as running:
            hub.wait_for_state("quiet", running.log)
            hub.command("mute")
            running.stop(signal.SIGTERM)
        before = len(hub.messages("/health"))
        with daemon(tmp_path, broker.port):
            eventually(lambda: len(hub.messages("/health")) > before, "health of the second start")
            assert hub.messages("/health")[-1]["muted"] is True


def test_the_hub_is_told_of_the_node_and_told_to_forget_it(tmp_path: Path, broker: RealBroker) -> None:
    (tmp_path / "decodes.log").touch()
    with Subscriber(broker, "homeassistant/#") as hub:
        with daemon(tmp_path, broker.port):
            topic, payload = eventually(hub.payloads, "a description")[0]
            assert topic.startswith("homeassistant/device/sentinel_")
            assert json.loads(payload)["device"]["name"] == "Sentinel"
            hub.publish("homeassistant/status", b"online")
            eventually(
                lambda: sum(found == (topic, payload) for found in hub.payloads()) >= 2, "it once more"
            )
        with daemon(tmp_path, broker.port, mqtt="discovery = false"):
            eventually(lambda: hub.payloads()[-1] == (topic, b""), "its removal")
    with Subscriber(broker, "homeassistant/device/#") as late:
        assert late.payloads() == []


PANEL = '[panel]\nsize = "296x128"\nglass = "simulated"\nfarewell = "off"\n'


def test_the_simulated_glass_shows_the_state_and_at_the_end_that_the_watch_is_off(
    tmp_path: Path, broker: RealBroker
) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with Listener(broker) as hub, daemon(tmp_path, broker.port, PANEL) as running, decoder(log) as band:
        glass = running.state / "glass.png"
        hub.newest("/health", lambda each: parts_of(each).get("display") == (True, ""), "a well display")
        assert size_of(glass) == (296, 128)
        before = glass.read_bytes()
        opens(band)
        hub.wait_for_state("open", running.log)
        eventually(lambda: glass.read_bytes() != before, "another picture on the glass", running.log)
        running.stop(signal.SIGTERM)
        now_s = time.time()
        last_words = [farewell_picture((296, 128), now_s - ago_s) for ago_s in (0.0, 60.0)]
        assert pixels(Image.open(glass)) in [pixels(picture) for picture in last_words]


def size_of(picture: Path) -> tuple[int, int]:
    with Image.open(picture) as image:
        return image.size


def pixels(picture: Image.Image) -> bytes:
    return picture.convert("1").tobytes()


OFF_A_PI = """
[panel]
glass = "ssd1680"
[lamps]
arrangement = "three"
buzzer = true
[button]
"""


def test_off_a_pi_display_lamps_buzzer_and_button_say_what_is_missing_and_the_watch_goes_on(
    tmp_path: Path, broker: RealBroker
) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    with Listener(broker) as hub, daemon(tmp_path, broker.port, OFF_A_PI) as running, decoder(log) as band:
        hub.wait_for_state("quiet", running.log)
        parts = parts_of(hub.newest("/health", lambda each: "lamps" in parts_of(each), "health"))
        for name in ("lamps", "buzzer", "button"):
            is_well, note = parts[name]
            assert is_well is False, name
            assert "GPIO" in note, note
        display = eventually(
            lambda: parts_of(hub.messages("/6m/state")[-1])["display"][1], "a display's note"
        )
        assert "spidev" in display
        opens(band)
        hub.wait_for_state("open", running.log)
        running.stop(signal.SIGTERM)
    assert "Traceback" not in running.log.read_text("utf-8")


def test_the_parts_that_the_panel_marks_bear_the_names_it_looks_for(
    tmp_path: Path, broker: RealBroker
) -> None:
    (tmp_path / "decodes.log").touch()
    with Listener(broker) as hub, daemon(tmp_path, broker.port, PANEL) as running:
        state = hub.wait_for_state("quiet", running.log)
        assert {"clock", "broker", "display", "diary"} <= parts_of(state).keys()


def test_a_diary_that_cannot_be_written_is_said_and_writing_resumes(
    tmp_path: Path, broker: RealBroker
) -> None:
    """The diary's place is taken by a folder, instead of a card that fails, until somebody mends it."""
    log = tmp_path / "decodes.log"
    log.touch()
    place = tmp_path / "diary.sqlite"
    place.mkdir()
    diary = '[diary]\npath = "diary.sqlite"\n'
    with Listener(broker) as hub, daemon(tmp_path, broker.port, diary) as running, decoder(log) as band:
        hub.wait_for_state("quiet", running.log)
        opens(band)
        hub.wait_for_state("open", running.log)
        state = hub.newest("/6m/state", lambda each: parts_of(each)["diary"][0] is False, "an unwell diary")
        assert str(place) in parts_of(state)["diary"][1]
        place.rmdir()
        running.stop(signal.SIGTERM)
    assert place.is_file()
    with daemon(tmp_path, broker.port, diary), Listener(broker) as hub:
        assert hub.wait_for_state("open", running.log)["openings"]


def test_a_decoder_that_has_gone_is_no_quiet_band(tmp_path: Path, broker: RealBroker) -> None:
    (tmp_path / "decodes.log").touch()
    process = '[receiver]\nprocess = "no-such-decoder"\n'
    with Listener(broker) as hub, daemon(tmp_path, broker.port, process) as running:
        blind = hub.wait_for_state("blind", running.log)
        assert blind["blind_reason"] == "decoder-gone"
        assert parts_of(blind)["decoder"][0] is False


def test_what_is_not_in_the_operators_log_yet_is_told(tmp_path: Path, broker: RealBroker) -> None:
    log = tmp_path / "decodes.log"
    log.touch()
    (tmp_path / "log.adi").write_text("<CALL:6>SV1QAB<BAND:2>6m<GRIDSQUARE:4>KM17<EOR>", "ascii")
    adif = '[log]\nadif = "log.adi"\n'
    with Listener(broker) as hub, daemon(tmp_path, broker.port, adif) as running, decoder(log) as band:
        hub.newest("/health", lambda each: parts_of(each)["log"][0] is True, "a log that was read")
        band.hears(one for station in SOUTH_WEST for one in calling(station, at(20), at(28)))
        hub.newest("/6m/event", lambda each: each["event_type"] == "notable", "a country that was not worked")
        assert "not in the log yet" in hub.messages("/6m/event")[-1]["sentence"]
        running.stop(signal.SIGTERM)
