"""What waits for the broker: the latest value of a topic, a bounded queue of events, nothing stale."""

from hypothesis import given, settings
from hypothesis import strategies as st

from sentinel.outputs.mqtt_messages import MqttMessage
from sentinel.outputs.outbox import MAX_EVENTS, MAX_TOPICS, Outbox, as_sent


def value(topic: str, payload: bytes, expiry_s: int | None = None) -> MqttMessage:
    return MqttMessage(topic, payload, 1, True, expiry_s)


def event(payload: bytes, expiry_s: int | None = 600) -> MqttMessage:
    return MqttMessage("event", payload, 1, False, expiry_s)


def taken(outbox: Outbox, now_s: float) -> list[bytes]:
    payloads = []
    while (held := outbox.take(now_s)) is not None:
        payloads.append(held.message.payload)
    return payloads


def test_only_the_latest_value_of_a_topic_is_sent() -> None:
    outbox = Outbox()
    outbox.put(value("a", b"1"), 0)
    outbox.put(value("b", b"2"), 1)
    outbox.put(value("a", b"3"), 2)
    assert taken(outbox, 3) == [b"3", b"2"]
    assert not outbox


def test_a_new_connection_gets_every_value_again_in_the_first_order() -> None:
    outbox = Outbox()
    for topic in ("first", "second", "third"):
        outbox.put(value(topic, topic.encode()), 0)
    taken(outbox, 0)
    outbox.put(value("first", b"again"), 1)
    outbox.resend_all()
    assert taken(outbox, 2) == [b"again", b"second", b"third"]


def test_again_means_status_first_then_the_hubs_description_then_the_states() -> None:
    outbox = Outbox()
    topics = ["sentinel/v1/n/6m/state", "homeassistant/device/sentinel_n/config", "sentinel/v1/n/status"]
    for topic in topics:
        outbox.put(value(topic, topic.encode()), 0)
    outbox.resend_all()
    assert taken(outbox, 1) == [topic.encode() for topic in (topics[2], topics[1], topics[0])]


def test_every_event_is_sent_once_and_in_order() -> None:
    outbox = Outbox()
    for payload in (b"1", b"2", b"3"):
        outbox.put(event(payload), 0)
    outbox.resend_all()
    assert taken(outbox, 1) == [b"1", b"2", b"3"]


def test_the_oldest_events_are_dropped_and_counted() -> None:
    outbox = Outbox()
    for i in range(MAX_EVENTS + 7):
        outbox.put(event(b"%d" % i), 0)
    assert taken(outbox, 1) == [b"%d" % i for i in range(7, MAX_EVENTS + 7)]
    assert outbox.dropped_events == 7


def test_what_has_expired_is_not_sent_and_an_expired_event_counts_as_dropped() -> None:
    outbox = Outbox()
    outbox.put(value("state", b"old", 180), 0)
    outbox.put(event(b"old", 600), 0)
    assert taken(outbox, 600) == []
    assert outbox.dropped_events == 1
    outbox.resend_all()
    assert taken(outbox, 600) == []


def test_the_time_spent_waiting_is_taken_from_the_expiry() -> None:
    outbox = Outbox()
    outbox.put(value("state", b"x", 180), 100)
    held = outbox.take(159.5)
    assert held is not None
    assert as_sent(held, 159.5).expiry_s == 121
    assert as_sent(held, 279.9).expiry_s == 1


def test_an_event_that_came_back_goes_first_and_an_overtaken_value_stays_away() -> None:
    outbox = Outbox()
    outbox.put(event(b"1"), 0)
    outbox.put(value("a", b"old"), 0)
    held_value, held_event = outbox.take(0), outbox.take(0)
    assert held_value is not None
    assert held_event is not None
    outbox.put(event(b"2"), 1)
    outbox.put(value("a", b"new"), 1)
    outbox.put_back(held_event)
    outbox.put_back(held_value)
    assert taken(outbox, 2) == [b"new", b"1", b"2"]


@settings(deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.integers(0, 1000)), max_size=1500))
def test_it_never_holds_more_than_its_bounds_whatever_is_put_in(puts: list[tuple[bool, int]]) -> None:
    outbox = Outbox()
    latest: dict[str, bytes] = {}
    events = 0
    for i, (is_value, number) in enumerate(puts):
        payload = b"%d" % i
        if is_value:
            latest.pop(str(number), None)
            latest[str(number)] = payload
            outbox.put(value(str(number), payload), i)
        else:
            events += 1
            outbox.put(event(payload, None), i)
    out = taken(outbox, len(puts))
    assert sorted(out[: len(out) - min(events, MAX_EVENTS)]) == sorted(list(latest.values())[-MAX_TOPICS:])
    assert outbox.dropped_events == max(0, events - MAX_EVENTS)
