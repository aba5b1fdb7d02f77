"""The status page over HTTP: a real server on loopback, a real diary, and visitors of every kind."""

import contextlib
import hashlib
import http.client
import json
import re
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from ipaddress import ip_network
from itertools import pairwise
from pathlib import Path
from typing import Any

import page_samples
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st
from wire_samples import any_bulletin, crowded_bulletin

from sentinel.commands.check import findings
from sentinel.config import parse
from sentinel.errors import ConfigError
from sentinel.output import News
from sentinel.outputs import page, page_app, page_server, page_stream
from sentinel.outputs.diary_queries import openings, reading
from sentinel.outputs.diary_spans import DAY_S
from sentinel.outputs.page import PageSettings, StatusPage
from sentinel.outputs.page_guard import HEADERS, Visitors
from sentinel.outputs.page_mailbox import Mailbox, Told
from sentinel.outputs.page_record import read_question
from sentinel.outputs.page_view import bulletin_view
from sentinel.outputs.values import from_iso_z, to_json
from sentinel.page_output import PageOutput
from sentinel.panel.samples import NOON_S, samples
from sentinel.sky.circular import angle_between_deg
from sentinel.trade.locator import center_of
from sentinel.watch.bulletin import Bulletin, Mode, OtherBand, State

PATIENCE_S = 10.0
ADDRESSES = (
    *("/", "/about.json", "/coasts.json", "/day.json", "/openings.json", "/months.json", "/panel.png"),
    *("/assets/page.css", "/assets/main.js", "/assets/sign-open.svg", "/assets/BebasNeue-Bold.otf"),
)


@pytest.fixture(scope="module")
def diary(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "diary.sqlite"
    page_samples.write_diary(path)
    return path


@contextlib.contextmanager
def running(
    diary: Path, bulletin: Bulletin | None = None, bands: tuple[str, ...] = ("6m",), **settings: Any
) -> Iterator[StatusPage]:
    shown = StatusPage(PageSettings(diary, port=0, **settings), page_samples.furnishings(bands))
    shown.start()
    try:
        assert shown.wait_listening(PATIENCE_S) is not None
        if bulletin is not None:
            shown.put(bulletin)
        yield shown
    finally:
        assert shown.stop()


@pytest.fixture(scope="module")
def served(diary: Path) -> Iterator[StatusPage]:
    with running(diary, samples()["open"]) as shown:
        yield shown


def connection_to(shown: StatusPage) -> http.client.HTTPConnection:
    address = shown.wait_listening(PATIENCE_S)
    assert address is not None
    return http.client.HTTPConnection(*address, timeout=PATIENCE_S)


def ask(
    shown: StatusPage, path: str, method: str = "GET", **headers: str
) -> tuple[int, dict[str, str], bytes]:
    with contextlib.closing(connection_to(shown)) as connection:
        connection.request(method, path, headers=headers)
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()


def ask_json(shown: StatusPage, path: str) -> Any:
    status, _, body = ask(shown, path)
    assert status == 200, body
    return json.loads(body)


class Listener:
    """One that listens to the events."""

    def __init__(self, shown: StatusPage, path: str = "/events") -> None:
        self._connection = connection_to(shown)
        self._connection.request("GET", path)
        self.answer = self._connection.getresponse()

    def event(self) -> tuple[str, Any] | None:
        """Kind and data of the next event; None when the stream has ended."""
        kind = ""
        while line := self.answer.readline():
            name, _, value = line.decode().rstrip("\n").partition(": ")
            if name == "event":
                kind = value
            elif name == "data":
                return kind, json.loads(value)
        return None

    def next(self, kind: str) -> Any:
        """The data of the next event of a kind."""
        while (found := self.event()) is not None:
            if found[0] == kind:
                return found[1]
        raise AssertionError("the stream has ended")

    def close(self) -> None:
        self._connection.close()


Listen = Callable[..., Listener]


@pytest.fixture
def listen() -> Iterator[Listen]:
    """Listeners that hang up when the test is over."""
    with contextlib.ExitStack() as stack:

        def begin(shown: StatusPage, path: str = "/events") -> Listener:
            listener = Listener(shown, path)
            stack.callback(listener.close)
            return listener

        yield begin


@pytest.fixture(autouse=True)
def breathless(monkeypatch: pytest.MonkeyPatch) -> None:
    """No pause between two bulletins: tests do not wait for time's sake."""
    monkeypatch.setattr(page_stream, "BREATH_S", 0.0)


# --- what is served --------------------------------------------------------------------------------------


def test_the_page_and_everything_it_names_are_served(served: StatusPage) -> None:
    status, headers, body = ask(served, "/")
    assert status == 200
    assert headers["content-type"] == "text/html; charset=utf-8"
    wanted, seen = set(re.findall(r'(?:href|src)="([^"#]+)"', body.decode())), set()
    while wanted:
        name = wanted.pop()
        seen.add(name)
        status, headers, body = ask(served, f"/{name}")
        assert status == 200, name
        if name.endswith(".js"):
            assert headers["content-type"].startswith("text/javascript")
            wanted |= {f"assets/{found}" for found in re.findall(r'from "\./(.+?)"', body.decode())} - seen
        elif name.endswith(".css"):
            wanted |= {f"assets/{found}" for found in re.findall(r'url\("(.+?)"\)', body.decode())} - seen
    assert {"assets/main.js", "assets/live.js", "assets/page.css", "assets/B612-Regular.otf"} <= seen


def test_an_unchanged_file_is_not_sent_twice(served: StatusPage) -> None:
    _, headers, body = ask(served, "/assets/page.css")
    assert body
    status, _, body = ask(served, "/assets/page.css", **{"If-None-Match": headers["etag"]})
    assert (status, body) == (304, b"")


@pytest.mark.parametrize(
    "path", ["/assets/nothing.js", "/assets/../page.py", "/assets/%2e%2e%2fpage.py", "/etc/passwd", "//x"]
)
def test_nothing_else_is_served(served: StatusPage, path: str) -> None:
    assert ask(served, path)[0] == 404


def test_the_panel_s_picture_is_the_one_that_the_panel_draws(served: StatusPage) -> None:
    assert ask(served, "/panel.png")[2] == page_samples.panel_png(samples()["open"])


def test_coasts_lie_where_they_do_around_the_station(served: StatusPage) -> None:
    """Cape Race in Newfoundland, 46.66 N 53.07 W (from memory): by PROJ's azimuthal equidistant view on the
    ellipsoid a corner of the coast, generalised to 1:110 million, lies within 60 km of it."""
    path = ask_json(served, "/coasts.json")["path"]
    points = [(int(x), int(y)) for x, y in re.findall(r"[ML](-?\d+) (-?\d+)", path)]
    middle = center_of(page_samples.HOME)
    view = pyproj.Proj(proj="aeqd", lat_0=middle.lat_deg, lon_0=middle.lon_deg, ellps="WGS84")
    east_m, north_m = view(-53.07, 46.66)
    assert min((x - east_m / 1000) ** 2 + (y + north_m / 1000) ** 2 for x, y in points) < 60**2
    assert all(x * x + y * y <= 20_040**2 for x, y in points)


# --- the policy ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [*ADDRESSES, "/nothing", "/day.json?band=2m", "/openings.json?mode=x"])
def test_every_answer_carries_the_strict_policy(served: StatusPage, path: str) -> None:
    for method in ("GET", "HEAD", "POST"):
        _, headers, _ = ask(served, path, method)
        assert {name: headers.get(name) for name in HEADERS} == HEADERS


def test_the_policy_lets_no_text_become_script_or_style() -> None:
    """Content Security Policy Level 3: what is not named falls back to default-src."""
    parts = [part.split() for part in HEADERS["content-security-policy"].split("; ")]
    policy = {name: values for name, *values in parts}
    assert policy["default-src"] == ["'none'"]
    for name in ("script-src", "style-src", "img-src", "font-src", "connect-src"):
        assert policy[name] == ["'self'"], name
    assert policy["base-uri"] == policy["frame-ancestors"] == ["'none'"]
    assert policy["require-trusted-types-for"] == ["'script'"]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
@pytest.mark.parametrize("path", [*ADDRESSES, "/events"])
def test_the_page_can_only_be_read(served: StatusPage, method: str, path: str) -> None:
    status, headers, _ = ask(served, path, method)
    assert (status, headers["allow"]) == (405, "GET, HEAD")


@pytest.mark.parametrize("path", [*ADDRESSES, "/events"])
def test_a_head_request_gets_the_head_alone(served: StatusPage, path: str) -> None:
    status, _, body = ask(served, path, "HEAD")
    assert (status, body) == (200, b"")


@pytest.mark.parametrize(
    ("host", "status"),
    [
        *(("127.0.0.1", 200), ("localhost:8506", 200), ("LOCALHOST", 200), ("[::1]:8506", 200)),
        *(("192.168.1.7", 200), ("shack.lan", 200), ("shack.lan.:8506", 200)),
        *(("evil.example", 421), ("localhost.evil.example", 421), ("127.0.0.1.evil.example", 421), ("", 421)),
    ],
)
def test_a_stranger_s_name_for_this_computer_is_refused(diary: Path, host: str, status: int) -> None:
    visitors = Visitors(names=frozenset({"localhost", "shack.lan"}))
    with running(diary, samples()["quiet"], visitors=visitors) as shown:
        assert ask(shown, "/about.json", Host=host)[0] == status


@pytest.mark.parametrize(
    ("client", "networks", "may_look"),
    [
        *(("127.0.0.1", (), True), ("::1", (), True), ("192.168.1.20", (), True), ("10.1.2.3", (), True)),
        *(("fe80::1%eth0", (), True), ("fd00::5", (), True), ("::ffff:192.168.1.20", (), True)),
        *(("8.8.8.8", (), False), ("2600::1", (), False), ("::ffff:8.8.8.8", (), False), ("", (), False)),
        ("192.168.1.20", ("192.168.1.0/24",), True),
        ("192.168.2.20", ("192.168.1.0/24",), False),
        ("127.0.0.1", ("192.168.1.0/24",), True),
        ("8.8.8.8", ("0.0.0.0/0",), True),
        ("2600::1", ("0.0.0.0/0",), False),
    ],
)
def test_who_may_look(client: str, networks: tuple[str, ...], may_look: bool) -> None:
    assert Visitors(tuple(map(ip_network, networks))).may_look(client) is may_look


def test_whoever_may_not_look_gets_one_sentence(diary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Visitors, "may_look", lambda self, client: client != "127.0.0.1")
    with running(diary, samples()["open"]) as shown:
        status, headers, body = ask(shown, "/")
        assert status == 403
        assert body.decode().endswith("the operator can allow it in [page].\n")
        assert headers["content-security-policy"] == HEADERS["content-security-policy"]


# --- the events ------------------------------------------------------------------------------------------


def test_a_listener_hears_how_things_stand_and_every_change(diary: Path, listen: Listen) -> None:
    bulletins = samples()
    with running(diary, bulletins["quiet"]) as shown:
        listener = listen(shown)
        assert listener.answer.getheader("content-type") == "text/event-stream"
        assert listener.next("beat")["at"] == "2026-06-14T12:12:00Z"
        assert listener.next("bulletin")["state"] == "quiet"
        told = []
        for name in ("stirring", "open", "blind-no-lines"):
            shown.put(bulletins[name])
            told.append(listener.next("bulletin")["state"])
        assert told == ["stirring", "open", "blind"]


def test_a_listener_that_comes_before_the_first_bulletin_gets_it(diary: Path, listen: Listen) -> None:
    with running(diary) as shown:
        listener = listen(shown)
        assert listener.next("beat") == {"at": None, "age_s": None}
        shown.put(samples()["open"])
        assert listener.next("bulletin")["far_stations"] == 5


def test_a_bulletin_that_only_grows_older_is_no_news() -> None:
    mailbox, bulletin = Mailbox(), samples()["open"]
    numbers = []
    for told, is_muted in (
        (bulletin, False),
        (replace(bulletin, at_s=bulletin.at_s + 5), False),
        (replace(bulletin, at_s=bulletin.at_s + 10, far_stations=6), False),
        (replace(bulletin, at_s=bulletin.at_s + 15, far_stations=6), True),
    ):
        mailbox.put(told, is_muted)
        latest = mailbox.latest("6m")
        assert latest is not None
        assert latest.bulletin is told
        numbers.append(latest.number)
    assert numbers == [1, 1, 2, 3]


def test_each_band_has_its_own_stream(diary: Path, listen: Listen) -> None:
    main = replace(samples()["open"], other_bands=(OtherBand("4m", State.QUIET),))
    with running(diary, main, bands=("6m", "4m")) as shown:
        shown.put(replace(samples()["quiet"], band="4m"))
        for path, band in (("/events", "6m"), ("/events?band=6m", "6m"), ("/events?band=4m", "4m")):
            listener = listen(shown, path)
            told = listener.next("bulletin")
            assert told["band"] == band
            assert told["other_bands"] == ([{"band": "4m", "state": "quiet"}] if band == "6m" else [])
        assert ask(shown, "/events?band=2m")[0] == 404
        assert ask_json(shown, "/about.json")["bands"] == ["6m", "4m"]


def test_the_page_stops_at_once_and_lets_every_listener_go(diary: Path, listen: Listen) -> None:
    with running(diary, samples()["open"]) as shown:
        listeners = [listen(shown) for _ in range(5)]
        for listener in listeners:
            listener.next("bulletin")
        assert shown.stop()
        assert [listener.event() for listener in listeners] == [None] * 5


def test_more_listeners_than_the_bound_are_turned_away(
    diary: Path, monkeypatch: pytest.MonkeyPatch, listen: Listen
) -> None:
    monkeypatch.setattr(page_stream, "MOST_STREAMS", 2)
    with running(diary, samples()["open"]) as shown:
        first, second, third = (listen(shown) for _ in range(3))
        assert third.answer.status == 503
        assert first.next("bulletin") == second.next("bulletin")
        first.close()
        for _ in range(200):
            again = listen(shown)
            if again.answer.status == 200:
                break
            again.close()
        assert again.next("bulletin")["state"] == "open"


def test_a_listener_that_never_reads_is_let_go(diary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_stream, "SEND_S", 0.05)
    monkeypatch.setattr(page_stream, "MOST_STREAMS", 1)
    with running(diary, samples()["quiet"]) as shown:
        address = shown.wait_listening(PATIENCE_S)
        assert address is not None
        with socket.socket() as deaf:
            deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            deaf.connect(address)
            deaf.sendall(b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
            status = 503
            for number in range(5000):
                shown.put(replace(crowded_bulletin(), at_s=NOON_S + number, far_stations=number))
                if number % 20 == 0 and (status := ask(shown, "/events", "HEAD")[0]) == 200:
                    break
            assert status == 200, "the deaf one still holds the only stream"


def test_a_connection_that_asks_nothing_is_closed(diary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_server, "FIRST_REQUEST_S", 0.05)
    with running(diary) as shown:
        address = shown.wait_listening(PATIENCE_S)
        assert address is not None
        for sent in (b"", b"GET / HTTP/1.1\r\nHost: loc"):
            with socket.create_connection(address, PATIENCE_S) as idle:
                idle.sendall(sent)
                with contextlib.suppress(ConnectionResetError):
                    assert idle.recv(100) == b""


def test_connections_beyond_the_bound_are_closed(
    diary: Path, monkeypatch: pytest.MonkeyPatch, listen: Listen
) -> None:
    monkeypatch.setattr(page_server, "MOST_CONNECTIONS", 2)
    with running(diary, samples()["open"]) as shown:
        first, second = listen(shown), listen(shown)
        with pytest.raises((ConnectionError, http.client.HTTPException)):
            ask(shown, "/about.json")
        assert first.next("bulletin") == second.next("bulletin")
        first.close()


# --- what is shown of a bulletin -------------------------------------------------------------------------


@given(any_bulletin())
def test_any_bulletin_can_be_shown_and_carries_no_control_character(bulletin: Bulletin) -> None:
    view = bulletin_view(Told(bulletin, False, 1, 0.0), "boot", page_samples.project)
    text = to_json(view)
    assert json.loads(text)["state"] == bulletin.state
    shown = json.dumps(view, ensure_ascii=False)
    assert not re.search("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]", shown)


@pytest.mark.parametrize("name", [name for name in samples() if name.startswith("blind")])
def test_a_blind_watch_shows_nothing_measured(name: str) -> None:
    seen = samples()["open"]
    bulletin = replace(samples()[name], openings=seen.openings)
    view = bulletin_view(Told(bulletin, False, 1, 0.0), "boot", page_samples.project)
    assert view["far_stations"] is None
    assert not (view["headings"] or view["openings"] or view["reflections"] or view["listen"])


def test_the_page_is_told_where_to_listen() -> None:
    view = bulletin_view(Told(samples()["open"], False, 1, 0.0), "boot", page_samples.project)
    assert view["listen"] == "50.095 MHz, CW, at 245°: the strongest is at -9 dB: Morse is easy to copy"


def test_a_reflection_point_lies_half_way_to_its_station() -> None:
    bulletin = samples()["open"]
    view = bulletin_view(Told(bulletin, False, 1, 0.0), "boot", page_samples.project)
    far = {station.call: station.distance_km for station in bulletin.stations}
    assert len(view["reflections"]) == 5
    for point in view["reflections"]:
        half_km = (point["x_km"] ** 2 + point["y_km"] ** 2) ** 0.5
        # the map's sphere errs up to 0.56 % against the ellipsoid, and points are whole kilometres
        assert half_km == pytest.approx(far[point["call"]] / 2, rel=0.0056, abs=1.5)


def test_a_crowd_is_cut_and_counted() -> None:
    view = bulletin_view(Told(crowded_bulletin(400), False, 1, 0.0), "boot", page_samples.project)
    assert (len(view["stations"]), view["omitted"]) == (120, 280)
    assert len(view["reflections"]) == 80


# --- the diary -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "days", "direction", "mode", "stations"),
    [
        ("", 30, None, None, 0),
        ("days=7", 7, None, None, 0),
        ("days=all&stations=200", None, None, None, 200),
        ("days=365&from=SW", 365, (225.0, 22.5), None, 0),
        ("days=all&from=N&mode=sporadic-e", None, (0.0, 22.5), Mode.SPORADIC_E, 0),
        ("days=365&mode=aurora&stations=20", 365, None, Mode.AURORA, 20),
        ("days=all&from=350-20", None, (5.0, 15.0), None, 0),
        ("days=365&from=&mode=&stations=", 365, None, None, 0),
    ],
)
def test_the_filters_let_through_what_they_say(
    served: StatusPage,
    diary: Path,
    query: str,
    days: int | None,
    direction: tuple[float, float] | None,
    mode: Mode | None,
    stations: int,
) -> None:
    with reading(diary) as connection:
        rows = [row.opening for row in openings(connection)]
    wanted = [
        o.id
        for o in rows
        if (days is None or (o.ended_at_s or o.last_at_s) > NOON_S - days * DAY_S)
        and (direction is None or angle_between_deg(o.bearing_deg, direction[0]) <= direction[1])
        and (mode is None or o.mode is mode)
        and o.peak_stations >= stations
    ]
    answer = ask_json(served, f"/openings.json?{query}")
    assert answer["total"] == len(wanted)
    assert [opening["id"] for opening in answer["openings"]] == wanted[::-1][:200]


@pytest.mark.parametrize(
    "query",
    ["days=0", "days=-1", "days=1e9", "days=x", "from=upwards", "mode=es", "stations=-1", "stations=9²"],
)
def test_a_filter_that_means_nothing_gets_one_sentence(served: StatusPage, query: str) -> None:
    from urllib.parse import quote

    status, headers, body = ask(served, f"/openings.json?{quote(query, safe='=&')}")
    assert status == 400
    assert headers["content-type"].startswith("text/plain")
    assert body.count(b"\n") == 1
    assert query.partition("=")[0].replace("from", "direction").encode() in body


@given(
    st.dictionaries(
        st.sampled_from(["days", "from", "mode", "stations", "x"]), st.text(max_size=30), max_size=4
    )
)
def test_any_question_is_understood_or_refused_in_one_sentence(asked: dict[str, str]) -> None:
    try:
        question = read_question(asked)
    except ConfigError as error:
        assert str(error).isprintable()
    else:
        question.filter("6m", NOON_S)


def test_the_day_is_told_whole(served: StatusPage) -> None:
    day = ask_json(served, "/day.json")
    since_s, until_s = from_iso_z(day["since"]), from_iso_z(day["until"])
    assert (until_s, until_s - since_s) == (NOON_S, DAY_S)
    spans = [(from_iso_z(s["since"]), from_iso_z(s["until"]), s["state"], s["off"]) for s in day["spans"]]
    assert spans[0][0] == since_s
    assert spans[-1][1] == until_s
    assert all(until == then for (_, until, _, _), (then, _, _, _) in pairwise(spans))
    assert [round((until - since) / 60) for since, until, _, is_off in spans if is_off] == [48]
    assert len(day["openings"]) == sum(state == "open" for _, _, state, _ in spans) > 0


def test_the_months_have_every_hour_and_every_opening(served: StatusPage, diary: Path) -> None:
    months = ask_json(served, "/months.json")
    assert [(c["month"], c["hour"]) for c in months["cells"]] == [
        (month, hour) for month in range(1, 13) for hour in range(24)
    ]
    with reading(diary) as connection:
        assert months["openings"] == len(openings(connection)) == sum(c["openings"] for c in months["cells"])
    # 700 days without ten days of holiday, 48 minutes switched off and what was blind
    assert 0.97 * 690 * 24 < months["watched_h"] < 690 * 24


def test_an_answer_is_asked_of_the_diary_once_for_all(diary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    looks = page_app.page_record.last_day
    monkeypatch.setattr(
        page_app.page_record, "last_day", lambda *given: asked.append(given[1]) or looks(*given)
    )
    with running(diary, samples()["open"]) as shown:
        askers = [threading.Thread(target=ask, args=(shown, "/day.json")) for _ in range(8)]
        for asker in askers:
            asker.start()
        for asker in askers:
            asker.join()
        assert asked == ["6m"]
        shown.put(samples()["quiet"])  # another state: the diary has something new
        ask_json(shown, "/day.json")
        assert asked == ["6m", "6m"]


def test_the_page_goes_on_without_a_diary(tmp_path: Path, listen: Listen) -> None:
    with running(tmp_path / "none.sqlite", samples()["open"]) as shown:
        for path in ("/day.json", "/openings.json", "/months.json"):
            status, _, body = ask(shown, path)
            assert status == 503
            assert b"there is no diary" in body
        assert listen(shown).next("bulletin")["state"] == "open"
        assert shown.part().is_well


def test_looking_changes_nothing_in_the_diary(served: StatusPage, diary: Path) -> None:
    before = hashlib.sha256(diary.read_bytes()).hexdigest(), sorted(diary.parent.iterdir())
    for path in ADDRESSES:
        ask(served, path)
    ask(served, "/openings.json?days=all&from=S&stations=3")
    assert (hashlib.sha256(diary.read_bytes()).hexdigest(), sorted(diary.parent.iterdir())) == before


# --- the page as a part of the station -------------------------------------------------------------------


def test_a_port_that_is_taken_is_told_once_and_tried_again(
    diary: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(page, "AGAIN_S", (0.01,))
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        shown = StatusPage(PageSettings(diary, port=port), page_samples.furnishings())
        shown.start()
        assert shown.wait_listening(0.2) is None
        part = shown.part()
        assert (part.name, part.is_well) == ("page", False)
        assert part.note == f"cannot be shown on 127.0.0.1 port {port}: Address already in use"
    assert shown.wait_listening(PATIENCE_S) == ("127.0.0.1", port)
    assert shown.part().is_well
    assert shown.stop()
    assert [record.levelname for record in caplog.records] == ["ERROR", "WARNING"]


def test_an_answer_that_fails_is_logged_once_and_the_page_goes_on(
    diary: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_given: object) -> str:
        raise ZeroDivisionError("as a fault of ours would be")

    monkeypatch.setattr(page_app, "coast_path", fail)
    with running(diary, samples()["open"]) as shown:
        for _ in range(3):
            status, headers, body = ask(shown, "/coasts.json")
            assert status == 500
            assert b"ZeroDivisionError" not in body
            assert "content-security-policy" in headers
        assert ask(shown, "/about.json")[0] == 200
    assert len(caplog.records) == 1


@pytest.mark.parametrize(
    ("host", "is_warned"), [("127.0.0.1", False), ("127.0.0.2", False), ("0.0.0.0", True)]
)
def test_listening_beyond_this_computer_is_warned_of(
    diary: Path, host: str, is_warned: bool, caplog: pytest.LogCaptureFixture
) -> None:
    with running(diary, host=host):
        assert [host in record.getMessage() for record in caplog.records] == [True] * is_warned


def test_a_page_without_its_extra_says_what_to_install(diary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "NEEDED", ("starlette", "no_such_server"))
    with pytest.raises(ConfigError, match=r"pip install 'vhf-sentinel\[page\]'"):
        StatusPage(PageSettings(diary), page_samples.furnishings()).start()


CONFIG = {
    "station": {"locator": "FN84ab"},
    "source": [{"path": "a.log", "layout": "{utc:epoch} {message}"}],
    "page": {},
}


def test_the_page_is_off_and_on_loopback_unless_asked_for() -> None:
    without = {key: value for key, value in CONFIG.items() if key != "page"}
    assert parse(without, Path("x.toml")).page is None
    section = parse(CONFIG, Path("x.toml")).page
    assert section is not None
    assert (section.host, section.port, section.allow, section.names) == ("127.0.0.1", 8506, (), ())


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ({}, "http://127.0.0.1:8506/, to this computer alone"),
        ({"host": "::1", "port": 80}, "http://[::1]:80/, to this computer alone"),
        ({"host": "0.0.0.0"}, "to every private address, with your place"),
        ({"host": "::", "allow": ["192.168.1.0/24"]}, "http://[::]:8506/ to 192.168.1.0/24, with"),
    ],
)
def test_check_says_who_sees_the_page(section: dict[str, object], said: str) -> None:
    told = findings(parse({**CONFIG, "page": section}, Path("x.toml")))
    assert [each.is_good for each in told if said in each.text] == [True]


def test_check_says_that_the_extra_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "NEEDED", ("no_such_server",))
    told = findings(parse(CONFIG, Path("x.toml")))
    assert [each.is_good for each in told if "vhf-sentinel[page]" in each.text] == [False]


@pytest.mark.parametrize(
    ("key", "value", "mend"),
    [
        ("host", "shack.lan", '"127.0.0.1"'),
        ("port", 0, "port"),
        ("allow", ["192.168.1.7/24"], '"192.168.1.0/24"'),
        ("allow", ["home"], '"192.168.1.0/24"'),
        ("names", ["http://shack.lan/"], '"shack.lan"'),
        ("hosts", "x", "host"),
    ],
)
def test_a_fault_in_the_table_is_one_sentence_with_its_mend(key: str, value: object, mend: str) -> None:
    with pytest.raises(ConfigError) as caught:
        parse({**CONFIG, "page": {key: value}}, Path("x.toml"))
    said = str(caught.value)
    assert "page" in said
    assert key in said
    assert mend in said
    assert "\n" not in said


def test_the_daemon_s_output_shows_its_news(diary: Path, listen: Listen) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    config = parse({**CONFIG, "page": {"port": port, "names": ["shack.lan"]}}, Path("x.toml"))
    output = PageOutput(config, diary)
    try:
        assert output.page.wait_listening(PATIENCE_S) == ("127.0.0.1", port)
        output.take(News(samples()["open"], now_s=0.0, is_muted=True))
        told = listen(output.page).next("bulletin")
        assert (told["state"], told["muted"]) == (State.OPEN, True)
        assert ask(output.page, "/about.json", Host="shack.lan")[0] == 200
        assert ask(output.page, "/panel.png")[2] == page_samples.panel_png(samples()["open"])
        assert [(part.name, part.is_well) for part in output.parts()] == [("page", True)]
    finally:
        output.stop()
