"""The published formats as JSON Schema (draft 2020-12), for ``sentinel schema``."""

from collections.abc import Mapping

from sentinel.outputs import payloads, replay_records
from sentinel.outputs.mqtt_commands import CommandPayload
from sentinel.outputs.shapes import Payload
from sentinel.outputs.values import JsonObject

DIALECT = "https://json-schema.org/draft/2020-12/schema"

FORMATS: Mapping[str, type[Payload]] = {
    "state": payloads.StatePayload,
    "stations": payloads.StationsPayload,
    "health": payloads.HealthPayload,
    "event": payloads.EventPayload,
    "net-summary": payloads.NetSummaryPayload,
    "command-result": payloads.CommandResultPayload,
    "replay-state": replay_records.StateRecord,
    "replay-opening": replay_records.OpeningRecord,
    "replay-notable": replay_records.NotableRecord,
    "replay-summary": replay_records.SummaryRecord,
}


def schemas() -> dict[str, JsonObject]:
    """The schema of every published format and of the commands, by name; every field is described."""
    published = {name: model.model_json_schema(mode="serialization") for name, model in FORMATS.items()}
    received = {"command": CommandPayload.model_json_schema(mode="validation")}
    return {name: {"$schema": DIALECT, **schema} for name, schema in {**published, **received}.items()}
