// The page's clockwork: what comes in by the stream is shown, and the diary is asked when it has news.

import { byId, el, fill, say } from "./dom.js";
import { keepDay, showDay } from "./day.js";
import { showHealth, showHeard } from "./health.js";
import { listen } from "./live.js";
import { loadCoasts, showMap } from "./map.js";
import { ask, filterQuery, prepareFilter, showMonths, showOpenings } from "./record.js";
import { showHeadings, showNotables, showOutlook, showVerdict } from "./verdict.js";
import { clock } from "./words.js";

const SETTLE_MS = 3000;   // the diary is written a moment after the verdict
const TYPING_MS = 400;
const AGAIN_S = 300;      // and looked at now and then, for what nobody announced
const MONTHS_S = 900;     // years of record change slowly
const PANEL_S = 60;       // e-paper is slower still
const AGES_S = 5;

let bulletin = null, now_s = 0, lost = null, about = null, band = null;
let asked_s = -Infinity, months_s = -Infinity, panel_s = -Infinity, aged_s = 0, told = "", typing = 0;

const LIGHTS = { device: "(prefers-color-scheme: dark)", day: "not all", night: "all" };

function showLight() {
  byId("night").media = LIGHTS[byId("light").value];
}

function prepareLight() {
  try {
    const kept = localStorage.getItem("light");
    if (kept in LIGHTS) byId("light").value = kept;
  } catch { /* a browser that keeps nothing */ }
  byId("light").addEventListener("change", () => {
    showLight();
    try {
      localStorage.setItem("light", byId("light").value);
    } catch { /* the same */ }
  });
  showLight();
}

const uptime = () => performance.now() / 1000;

function showAges() {
  aged_s = uptime();
  showHeard(bulletin, now_s);
  showHealth(bulletin, now_s, lost);
  showDay(bulletin, now_s, lost);
}

function show() {
  showVerdict(bulletin, now_s, lost);
  showHeadings(bulletin);
  showNotables(bulletin, now_s);
  showOutlook(bulletin);
  showMap(bulletin);
  showBands(Object.fromEntries(bulletin.other_bands.map((each) => [each.band, each.state])));
  showAges();
}

function showPanel() {
  if (!about.panel) return;
  panel_s = uptime();
  byId("panel-section").hidden = false;
  byId("panel").src = `panel.png?band=${encodeURIComponent(band)}&n=${bulletin.seq}`;
  byId("panel").alt = `The panel's picture: ${bulletin.state}. ${bulletin.because}`;
}

// What the diary will have written down: another state, an opening more, an opening ended.
const standing = (b) => JSON.stringify([b.state, b.since, b.openings.map((o) => [o.id, o.ended_at])]);

function onBulletin(news) {
  bulletin = news;
  const stands = standing(news);
  show();
  if (stands !== told) {
    setTimeout(askDiary, told ? SETTLE_MS : 0);
    showPanel();
  }
  told = stands;
}

function onTick(tick) {
  now_s = tick.now_s;
  lost = tick.lost;
  say("clock", clock(now_s, true));
  if (bulletin === null) return;
  showVerdict(bulletin, now_s, lost);
  if (uptime() - aged_s >= AGES_S) showAges();
  if (lost !== null || document.hidden) return;
  if (uptime() - asked_s >= AGAIN_S) askDiary();
  if (uptime() - panel_s >= PANEL_S) showPanel();
}

async function askDiary() {
  asked_s = uptime();
  const of = `band=${encodeURIComponent(band)}`;
  await Promise.all([
    ask(`day.json?${of}`).then((day) => {
      keepDay(day.error ? { spans: [], openings: [] } : day);
      showDay(bulletin, now_s, lost);
    }),
    askOpenings(),
    asked_s - months_s >= MONTHS_S ? ask(`months.json?${of}`).then((months) => {
      months_s = months.error ? -Infinity : asked_s;
      showMonths(months, now_s);
    }) : null,
  ]);
}

async function askOpenings() {
  showOpenings(await ask(`openings.json?${filterQuery(band)}`));
}

function onFilter() {
  clearTimeout(typing);
  typing = setTimeout(() => {
    history.replaceState(null, "", `?${filterQuery(band)}`);
    askOpenings();
  }, TYPING_MS);
}

function showAbout() {
  band = new URLSearchParams(location.search).get("band");
  if (!about.bands.includes(band)) band = about.bands[0];
  say("place", `${band} from ${about.locator}`);
  say("version", `Sentinel ${about.version}.`);
  byId("bands").hidden = about.bands.length < 2;
  showBands({});
}

// A link to each band, with its state where that is known.
function showBands(states) {
  fill("bands", ...about.bands.map((each) =>
    el("a", { href: `?band=${encodeURIComponent(each)}`, "aria-current": each === band ? "page" : null },
      states[each] ? `${each} ${states[each]}` : each)));
}

async function start() {
  prepareLight();
  prepareFilter(onFilter);
  about = await ask("about.json");
  if (about.error) {
    say("because", about.error);
    setTimeout(() => location.reload(), 10000);
    return;
  }
  showAbout();
  byId("reach").addEventListener("change", () => bulletin && showMap(bulletin));
  await loadCoasts(band).catch(() => null);
  listen(band, onBulletin, onTick);
}

start();
