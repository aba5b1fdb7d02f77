"""The home broker: what is published when, what the hub is told of the node, and the commands that come."""

import logging
import secrets
import time
from collections.abc import Callable, Sequence

from sentinel import __version__
from sentinel.config import Config
from sentinel.output import News
from sentinel.outputs.broker_link import BrokerLink, Received, Subscription
from sentinel.outputs.discovery import HUB_BIRTH, discovery_message, removal_message
from sentinel.outputs.mqtt_commands import Command, CommandGate
from sentinel.outputs.mqtt_messages import (
    Topics,
    command_result_message,
    status_message,
    will_message,
)
from sentinel.outputs.publisher import Publisher
from sentinel.outputs.wire import NodeHealth, command_result_payload
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.wiring import broker_settings

log = logging.getLogger("sentinel.mqtt")


class BrokerOutput:
    """The link and the timing of what goes over it.

    ``run_in_loop`` takes from the link's thread what is to be done in the main loop; ``carry_out`` says
    whether a command was carried out, with a sentence for who sent it.
    """

    def __init__(
        self,
        config: Config,
        node: str,
        carry_out: Callable[[Command], tuple[bool, str]],
        run_in_loop: Callable[[Callable[[float], None]], None],
    ) -> None:
        section = config.mqtt
        assert section is not None, "only made with [mqtt]"
        self._topics = Topics(node)
        self._carry_out = carry_out
        self._started_s = time.monotonic()
        self._gate = CommandGate()
        self._parts: tuple[tuple[str, bool | None], ...] = ()
        self._bands = config.band.names
        self._bulletins: dict[str, Bulletin] = {}
        self._link = BrokerLink(
            broker_settings(config, node),
            birth=status_message(self._topics, is_online=True),
            will=will_message(self._topics),
            subscriptions=(Subscription(self._topics.command),),
            on_received=lambda received: run_in_loop(lambda _now_s: self._obey(received)),
            hub_birth=HUB_BIRTH if section.discovery else None,
        )
        self._publisher = Publisher(self._topics, secrets.token_hex(4), self._link.publish, time.time)
        if section.discovery:
            self._link.publish(discovery_message(self._topics, config.band.names, __version__))
        else:
            self._link.publish(removal_message(self._topics))
        self._link.start()

    def take(self, news: News) -> None:
        """The main band's news comes after that of the others, and carries what is published of the node."""
        band, is_main = news.bulletin.band, news.bulletin.band == self._bands[0]
        self._bulletins[band] = news.bulletin
        parts = tuple((part.name, part.is_well) for part in news.bulletin.parts)
        if is_main and parts != self._parts:  # what has failed, or works again, need not wait for its minute
            self._parts = parts
            self._publisher.resend()
        if news.has_changed or news.changes:
            self._publisher.changed(band, news.changes, news.bulletin, news.now_s)
        if is_main:
            known = [self._bulletins[each] for each in self._bands if each in self._bulletins]
            self._publisher.time_passed(news.now_s, known, lambda: self._health(news))

    def _health(self, news: News) -> NodeHealth:
        return NodeHealth(
            version=__version__,
            uptime_s=time.monotonic() - self._started_s,
            parts=news.bulletin.parts,
            is_muted=news.is_muted,
            dropped_events=self._link.health().dropped_events,
        )

    def _obey(self, received: Received) -> None:
        """Carry out what came on the command topic, if it is a command; answer it in any case."""
        found = self._gate.receive(received.payload, received.is_retained)
        if not isinstance(found, Command):
            self._answer(found.id, found.command, False, found.reason)
            return
        is_done, message = self._carry_out(found)
        self._answer(found.id, found.name.value, is_done, message)
        self._publisher.resend()  # what the hub shows may have changed

    def _answer(self, id: str | None, name: str | None, is_done: bool, message: str) -> None:
        log.info("command %a: %s", name, ascii(message)[1:-1])
        payload = command_result_payload(id, name, is_done, message, self._publisher.envelope())
        self._link.publish(command_result_message(self._topics, payload))

    def parts(self) -> Sequence[Part]:
        health = self._link.health()
        return (Part("broker", health.is_connected, health.reason),)

    def wait_connected(self, timeout_s: float) -> bool:
        """True as soon as the broker has accepted us."""
        return self._link.wait_connected(timeout_s)

    def stop(self) -> None:
        self._link.stop()
