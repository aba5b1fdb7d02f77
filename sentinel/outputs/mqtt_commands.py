"""What arrives on the command topic: parsed, checked, and either a Command or a Refusal to be answered.

Commands come from a network, so each is bounded, typed and carried out once: a retained one is refused
(it would be carried out again at every connection), and so is an id that was seen already.
"""

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from sentinel.outputs.shapes import Band

# The longest command of ours has about 120 bytes.
MAX_COMMAND_BYTES = 1024
# Broker redeliveries come within seconds; a person does not send this many commands in an hour.
REMEMBERED_IDS = 256


class CommandName(StrEnum):
    """What can be asked of a node."""

    MUTE = "mute"
    UNMUTE = "unmute"
    ACKNOWLEDGE = "acknowledge"


class CommandPayload(BaseModel):
    """A command to a node. ``.../cmd``: publish at QoS 1, not retained, with an expiry of 30 s."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Annotated[str, Field(pattern=r"^[!-~]{1,64}$")] | None = Field(
        default=None, description="Anything unique: an id seen before is not carried out again"
    )
    command: CommandName = Field(
        description="mute or unmute notifications, or acknowledge the openings that live now"
    )
    minutes: int | None = Field(
        default=None, ge=1, le=10_080, strict=True, description="mute: for so many minutes; else until unmute"
    )
    band: Band | None = Field(default=None, description="acknowledge: only this band; else all")


@dataclass(frozen=True, slots=True)
class Command:
    """A command to carry out. ``minutes`` only goes with mute, ``band`` only with acknowledge."""

    id: str | None
    name: CommandName
    minutes: int | None = None
    band: str | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A command that is not carried out; ``reason`` is one sentence for who sent it."""

    id: str | None
    command: str | None
    reason: str


def parse_command(payload: bytes) -> Command | Refusal:
    """The command that ``payload`` holds, or why it is none. Never raises."""
    if len(payload) > MAX_COMMAND_BYTES:
        return Refusal(
            None, None, f"The command has {len(payload)} bytes; at most {MAX_COMMAND_BYTES} are read."
        )
    try:
        data = json.loads(payload)
    except (ValueError, RecursionError):
        return Refusal(None, None, 'The command is not JSON; write {"id": "1", "command": "mute"}.')
    if not isinstance(data, dict):
        return Refusal(None, None, 'The command is not a JSON object; write {"id": "1", "command": "mute"}.')
    try:
        parsed = CommandPayload.model_validate(data)
    except ValidationError as error:
        return Refusal(_short(data.get("id")), _short(data.get("command")), _first_fault(error))
    return _fitting(parsed)


class CommandGate:
    """Lets each command through once. Holds the last ``REMEMBERED_IDS`` ids; not thread-safe."""

    def __init__(self) -> None:
        self._seen: dict[str, None] = {}

    def receive(self, payload: bytes, is_retained: bool) -> Command | Refusal:
        """The command to carry out, or the refusal to answer with."""
        parsed = parse_command(payload)
        if isinstance(parsed, Refusal):
            return parsed
        if is_retained:
            return Refusal(
                parsed.id, parsed.name, "A retained command is not carried out; publish it without retain."
            )
        if parsed.id is None:
            return parsed
        if parsed.id in self._seen:
            return Refusal(parsed.id, parsed.name, "A command with this id was received already.")
        self._seen[parsed.id] = None
        if len(self._seen) > REMEMBERED_IDS:
            del self._seen[next(iter(self._seen))]
        return parsed


def _fitting(parsed: CommandPayload) -> Command | Refusal:
    if parsed.minutes is not None and parsed.command is not CommandName.MUTE:
        return Refusal(parsed.id, parsed.command, "minutes goes only with the command mute.")
    if parsed.band is not None and parsed.command is not CommandName.ACKNOWLEDGE:
        return Refusal(parsed.id, parsed.command, "band goes only with the command acknowledge.")
    return Command(parsed.id, parsed.command, parsed.minutes, parsed.band)


def _short(value: object) -> str | None:
    return value[:64] if isinstance(value, str) else None


def _first_fault(error: ValidationError) -> str:
    fault = error.errors(include_url=False, include_context=False)[0]
    key = ".".join(ascii(str(step)[:40])[1:-1] for step in fault["loc"])
    return f"{key}: {fault['msg'][:1].lower()}{fault['msg'][1:]}."
