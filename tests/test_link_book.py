"""The books of a link, without thread or socket: versions, back-off, acknowledgements, one sentence."""

import pytest

from sentinel.outputs.link_book import (
    MAX_DELAY_S,
    MAX_OUTSTANDING,
    SHORT_LIFE_S,
    SILENT_CLOSES_BEFORE_DOUBT,
    LinkBook,
    Patience,
    Protocol,
)
from sentinel.outputs.mqtt_messages import MqttMessage

PATIENCE = Patience(first_delay_s=2.0, answer_s=5.0, ack_s=60.0)


def connected_book() -> LinkBook:
    book = LinkBook(0, PATIENCE)
    book.open_session(0)
    book.opened(0)
    book.connected("broker:1883", 0)
    return book


def event(number: int) -> MqttMessage:
    return MqttMessage("event", b"%d" % number, 1, False, None)


def publish_one(book: LinkBook, mid: int, now_s: float = 0) -> bytes:
    held = book.take(now_s)
    assert held is not None
    book.sent(mid, held, now_s)
    return held.message.payload


def test_a_new_link_opens_a_session_of_mqtt_5_at_once() -> None:
    book = LinkBook(100, PATIENCE)
    assert book.is_session_due(100)
    assert book.protocol is Protocol.V5
    book.open_session(100)
    assert not book.is_session_due(1e9)
    assert book.next_deadline_s() is None


def test_nothing_is_sent_before_the_broker_has_accepted_us() -> None:
    book = LinkBook(0, PATIENCE)
    book.outbox.put(event(1), 0)
    assert book.take(0) is None
    assert not book.can_take


def fail_by_refusal(book: LinkBook, now_s: float) -> None:
    book.refused(132, "wrong version", now_s)
    book.closed("lost", now_s)


def fail_by_closing(book: LinkBook, now_s: float) -> None:
    book.closed("lost", now_s)


@pytest.mark.parametrize("fail", [fail_by_refusal, fail_by_closing])
def test_a_broker_that_refuses_mqtt_5_or_closes_on_it_is_tried_with_3_1_1_at_once(fail: object) -> None:
    book = LinkBook(0, PATIENCE)
    book.open_session(0)
    book.opened(0)
    fail(book, 1)  # type: ignore[operator]
    assert (book.protocol, book.is_session_due(1)) == (Protocol.V311, True)


def test_a_broker_that_does_not_answer_is_tried_with_3_1_1_after_a_while() -> None:
    book = LinkBook(0, PATIENCE)
    book.open_session(0)
    book.opened(10)
    assert book.next_deadline_s() == 15
    assert not book.is_session_due(14.9)
    assert book.is_session_due(15)
    book.open_session(15)
    assert book.protocol is Protocol.V311
    assert book.health(15).reason.startswith("the broker does not answer")


def test_an_answer_ends_the_waiting_for_one() -> None:
    book = connected_book()
    assert book.next_deadline_s() is None
    assert not book.is_session_due(1e9)


def test_a_refusal_for_another_reason_keeps_the_version_and_leaves_retrying_to_the_session() -> None:
    book = LinkBook(0, PATIENCE)
    book.open_session(0)
    book.opened(0)
    book.refused(134, "bad password", 1)
    book.closed("lost", 1)
    assert book.protocol is Protocol.V5
    assert not book.is_session_due(1e9)
    assert book.health(3).reason == "bad password"
    assert book.health(3).lasting_s == 2


def test_sessions_that_fail_follow_each_other_ever_more_slowly() -> None:
    book = LinkBook(0, PATIENCE)
    now_s, delays = 0.0, []
    for _ in range(10):
        book.open_session(now_s)
        book.closed("lost", now_s)
        due_s = book.next_deadline_s()
        assert due_s is not None
        delays.append(due_s - now_s)
        now_s = due_s
    assert delays[:5] == [0, 2, 4, 8, 16]
    assert delays[-1] == MAX_DELAY_S


def test_a_version_that_has_worked_is_not_given_up_at_the_first_silent_close() -> None:
    book = connected_book()
    book.closed("lost", 10)
    for _ in range(SILENT_CLOSES_BEFORE_DOUBT - 1):
        book.opened(11)
        book.closed("lost", 11)
        assert book.protocol is Protocol.V5
    book.closed("lost", 12)
    assert book.protocol is Protocol.V311


def test_connections_that_never_last_are_made_ever_more_seldom() -> None:
    book = connected_book()
    delays, reasons, now_s = [], [], 0.0
    for lasting_s in (1, 1, 1, SHORT_LIFE_S, 1):
        book.closed("lost", now_s + lasting_s)
        delays.append(book.reconnect_delay_s)
        reasons.append("another client" in book.health(now_s).reason)
        now_s += lasting_s
        book.connected("broker:1883", now_s)
    assert delays == [4, 8, 16, 2, 4]
    assert reasons == [False, False, True, False, False]


def test_a_wrong_password_is_tried_ever_more_seldom() -> None:
    book = LinkBook(0, PATIENCE)
    book.open_session(0)
    delays = []
    for now_s in range(4):
        book.opened(now_s)
        book.refused(134, "bad password", now_s)
        book.closed("lost", now_s)
        delays.append(book.reconnect_delay_s)
    assert delays == [4, 8, 16, 32]


def test_so_many_messages_are_out_and_no_more() -> None:
    book = connected_book()
    for i in range(MAX_OUTSTANDING + 1):
        book.outbox.put(event(i), 0)
    for i in range(MAX_OUTSTANDING):
        publish_one(book, i)
    assert book.take(0) is None
    book.acknowledged(3, 0)
    assert publish_one(book, 99) == b"%d" % MAX_OUTSTANDING


def test_a_missing_acknowledgement_makes_a_new_session_that_sends_the_events_again_in_order() -> None:
    book = connected_book()
    for i in range(3):
        book.outbox.put(event(i), 0)
        publish_one(book, i, now_s=i)
    book.acknowledged(1, 0)
    assert book.next_deadline_s() == 60
    assert not book.is_session_due(59.9)
    assert book.is_session_due(60)
    book.open_session(60)
    assert "stopped acknowledging" in book.health(60).reason
    book.connected("broker:1883", 61)
    assert [publish_one(book, 10), publish_one(book, 11)] == [b"0", b"2"]
    assert book.take(61) is None


def test_a_reconnection_within_a_session_does_not_send_events_twice() -> None:
    book = connected_book()
    book.outbox.put(event(1), 0)
    publish_one(book, 1)
    book.closed("lost", 5)
    assert book.next_deadline_s() is None, "while disconnected no acknowledgement can come"
    book.connected("broker:1883", 100)
    assert book.take(100) is None
    assert book.next_deadline_s() == 160


def test_a_hub_that_started_gets_everything_again_twice() -> None:
    book = connected_book()
    book.outbox.put(MqttMessage("state", b"x", 0, True, None), 0)
    assert publish_one(book, 1) == b"x"
    assert book.take(0) is None
    book.hub_was_born(100, jitter=0.5)
    assert book.next_deadline_s() == 101
    assert book.take(100.9) is None
    assert book.is_resend_due(101)
    assert publish_one(book, 2, now_s=101) == b"x"
    assert book.take(104.9) is None
    assert publish_one(book, 3, now_s=105) == b"x"
    assert book.take(1e9) is None
    assert book.next_deadline_s() is None


def test_an_acknowledgement_that_overtakes_the_publishing_call_counts() -> None:
    book = connected_book()
    book.outbox.put(event(1), 0)
    held = book.take(0)
    assert held is not None
    assert book.acknowledged(7, 0) is None
    assert book.sent(7, held, 0) is None
    assert book.next_deadline_s() is None


@pytest.mark.parametrize("is_early", [True, False])
def test_a_forbidden_topic_is_news_once(is_early: bool) -> None:
    book = connected_book()
    news = []
    for mid in (1, 2):
        book.outbox.put(event(mid), 0)
        held = book.take(0)
        assert held is not None
        if is_early:
            assert book.acknowledged(mid, 135) is None
            news.append(book.sent(mid, held, 0))
        else:
            book.sent(mid, held, 0)
            news.append(book.acknowledged(mid, 135))
    assert news == ["event", None]


def test_health_says_since_when() -> None:
    book = connected_book()
    assert (book.health(9).is_connected, book.health(9).lasting_s) == (True, 9)
    assert book.health(9).reason == "connected to broker:1883 by MQTT 5"
    book.closed("lost broker:1883", 20)
    book.unreachable("nothing listens", 25)
    book.unreachable("nothing listens", 30)
    assert (book.health(31).reason, book.health(31).lasting_s) == ("nothing listens", 6)
