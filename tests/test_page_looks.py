"""The status page as people meet it: read from its files, and shown by a headless Chromium.

The browser's tests are skipped where there is no Chromium (``apt-get install chromium``). Contrast is that of
the Web Content Accessibility Guidelines 2.2 (W3C): relative luminance, 4.5 to 1 for text (1.4.3), 3 to 1 for
what a picture says (1.4.11); targets of 24 pixels (2.5.8); no scrolling sideways at 320 pixels (1.4.10).
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import chromium
import page_samples
import pytest

from sentinel.outputs.diary import Diary
from sentinel.outputs.diary_rows import DiaryBatch, StateRow, Watched
from sentinel.outputs.page import PageSettings, StatusPage
from sentinel.outputs.page_mailbox import Told
from sentinel.panel.samples import NOON_S, samples
from sentinel.watch.advice import advise, in_words
from sentinel.watch.bulletin import State

PATIENCE_S = 10.0
PAGE = files("sentinel.outputs") / "page"
HTML = (PAGE / "page.html").read_text("utf-8")
STYLE = (PAGE / "page.css").read_text("utf-8")
NIGHT = (PAGE / "night.css").read_text("utf-8")
SCRIPTS = {each.name: each.read_text("utf-8") for each in PAGE.iterdir() if each.name.endswith(".js")}


# --- read from the files ---------------------------------------------------------------------------------


class Elements(HTMLParser):
    """Every start tag of the page with its attributes, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(HTML)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def named(self, *tags: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.found if tag in tags]


ELEMENTS = Elements()
IDS = {attributes["id"] for _, attributes in ELEMENTS.found if "id" in attributes}


def test_nothing_stands_in_the_page_that_the_policy_would_refuse() -> None:
    for tag, attributes in ELEMENTS.found:
        assert tag not in ("style", "iframe", "object", "embed", "base"), tag
        assert not [name for name in attributes if name == "style" or name.startswith("on")], attributes
        if tag == "script":
            assert attributes.get("src"), "a script inside the page"


def test_no_file_of_the_page_names_anything_outside() -> None:
    for name, text in {**SCRIPTS, "page.html": HTML, "page.css": STYLE, "night.css": NIGHT}.items():
        addresses = set(re.findall(r"(?:https?:)?//[\w.-]+\.[a-z]{2,}\S*", text))
        assert addresses <= {'http://www.w3.org/2000/svg";'} | {
            found for found in addresses if found.startswith("//") and name.endswith(".js")
        }, name
        assert "@import" not in text


@pytest.mark.parametrize("name", sorted(SCRIPTS))
def test_no_script_can_turn_text_into_markup(name: str) -> None:
    ways = r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|DOMParser|srcdoc"
    assert not re.search(ways, SCRIPTS[name])


def test_every_control_has_a_label() -> None:
    labelled = {attributes["for"] for attributes in ELEMENTS.named("label")}
    controls = ELEMENTS.named("input", "select", "textarea", "button")
    assert len(controls) >= 6
    assert {control["id"] for control in controls} == labelled


def test_every_section_is_named_by_a_heading_that_is_there() -> None:
    sections = ELEMENTS.named("section")
    assert len(sections) >= 9
    for section in sections:
        assert section["aria-labelledby"] in IDS
    levels = [int(tag[1]) for tag, _ in ELEMENTS.found if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(then - now <= 1 for now, then in pairwise(levels))


def test_language_title_zoom_and_pictures_are_as_a_reader_needs_them() -> None:
    assert ELEMENTS.named("html")[0]["lang"] == "en"
    assert "<title>Sentinel</title>" in HTML
    viewport = next(m["content"] for m in ELEMENTS.named("meta") if m.get("name") == "viewport")
    assert viewport is not None
    assert "scalable" not in viewport
    assert "maximum" not in viewport
    assert all(picture.get("alt") for picture in ELEMENTS.named("img"))
    for scrolled in (a for _, a in ELEMENTS.found if "scroll" in (a.get("class") or "")):
        assert scrolled["tabindex"] == "0"
        assert scrolled["aria-labelledby"] in IDS


def test_every_element_that_the_scripts_look_for_is_there() -> None:
    wanted = {
        found for text in SCRIPTS.values() for found in re.findall(r'\b(?:byId|fill|say)\("([\w-]+)"', text)
    }
    assert len(wanted) > 20
    assert wanted <= IDS


def luminance(colour: tuple[float, float, float]) -> float:
    """WCAG 2.2, relative luminance of an sRGB colour, components 0 to 255."""
    linear = [
        part / 12.92 if (part := value / 255) <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for value in colour
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """WCAG 2.2, contrast ratio, 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_reckoned_as_the_guidelines_do() -> None:
    """Black on white is 21 by the definition; #777777 on white is 4.48, the well-known grey that just fails
    (common practice, no source)."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x77,) * 3, (255, 255, 255)) == pytest.approx(4.48, abs=0.005)


def colours(text: str) -> dict[str, tuple[int, int, int]]:
    root = re.search(r":root\s*\{(.*?)\}", text, re.DOTALL)
    assert root is not None
    return {
        name: tuple(bytes.fromhex(value))  # type: ignore[misc]
        for name, value in re.findall(r"(--[\w-]+):\s*#([0-9a-f]{6});", root[1])
    }


SCHEMES = {"day": colours(STYLE), "night": colours(NIGHT)}


def pairs() -> Iterator[tuple[str, str, str]]:
    """Selector, ink and paper of every rule that sets an ink; without a paper of its own it is the page's."""
    rules = re.sub(r"/\*.*?\*/|@font-face\s*\{.*?\}|:root\s*\{.*?\}", "", STYLE, flags=re.DOTALL)
    for selector, body in re.findall(r"([^{};]+)\{([^{}]*)\}", rules):
        ink = re.search(r"(?<![\w-])(?:color|fill):\s*var\((--[\w-]+)\)", body)
        paper = re.search(r"background:\s*var\((--[\w-]+)\)", body)
        if ink is None:
            continue
        state = re.search(r'data-state="(open|blind)"', selector)
        around = f"--{state[1]}-paper" if state else "--paper"
        yield " ".join(selector.split()), ink[1], paper[1] if paper else around


def test_night_has_every_colour_of_the_day() -> None:
    assert SCHEMES["day"].keys() == SCHEMES["night"].keys()


def test_every_colour_is_one_of_the_scheme() -> None:
    rules = re.sub(r":root\s*\{.*?\}", "", STYLE, flags=re.DOTALL)
    assert not re.search(r"#[0-9a-f]{3,8}\b|rgba?\(|hsla?\(", rules)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_ink_can_be_read_on_its_paper(scheme: str) -> None:
    known, seen = SCHEMES[scheme], 0
    for selector, ink, paper in pairs():
        if ink == paper or ".cut" in selector:
            continue  # a hole, seen through
        ratio = contrast(known[ink], known[paper])
        assert ratio >= 4.5, f"{selector}: {ink} on {paper} has {ratio:.2f}"
        seen += 1
    assert seen > 25


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_line_of_a_picture_can_be_seen(scheme: str) -> None:
    known = SCHEMES[scheme]
    for name in ("--faint", "--signal", "--ink", "--soft"):
        assert contrast(known[name], known["--paper"]) >= 3, name


# --- shown by a browser ----------------------------------------------------------------------------------

needs_chromium = pytest.mark.skipif(
    chromium.binary() is None, reason="there is no chromium here to show the page (apt-get install chromium)"
)


@pytest.fixture(scope="module")
def diary(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("looks") / "diary.sqlite"
    page_samples.write_diary(path, days=120)
    return path


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[chromium.Page]:
    with chromium.browser(tmp_path_factory.mktemp("profile")) as page:
        yield page


class Shown:
    """The page of one server in the browser's tab."""

    def __init__(self, status: StatusPage, tab: chromium.Page) -> None:
        self.status, self.tab = status, tab

    def open(self, name: str, width: int = 1280, is_dark: bool = False, query: str = "") -> None:
        """Show a sample and wait until everything of it stands on the page."""
        bulletin = page_samples.bulletins()[name]
        self.status.put(bulletin)
        address = self.status.wait_listening(PATIENCE_S)
        assert address is not None
        self.tab.complaints.clear()
        self.tab.open(f"http://{address[0]}:{address[1]}/{query}", width, is_dark=is_dark)
        self.wait_for_state(bulletin.state)
        self.tab.wait_for("!!document.querySelector('#months table, #months-total:not(:empty)')")
        self.tab.wait_for("document.getElementById('openings-count').textContent !== ''")

    def wait_for_state(self, state: str) -> None:
        self.tab.wait_for(f"document.documentElement.dataset.state === '{state}'")

    def text(self, element: str) -> str:
        return str(self.tab.run(f"document.getElementById('{element}').textContent"))


@pytest.fixture
def shown(diary: Path, tab: chromium.Page) -> Iterator[Shown]:
    status = StatusPage(PageSettings(diary, port=0), page_samples.furnishings())
    status.start()
    yield Shown(status, tab)
    tab.open("about:blank")
    assert status.stop()


@needs_chromium
@pytest.mark.parametrize("name", ["quiet", "stirring", "open", "open-four", "blind-no-lines"])
def test_every_state_is_said_in_word_title_and_sentence(shown: Shown, name: str) -> None:
    shown.open(name)
    bulletin = page_samples.bulletins()[name]
    assert shown.text("word") == bulletin.state.capitalize()
    assert shown.text("because") == bulletin.because
    best = next(iter(advise(bulletin)), None)
    assert shown.text("listen") == ("" if best is None else f"Listen: {in_words(best)}.")
    assert shown.tab.run("document.getElementById('listen').hidden") is (best is None)
    leading = max(bulletin.headings, key=lambda h: h.stations, default=None)
    bearing = "" if leading is None else f"{round(leading.bearing_deg):03d}°"
    assert shown.text("bearing") == bearing
    title = " ".join(filter(None, [bulletin.state.upper(), bearing, "6m"]))
    assert shown.tab.run("document.title") == f"{title} – Sentinel"
    assert shown.text("announcement") == f"{bulletin.state.capitalize()}. {bulletin.because}"
    assert shown.tab.run("document.querySelectorAll('#heard tbody tr').length") == len(bulletin.stations)
    assert shown.tab.run("document.querySelectorAll('#map rect.station').length") == len(bulletin.stations)
    assert shown.tab.complaints == []


@needs_chromium
def test_hostile_text_stays_text(shown: Shown, tmp_path: Path) -> None:
    hostile = page_samples.HOSTILE
    path = tmp_path / "hostile.sqlite"
    with Diary(path) as book:
        states = tuple(StateRow(NOON_S - 3600 * n, "6m", State.STIRRING, hostile) for n in range(1, 4))
        book.write(DiaryBatch(states=states, watched=(Watched("6m", NOON_S),)))
    status = StatusPage(PageSettings(path, port=0), page_samples.furnishings())
    status.start()
    try:
        victim = Shown(status, shown.tab)
        victim.open("hostile")
        victim.tab.wait_for("document.querySelectorAll('#day-list li').length > 2")
        assert victim.text("because") == hostile
        for element in ("notables", "health", "outlook", "day-list"):
            assert hostile in victim.text(element), element
        # of a call sign only what a call sign can have is left, as on every other output
        assert "IMGSRCXONERRORDOCUME" in victim.text("heard")
        assert victim.tab.run("document.title") == "OPEN 245° 6m – Sentinel"
        assert victim.tab.run("document.scripts.length") == 1
        assert victim.tab.run("[...document.images].map((image) => image.id)") == ["panel"]
        assert victim.tab.complaints == []
    finally:
        shown.tab.open("about:blank")
        assert status.stop()


@needs_chromium
@pytest.mark.parametrize(
    "attempt",
    [
        "document.body.innerHTML += '<b>bold</b>'",
        "document.body.setAttribute('onclick', 'document.title = 1')",
        "document.body.appendChild(document.createElement('script')).text = 'document.title = 1'",
        "setTimeout('document.title = 1')",
        "new Function('document.title = 1')()",
    ],
)
def test_the_browser_refuses_what_would_turn_text_into_script(shown: Shown, attempt: str) -> None:
    """Even a mistake in our own scripts could not do it: the policy asks for types that nobody can make."""
    shown.open("open")
    refused = f"(() => {{ try {{ {attempt} }} catch (error) {{ return error.name }} }})()"
    assert shown.tab.run(refused) in ("TypeError", "EvalError")
    assert shown.tab.run("document.title") == "OPEN 245° 6m – Sentinel"


@needs_chromium
def test_a_change_is_shown_without_loading_anew(shown: Shown) -> None:
    shown.open("quiet")
    shown.tab.run("window.isTheSame = true")
    shown.status.put(samples()["open-four"])
    shown.wait_for_state("open")
    assert shown.text("bearing") == "161°"
    assert shown.tab.run("document.getElementById('icon').getAttribute('href')") == "assets/sign-open.svg"
    assert shown.tab.run("window.isTheSame")


@needs_chromium
def test_the_other_bands_are_linked_each_with_its_state(diary: Path, tab: chromium.Page) -> None:
    status = StatusPage(PageSettings(diary, port=0), page_samples.furnishings(("6m", "10m", "2m")))
    status.start()
    shown = Shown(status, tab)
    try:
        shown.open("other-bands")
        links = tab.run("[...document.querySelectorAll('#bands a')].map((a) => a.textContent).join()")
        assert links == "6m,10m open,2m blind"
        assert tab.run("document.querySelector('#bands [aria-current]').textContent") == "6m"
        assert tab.complaints == []
    finally:
        tab.open("about:blank")
        assert status.stop()


@needs_chromium
def test_a_page_that_has_lost_the_watch_does_not_go_on_saying_quiet(
    shown: Shown, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown.open("quiet")
    monkeypatch.setattr(Told, "age_s", lambda self: 3600.0)
    shown.status.put(replace(samples()["quiet"], because="Still nothing far."))
    shown.wait_for_state("waiting")
    assert shown.text("word") == "No news"
    assert "heard nothing from the watch for 1 h" in shown.text("because")
    assert "when the band was quiet" in shown.text("because")
    assert shown.tab.run("document.title") == "NO NEWS 6m – Sentinel"
    # an hour ago by the sample's clock it was 12:12
    shown.tab.wait_for("document.getElementById('day-list').textContent.includes('–12:12 quiet')")


READABLE = """
(() => {
  const faults = [], colour = (text) => text.match(/[\\d.]+/g).map(Number);
  const luminance = (rgb) => rgb.slice(0, 3).map((v) => v / 255)
    .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  let seen = 0;
  for (const element of document.querySelectorAll('body *')) {
    const has_text = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    const style = getComputedStyle(element);
    if (!has_text || !element.getClientRects().length || style.visibility === 'hidden') continue;
    const ink = colour(element instanceof SVGElement ? style.fill : style.color);
    let around = element, paper = null;
    while (around && !paper) {
      const found = colour(getComputedStyle(around).backgroundColor);
      if (found.length < 4 || found[3] > 0) paper = found;
      around = around.parentElement;
    }
    const [light, dark] = [luminance(ink), luminance(paper)].sort((a, b) => b - a);
    const ratio = (light + 0.05) / (dark + 0.05);
    seen += 1;
    if (ratio < 4.5) faults.push(`${element.tagName}.${element.className} ${ratio} ${element.textContent}`);
  }
  return { seen, faults };
})()
"""


@needs_chromium
@pytest.mark.parametrize("is_dark", [False, True])
def test_every_word_on_the_page_can_be_read(shown: Shown, is_dark: bool) -> None:
    for name in ("quiet", "stirring", "open", "blind-no-lines", "broker-down"):
        shown.open(name, is_dark=is_dark)
        found = shown.tab.run(READABLE)
        assert found["seen"] > 300
        assert found["faults"] == [], name


@needs_chromium
def test_the_light_can_be_chosen_and_is_kept(shown: Shown) -> None:
    paper = "getComputedStyle(document.documentElement).backgroundColor"
    shown.open("quiet")
    day = shown.tab.run(paper)
    shown.tab.run(
        "(() => { const s = document.getElementById('light'); s.value = 'night';"
        " s.dispatchEvent(new Event('change')); })()"
    )
    night = shown.tab.run(paper)
    assert night != day
    shown.open("quiet")
    assert shown.tab.run(paper) == night
    shown.tab.run("localStorage.clear()")
    shown.open("quiet", is_dark=True)
    assert shown.tab.run(paper) == night


OVERHANGING = """
[...document.querySelectorAll('body *')].filter((e) => !e.closest('.scroll, .unseen, .skip, svg')
  && e.getBoundingClientRect().right > WIDTH + 0.5).map((e) => `${e.tagName}.${e.className}#${e.id}`)
"""


@needs_chromium
@pytest.mark.parametrize("name", ["hostile", "open-four", "stirring", "long-text"])
def test_nothing_is_cut_off_at_any_width(shown: Shown, name: str) -> None:
    shown.open(name)
    for width in (2560, 1280, 768, 390, 320):
        shown.tab.resize(width, 900)
        assert shown.tab.run(OVERHANGING.replace("WIDTH", str(width))) == [], width
        assert shown.tab.run("document.documentElement.scrollWidth") <= width


@needs_chromium
def test_everything_to_be_touched_is_large_enough(shown: Shown) -> None:
    shown.open("open", 390)
    small = shown.tab.run(
        "[...document.querySelectorAll('select, input, summary, nav a')].filter((e) => e.offsetParent)"
        ".filter((e) => e.offsetHeight < 24 || e.offsetWidth < 24).map((e) => e.id)"
    )
    assert small == []


TAB, DOWN = ("Tab", 9), ("ArrowDown", 40)


@needs_chromium
def test_everything_can_be_reached_and_seen_by_keyboard(shown: Shown) -> None:
    shown.open("open")
    where = "document.activeElement.id || document.activeElement.className || document.activeElement.tagName"
    outline = "parseFloat(getComputedStyle(document.activeElement).outlineWidth)"
    reached = []
    for _ in range(12):
        shown.tab.press(*TAB)
        reached.append(shown.tab.run(where))
        assert shown.tab.run(outline) >= 2, f"the focus cannot be seen on {reached[-1]}"
    assert reached[:12] == [
        *("skip", "light", "reach", "heard", "SUMMARY", "days", "from", "mode", "stations"),
        *("openings", "months", "BODY"),
    ] or reached[:11] == [
        *("skip", "light", "reach", "heard", "SUMMARY", "days", "from", "mode", "stations"),
        *("openings", "months"),
    ]


@needs_chromium
def test_the_diary_is_filtered_by_keyboard(shown: Shown) -> None:
    shown.open("open")
    before = shown.text("openings-count")
    shown.tab.run("document.getElementById('days').focus()")
    shown.tab.press(*DOWN)
    shown.tab.wait_for(f"document.getElementById('openings-count').textContent !== '{before}'")
    assert shown.tab.run("new URLSearchParams(location.search).get('days')") == "365"
    shown.open("open", query="?days=365&mode=aurora&from=S&stations=5")
    chosen = "['days', 'mode', 'from', 'stations'].map((id) => document.getElementById(id).value)"
    assert shown.tab.run(chosen) == ["365", "aurora", "S", "5"]
    rows = shown.tab.run("[...document.querySelectorAll('#openings tbody tr')].map((r) => r.innerText)")
    assert rows
    assert all("aurora" in row for row in rows)
    assert shown.text("openings-count").startswith(f"{len(rows)} opening")


@needs_chromium
@pytest.mark.parametrize("name", ["open", "blind-no-lines"])
def test_a_screen_reader_finds_a_name_on_everything(shown: Shown, name: str) -> None:
    shown.open(name)
    tree = shown.tab.accessible()
    wordless = {"combobox", "spinbutton", "region", "image", "img", "link", "heading", "table", "form"}
    assert [(role, said) for role, said in tree if role in wordless - {"table"} and not said] == []
    roles = {role for role, _ in tree}
    assert {"combobox", "spinbutton", "heading", "columnheader", "rowheader", "status", "main"} <= roles
    pictures = [said for role, said in tree if role in ("image", "img")]
    assert any(said.startswith("Map around the station") for said in pictures)
    assert any(said.startswith("Strip of the last 24 hours") for said in pictures)
    assert any(said.startswith("The panel's picture") for said in pictures)


@needs_chromium
def test_the_strip_and_its_list_say_the_same(shown: Shown) -> None:
    shown.open("open")
    shown.tab.wait_for("document.querySelectorAll('#day-list li').length > 2")
    drawn = shown.tab.run(
        "[...document.querySelectorAll('#day > svg > rect[class^=span-]')].map((r) => r.textContent)"
    )
    listed = shown.tab.run("[...document.querySelectorAll('#day-list strong')].map((e) => e.textContent)")
    assert [text.replace(" to ", "–") for text in drawn] == listed[::-1]
    assert listed[0].endswith(" open")
