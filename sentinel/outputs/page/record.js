// What the diary knows: the openings that match the filter, and when in the year the band opens here.

import { byId, el, fill, say, table } from "./dom.js";
import { needle } from "./verdict.js";
import * as words from "./words.js";

const STEPS = [0, 0.02, 0.05, 0.1, 0.25];  // shares of the watched time at which the shade grows darker

export async function ask(address) {
  let answer;
  try {
    answer = await fetch(address);
  } catch {
    return { error: "The watch does not answer." };
  }
  return answer.ok ? answer.json() : { error: (await answer.text()).trim() };
}

export function prepareFilter(onChange) {
  const select = byId("mode");
  for (const [code, word] of Object.entries(words.MODES)) select.append(el("option", { value: code }, word));
  const form = byId("filter");
  for (const [name, value] of new URLSearchParams(location.search)) {
    const field = form.elements.namedItem(name);
    if (field) field.value = value;
    if (field instanceof HTMLSelectElement && field.selectedIndex < 0) field.selectedIndex = 0;
  }
  form.addEventListener("input", onChange);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    onChange();
  });
}

// What the form asks for, without what it leaves open.
export function filterQuery(band) {
  const query = new URLSearchParams({ band });
  for (const [name, value] of new FormData(byId("filter"))) if (value !== "" && value !== "0") query.set(name, value);
  return query;
}

export function showOpenings(answer) {
  if (answer.error) {
    say("openings-count", answer.error);
    fill("openings");
    return;
  }
  const { total, openings } = answer;
  const more = total > openings.length ? `, the newest ${openings.length} of them here` : "";
  say("openings-count", total ? `${words.count(total, "opening", "openings")}${more}.` : "No opening like that.");
  fill("openings", ...(total ? [table(COLUMNS, openings)] : []));
}

const end_s = (o) => words.seconds(o.ended_at === null ? o.last_at : o.ended_at);

const COLUMNS = [
  { title: "Began", className: "nowrap", cell: (o) => began(o) },
  { title: "Hours", className: "num", cell: (o) => lasted(o) },
  { title: "From", className: "nowrap", cell: (o) => el("span", null, needle(o.bearing_deg), words.bearing(o.bearing_deg)) },
  { title: "Mode", className: "nowrap", cell: (o) => words.shortMode(o.mode) },
  { title: "km", className: "num reach", cell: (o) => words.km(o.nearest_km, o.farthest_km) },
  { title: "Heard", className: "num", cell: (o) => String(o.total_stations) },
  { title: "Best, dB", className: "num", wide: true, cell: (o) => words.db(o.best_snr_db) },
  { title: "MUF, MHz", className: "num", wide: true, cell: (o) => (o.muf_mhz === null ? "" : String(Math.round(o.muf_mhz))) },
];

function began(opening) {
  const at_s = words.seconds(opening.began_at), year = new Date(at_s * 1000).getUTCFullYear();
  const which = year === new Date().getUTCFullYear() ? "" : ` ${year}`;
  return el("time", { datetime: opening.began_at }, `${words.day(at_s)}${which} ${words.clock(at_s)}`);
}

// Hours and minutes; with a plus while it goes on.
function lasted(opening) {
  const minutes = Math.round((end_s(opening) - words.seconds(opening.began_at)) / 60);
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}${opening.ended_at === null ? "+" : ""}`;
}

export function showMonths(answer, now_s) {
  if (answer.error) {
    say("months-total", answer.error);
    fill("months");
    return;
  }
  const now = new Date(now_s * 1000), month = now.getUTCMonth(), hour = now.getUTCHours();
  say("months-total", `${words.count(answer.openings, "opening", "openings")} in ${words.count(answer.watched_h, "hour", "hours")} of watching.`);
  const cells = new Map(answer.cells.map((c) => [`${c.month} ${c.hour}`, c]));
  const head = words.MONTHS.map((name, m) => el("th", { scope: "col", class: m === month ? "this" : null }, name));
  const rows = Array.from({ length: 24 }, (_, h) =>
    el("tr", null, el("th", { scope: "row", class: h === hour ? "this" : null }, String(h).padStart(2, "0")),
      ...words.MONTHS.map((_name, m) => cell(cells.get(`${m + 1} ${h}`)))));
  fill("months", el("table", { class: "months" },
    el("caption", { class: "unseen" }, "Hours of the day (UTC) down, months across: per cent of the watched time in which the band was open"),
    el("thead", null, el("tr", null, el("th", { scope: "col" }, "UTC"), ...head)),
    el("tbody", null, ...rows)));
  say("months-legend", "Per cent of the watched time in which the band was open. · watched and never open; hatched: never watched. This hour and month are underlined.");
}

function cell(c) {
  if (c.open_share === null) return el("td", { class: "unwatched" }, el("span", { class: "unseen" }, "not watched"));
  if (c.open_share === 0) return el("td", null, "·");
  const step = STEPS.filter((limit) => c.open_share >= limit).length;
  return el("td", { class: `step${step}` }, c.open_share < 0.005 ? "<1" : String(Math.round(100 * c.open_share)));
}
