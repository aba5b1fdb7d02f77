"""What is published: it validates against its own schema, says units and null, and reads back."""

import json
import unicodedata
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire_samples import (
    NOON_S,
    any_bulletin,
    blind_bulletin,
    crowded_bulletin,
    hostile_text,
    notable,
    open_bulletin,
    opening,
    quiet_bulletin,
)

from sentinel.errors import ConfigError
from sentinel.outputs import wire
from sentinel.outputs.hygiene import MAX_TEXT, clean_call, clean_text
from sentinel.outputs.values import from_iso_z, iso_z, rounded_bearing_deg, to_json
from sentinel.watch.bulletin import Bulletin, Part, State

ENVELOPE = wire.Envelope(t_s=NOON_S + 0.9, boot="b00t", seq=7)
SCHEMAS = wire.schemas()
RECEIVED = {"command"}  # what others publish to us: test_mqtt_messages.py


def node_health() -> wire.NodeHealth:
    return wire.NodeHealth("0.1.0", 3600.5, (Part("broker", True), Part("display", False, "does not answer")))


EXAMPLES = {
    "open state": ("state", wire.bulletin_payload(open_bulletin(), ENVELOPE)),
    "open state with stations": ("state", wire.bulletin_payload(open_bulletin(), ENVELOPE, True)),
    "quiet state": ("state", wire.bulletin_payload(quiet_bulletin(), ENVELOPE)),
    "blind state": ("state", wire.bulletin_payload(blind_bulletin(), ENVELOPE)),
    "crowded state": ("state", wire.bulletin_payload(crowded_bulletin(), ENVELOPE)),
    "stations": ("stations", wire.stations_payload(open_bulletin(), ENVELOPE, limit=2)),
    "stations when blind": ("stations", wire.stations_payload(blind_bulletin(), ENVELOPE, limit=2)),
    "health": ("health", wire.health_payload(node_health(), [open_bulletin()], ENVELOPE)),
    "opening event": ("event", wire.opening_event_payload("6m", "began", opening(), NOON_S, ENVELOPE)),
    "ended event": ("event", wire.opening_event_payload("6m", "ended", opening(), NOON_S, ENVELOPE)),
    "notable event": ("event", wire.notable_event_payload("6m", notable(), ENVELOPE)),
    "net summary": ("net-summary", wire.net_summary_payload(open_bulletin(), "FN84", ENVELOPE)),
    "blind net summary": ("net-summary", wire.net_summary_payload(blind_bulletin(), "FN84", ENVELOPE)),
    "result": ("command-result", wire.command_result_payload("a1", "mute", True, "Muted.", ENVELOPE)),
    "refusal": ("command-result", wire.command_result_payload(None, None, False, "No JSON.", ENVELOPE)),
    "state record": ("replay-state", wire.state_record(open_bulletin())),
    "first state record": ("replay-state", wire.state_record(quiet_bulletin())),
    "blind state record": ("replay-state", wire.state_record(blind_bulletin())),
    "began record": ("replay-opening", wire.opening_record("began", opening(), NOON_S)),
    "ended record": ("replay-opening", wire.opening_record("ended", opening(), NOON_S)),
    "notable record": ("replay-notable", wire.notable_record(notable())),
    "state record of a band": ("replay-state", wire.state_record(open_bulletin(), "10m")),
    "began record of a band": ("replay-opening", wire.opening_record("began", opening(), NOON_S, "10m")),
    "notable record of a band": ("replay-notable", wire.notable_record(notable(), "10m")),
    "summary record": (
        "replay-summary",
        wire.summary_record(lines=9, decodes=7, rejected=2, far_stations=3),
    ),
}
# A record tells its band only where several are watched.
OPTIONAL = {f"replay-{kind}": {"band"} for kind in ("state", "opening", "notable")}


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_published_example_validates_against_its_schema(example: str) -> None:
    name, payload = EXAMPLES[example]
    decoded = json.loads(to_json(payload))
    validator = jsonschema.Draft202012Validator(
        SCHEMAS[name], format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    assert [e.message for e in validator.iter_errors(decoded)] == []


def test_every_published_format_has_an_example() -> None:
    assert {name for name, _ in EXAMPLES.values()} == set(SCHEMAS) - RECEIVED


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_schema_is_valid_and_describes_every_field(name: str) -> None:
    schema = SCHEMAS[name]
    jsonschema.Draft202012Validator.check_schema(schema)
    for model in [schema, *schema.get("$defs", {}).values()]:
        for field, definition in model.get("properties", {}).items():
            assert definition.get("description"), f"{name}: {field}"
        if "properties" in model and name not in RECEIVED:
            always = set(model["properties"]) - OPTIONAL.get(name, set())
            assert set(model["required"]) == always, "every other field is always written"


@pytest.mark.parametrize("name", sorted(set(SCHEMAS) - RECEIVED))
def test_a_schema_refuses_a_message_that_lacks_a_field(name: str) -> None:
    payload = next(json.loads(to_json(p)) for n, p in EXAMPLES.values() if n == name)
    for field in list(payload):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({k: v for k, v in payload.items() if k != field}, SCHEMAS[name])


def test_the_state_record_has_the_documented_fields_in_their_order() -> None:
    assert to_json(wire.state_record(open_bulletin())) == (
        '{"kind":"state","at":"2025-06-21T12:00:00Z","state":"open","previous":"stirring",'
        '"because":"5 far stations in 14 minutes towards 95 degrees.","far_stations":5,'
        '"headings":[{"bearing_deg":95.2,"spread_deg":11.0,"stations":5,"nearest_km":812,'
        '"farthest_km":1950,"mode":"sporadic-e"}]}'
    )


def test_the_opening_record_has_the_documented_fields_in_their_order() -> None:
    assert to_json(wire.opening_record("began", opening(), NOON_S)) == (
        '{"kind":"opening","phase":"began","at":"2025-06-21T12:00:00Z","id":"6m-20250621-1140-095",'
        '"began_at":"2025-06-21T11:40:00Z","bearing_deg":95.2,"stations":5,"nearest_km":812,'
        '"farthest_km":1950,"mode":"sporadic-e","muf_mhz":79.9}'
    )


def test_an_opening_that_ended_counts_the_stations_it_had_in_all() -> None:
    assert wire.opening_record("ended", opening(), NOON_S)["stations"] == 9


def test_the_other_records_have_the_documented_fields_in_their_order() -> None:
    assert list(wire.notable_record(notable())) == ["kind", "at", "what", "station"]
    assert to_json(wire.summary_record(lines=9, decodes=7, rejected=2, far_stations=3)) == (
        '{"kind":"summary","lines":9,"decodes":7,"rejected":2,"far_stations":3}'
    )


@pytest.mark.parametrize("bulletin", [open_bulletin(), quiet_bulletin(), blind_bulletin()])
def test_the_state_message_and_the_replay_say_the_same(bulletin: Bulletin) -> None:
    message, record = wire.bulletin_payload(bulletin, ENVELOPE), wire.state_record(bulletin)
    assert {k: message[k] for k in record if k != "kind"} == {k: v for k, v in record.items() if k != "kind"}


def test_a_blind_bulletin_publishes_no_measurement() -> None:
    careless = replace(open_bulletin(), state=State.BLIND, far_stations=3)
    message = wire.bulletin_payload(careless, ENVELOPE)
    assert (message["far_stations"], message["mode"]) == (None, None)
    assert (message["headings"], message["openings"]) == ([], [])
    assert wire.state_record(careless)["far_stations"] is None


def test_health_names_the_first_problem_and_a_blind_band_is_one() -> None:
    well = wire.NodeHealth("0.1.0", 1.0, (Part("broker", True), Part("display", None)))
    assert wire.health_payload(node_health(), [], ENVELOPE)["problem"] == "display: does not answer"
    assert wire.health_payload(well, [open_bulletin()], ENVELOPE)["well"] is True
    blind = wire.health_payload(well, [blind_bulletin()], ENVELOPE)
    assert (blind["well"], blind["problem"]) == (False, blind_bulletin().because)


def test_the_station_list_shows_the_last_heard_first_and_counts_what_it_omits() -> None:
    payload = wire.stations_payload(open_bulletin(), ENVELOPE, limit=2)
    assert [s["call"] for s in payload["stations"]] == ["G4QXX", "DL5QAB"]
    assert (payload["far_stations"], payload["omitted"]) == (5, 1)


def test_a_crowded_state_message_stays_under_what_home_assistant_records() -> None:
    """Over 16,384 bytes its recorder drops attributes (homeassistant 2024.3.3, recorder/db_schema.py)."""
    assert len(to_json(wire.bulletin_payload(crowded_bulletin(), ENVELOPE))) < 16_384


def test_of_too_many_openings_those_that_live_are_told_first() -> None:
    past = [replace(opening(f"past-{i}"), ended_at_s=NOON_S, last_at_s=NOON_S - 100 + i) for i in range(20)]
    bulletin = replace(open_bulletin(), openings=(*past, opening("living")))
    told = [o["id"] for o in wire.bulletin_payload(bulletin, ENVELOPE)["openings"]]
    assert told == ["living", "past-19", "past-18", "past-17", "past-16", "past-15"]


def test_decoder_age_is_counted_to_the_moment_of_publishing() -> None:
    assert wire.bulletin_payload(open_bulletin(), ENVELOPE)["receiver"]["decoder_age_s"] == 15
    assert wire.bulletin_payload(quiet_bulletin(), ENVELOPE)["receiver"]["decoder_age_s"] is None


@settings(deadline=None)
@given(any_bulletin())
def test_any_bulletin_becomes_clean_ascii_json_that_its_schema_accepts(bulletin: Bulletin) -> None:
    text = to_json(wire.bulletin_payload(bulletin, ENVELOPE, with_stations=True))
    assert text.isascii()
    decoded = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))
    jsonschema.Draft202012Validator(SCHEMAS["state"]).validate(decoded)
    for string in strings_in(decoded):
        assert not any(unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"} for c in string)


def strings_in(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [s for child in children for s in strings_in(child)]


@settings(deadline=None)
@given(any_bulletin())
def test_publishing_what_was_read_back_changes_nothing(bulletin: Bulletin) -> None:
    once = wire.bulletin_payload(bulletin, ENVELOPE, with_stations=True)
    again = wire.bulletin_payload(wire.bulletin_from_payload(once), ENVELOPE, with_stations=True)
    assert again == once


@pytest.mark.parametrize("bulletin", [open_bulletin(), crowded_bulletin(30)])
def test_a_full_bulletin_survives_the_way_there_and_back(bulletin: Bulletin) -> None:
    once = wire.bulletin_payload(bulletin, ENVELOPE, with_stations=True)
    read = wire.bulletin_from_payload(json.loads(to_json(once)))
    assert wire.bulletin_payload(read, ENVELOPE, with_stations=True) == once
    assert [s.call for s in read.stations] == [s.call for s in bulletin.stations]


def test_a_replay_record_is_read_as_a_bulletin() -> None:
    read = wire.bulletin_from_payload(wire.state_record(open_bulletin()))
    assert (read.state, read.far_stations, read.at_s) == (State.OPEN, 5, NOON_S)
    assert read.headings[0].farthest_km == 1950


def test_fields_that_a_later_version_added_are_ignored() -> None:
    payload = {**wire.bulletin_payload(open_bulletin(), ENVELOPE), "aurora_glow": 3}
    assert wire.bulletin_from_payload(payload).state is State.OPEN


def with_heading(**changes: object) -> dict[str, object]:
    record = wire.state_record(open_bulletin())
    return {**record, "headings": [{**record["headings"][0], **changes}]}


@pytest.mark.parametrize(
    ("data", "named"),
    [
        ([], "JSON object"),
        ({}, "at"),
        ({**wire.state_record(open_bulletin()), "state": "ajar"}, "state = 'ajar'"),
        ({**wire.state_record(open_bulletin()), "at": "2025-06-31T12:00:00Z"}, "at = '2025-06-31T12:00:00Z'"),
        ({**wire.state_record(open_bulletin()), "at": "yesterday"}, "at = 'yesterday'"),
        ({**wire.state_record(open_bulletin()), "far_stations": None}, "far_stations"),
        ({**wire.state_record(open_bulletin()), "far_stations": -1}, "far_stations = -1"),
        ({**wire.state_record(open_bulletin()), "v": 2}, "v = 2"),
        (with_heading(bearing_deg=360.0), "headings.0.bearing_deg = 360.0"),
        (with_heading(bearing_deg=float("nan")), "headings.0.bearing_deg = nan"),
        (with_heading(mode="telepathy"), "headings.0.mode"),
    ],
)
def test_what_does_not_fit_is_named_with_its_file_key_and_value(data: object, named: str) -> None:
    with pytest.raises(ConfigError) as caught:
        wire.bulletin_from_payload(data, "panel.json")
    sentence = str(caught.value)
    assert sentence.startswith("panel.json: ")
    assert named in sentence
    assert "\n" not in sentence


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | hostile_text,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(hostile_text, inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None)
@given(st.sampled_from(sorted(EXAMPLES)), st.data())
def test_a_damaged_payload_is_read_or_refused_with_the_one_error(example: str, data: st.DataObject) -> None:
    payload = dict(EXAMPLES[example][1])
    payload[data.draw(st.sampled_from(sorted(payload)))] = data.draw(json_values)
    try:
        wire.bulletin_from_payload(payload)
    except ConfigError as error:
        assert str(error).isprintable()


@settings(deadline=None)
@given(st.floats(0, 2.5e11))
def test_times_are_whole_utc_seconds_and_read_back(at_s: float) -> None:
    assert from_iso_z(iso_z(at_s)) == at_s // 1


def test_times_are_written_as_documented() -> None:
    assert iso_z(0) == "1970-01-01T00:00:00Z"
    assert iso_z(NOON_S + 0.999) == "2025-06-21T12:00:00Z"
    assert iso_z(-1) == "1969-12-31T23:59:59Z"


@settings(deadline=None)
@given(st.floats(0, 360, exclude_max=True))
def test_a_rounded_bearing_stays_below_360(bearing_deg: float) -> None:
    assert 0 <= rounded_bearing_deg(bearing_deg) < 360


def test_north_is_never_written_as_360() -> None:
    assert rounded_bearing_deg(359.97) == 0.0


@settings(deadline=None)
@given(hostile_text)
def test_cleaned_text_is_printable_short_and_stays_as_it_is(text: str) -> None:
    cleaned = clean_text(text)
    assert len(cleaned) <= MAX_TEXT
    assert clean_text(cleaned) == cleaned
    assert cleaned.encode("utf-8").decode("utf-8") == cleaned


def test_escapes_and_direction_overrides_are_taken_out() -> None:
    assert clean_text("CQ \x1b[2J\u202eDL5QAB\x00\u2028") == "CQ [2J DL5QAB"
    assert clean_call("dl5qab/P\u202e<script>") == "DL5QAB/PSCRIPT"


def test_nan_is_refused_by_the_last_gate() -> None:
    with pytest.raises(ValueError, match="JSON"):
        to_json({"x": float("nan")})
