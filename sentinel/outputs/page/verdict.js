// The verdict, the directions, what is worth knowing, and the outlook.

import { byId, el, fill, say, svg, table } from "./dom.js";
import * as words from "./words.js";

let announced = "";

// A needle that points to where the signals come from, north up.
export function needle(deg) {
  return svg("svg", { class: "needle", viewBox: "-10 -10 20 20", "aria-hidden": "true" },
    svg("circle", { r: 9 }),
    svg("path", { d: "M0 -9 3.5 4 0 2 -3.5 4Z", transform: `rotate(${deg})` }));
}

export function showVerdict(bulletin, now_s, lost) {
  const state = lost === null ? bulletin.state : "waiting";
  document.documentElement.dataset.state = state;
  byId("icon").setAttribute("href", `assets/sign-${state}.svg`);
  const leading = leadingHeading(bulletin);
  const from = lost === null && leading ? words.bearing(leading.bearing_deg) : "";
  const word = lost === null ? words.STATES[state] : "No news";
  say("word", word);
  say("bearing", from);
  say("because", lost === null ? bulletin.because : withoutNews(bulletin, lost));
  const listen = lost === null ? bulletin.listen : null;
  byId("listen").hidden = !listen;
  say("listen", listen ? `Listen: ${listen}.` : "");
  say("since", lost === null ? since(bulletin, now_s) : "");
  document.title = [word.toUpperCase(), from, bulletin.band].filter(Boolean).join(" ") + " – Sentinel";
  announce(word, lost === null ? bulletin.because : "");
}

function withoutNews(bulletin, lost) {
  return `This page has heard nothing from the watch for ${words.span(lost)}. What stands below was true at ` +
    `${words.clock(words.seconds(bulletin.at))} UTC, when the band was ${bulletin.state}.`;
}

function since(bulletin, now_s) {
  const began_s = words.seconds(bulletin.since);
  const parts = [`since ${words.moment(bulletin.since, now_s)}, for ${words.span(now_s - began_s)}`];
  if (bulletin.previous) parts.push(`before that ${bulletin.previous}`);
  if (bulletin.acknowledged) parts.push("acknowledged");
  if (bulletin.muted) parts.push("notices are muted");
  return parts.join(" · ");
}

// A screen reader hears of another state, not of every new number.
function announce(word, sentence) {
  if (announced === word) return;
  announced = word;
  say("announcement", `${word}. ${sentence}`);
}

function leadingHeading(bulletin) {
  return bulletin.headings.reduce((best, h) => (best && best.stations >= h.stations ? best : h), null);
}

export function showHeadings(bulletin) {
  if (!bulletin.headings.length) {
    const why = bulletin.state === "blind" ? "Unknown while the watch is blind." : "From nowhere far.";
    fill("headings", el("p", { class: "empty" }, why));
    return;
  }
  const columns = [
    { title: "From", className: "big", cell: (h) => el("span", null, needle(h.bearing_deg), words.bearing(h.bearing_deg)) },
    { title: "", className: "nowrap", cell: (h) => words.point(h.bearing_deg) },
    { title: "Stations", className: "num", cell: (h) => String(h.stations) },
    { title: "km", className: "num", cell: (h) => words.km(h.nearest_km, h.farthest_km) },
    { title: "Mode", cell: (h) => words.shortMode(h.mode) },
  ];
  const openings = bulletin.openings.filter((o) => o.ended_at === null).map((o) => aboutOpening(o, bulletin));
  fill("headings", table(columns, bulletin.headings), ...openings);
}

function aboutOpening(opening, bulletin) {
  const said = [`Opening from ${words.bearing(opening.bearing_deg)} since ` +
    `${words.moment(opening.began_at, words.seconds(bulletin.at))}: ` +
    `${words.count(opening.total_stations, "station", "stations")} in all`];
  if (opening.best_snr_db !== null) said.push(`the strongest at ${words.db(opening.best_snr_db)} dB`);
  if (opening.muf_mhz !== null) said.push(`usable up to about ${Math.round(opening.muf_mhz)} MHz`);
  if (opening.drift) {
    said.push(`the cloud moves ${words.point(opening.drift.bearing_deg)} at ${Math.round(opening.drift.speed_m_s)} m/s`);
  }
  const shares = opening.likelihoods.filter((k) => k.share >= 0.05)
    .map((k) => `${words.mode(k.mode)} ${words.per_cent(k.share)} (${k.reason})`);
  return el("p", null, `${said.join(", ")}. `, shares.length ? el("span", { class: "legend" }, `Evidence: ${shares.join("; ")}.`) : null);
}

export function showNotables(bulletin, now_s) {
  const items = bulletin.notables.slice().reverse().map((n) =>
    el("li", null, el("time", { datetime: n.at }, words.moment(n.at, now_s)), n.sentence));
  byId("notables-section").hidden = !fill("notables", ...items);
}

export function showOutlook(bulletin) {
  const chances = bulletin.outlook;
  byId("outlook-section").hidden = chances.length === 0;
  fill("outlook", table([
    { title: "Mode", cell: (c) => words.mode(c.mode) },
    { title: "1 h", className: "num", cell: (c) => words.per_cent(c.within_1_h) },
    { title: "6 h", className: "num", cell: (c) => words.per_cent(c.within_6_h) },
    { title: "24 h", className: "num", cell: (c) => words.per_cent(c.within_24_h) },
    { title: "Why", className: "why", wide: true, cell: (c) => c.reason },
  ], chances));
}
