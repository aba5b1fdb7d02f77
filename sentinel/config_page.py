"""The table of the configuration for the status page: where it listens, and who may look."""

import ipaddress
from typing import Annotated

from pydantic import AfterValidator, Field

from sentinel.config_types import Port, Section, like

MOST_ENTRIES = 16


def _address(text: str) -> str:
    try:
        return str(ipaddress.ip_address(text.strip()))
    except ValueError:
        raise ValueError(
            'is no address; write "127.0.0.1" for this computer alone, or "0.0.0.0" for its networks'
        ) from None


def _network(text: str) -> str:
    try:
        return str(ipaddress.ip_network(text.strip()))
    except ValueError:
        raise ValueError('is no network; write it like "192.168.1.0/24"') from None


Address = Annotated[str, AfterValidator(_address)]
Network = Annotated[str, AfterValidator(_network)]
HostName = Annotated[
    str, like(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,61}[A-Za-z0-9])?", 'is no name of a computer; write "shack.lan"')
]


class PageSection(Section):
    """The status page. Without this table there is none.

    ``allow`` names the networks that may look; none named means those at home (private addresses).
    ``names`` are what the computer is called in a browser's address line, beside its addresses.
    """

    host: Address = "127.0.0.1"
    port: Port = 8506
    allow: tuple[Network, ...] = Field(default=(), max_length=MOST_ENTRIES, strict=False)
    names: tuple[HostName, ...] = Field(default=(), max_length=MOST_ENTRIES, strict=False)
