// Who is heard, and whether the watch itself is well.

import { byId, el, fill, table } from "./dom.js";
import { needle } from "./verdict.js";
import * as words from "./words.js";

const DOUBTFUL = 0.5;  // below that a decode is more likely wrong than right

export function showHeard(bulletin, now_s) {
  const { stations, omitted } = bulletin;
  if (!stations.length) {
    const why = bulletin.state === "blind" ? "Unknown while the watch is blind." : "Nobody far.";
    fill("heard", el("p", { class: "empty" }, why));
    return;
  }
  const more = omitted ? [el("p", { class: "empty" }, `and ${omitted} more`)] : [];
  fill("heard", table([
    { title: "Call", cell: (s) => s.call },
    { title: "Locator", cell: (s) => s.locator || "" },
    { title: "From", className: "nowrap", cell: (s) => el("span", null, needle(s.bearing_deg), words.bearing(s.bearing_deg)) },
    { title: "km", className: "num", cell: (s) => String(s.distance_km) },
    { title: "dB", className: "num", cell: (s) => words.db(s.last_snr_db) },
    { title: "Times", className: "num", wide: true, cell: (s) => String(s.slots) },
    { title: "Ago", className: "num", cell: (s) => words.span(now_s - words.seconds(s.last_at)) },
    { title: "Trust", className: "num", wide: true, cell: (s) => words.per_cent(s.trust) },
    { title: "Place", className: "why", wide: true, cell: (s) => PLACES[s.location_source] || "" },
  ], stations, (s) => (s.trust < DOUBTFUL ? "doubtful" : null)), ...more);
}

const PLACES = {
  "message": "as sent",
  "heard-before": "as before",
  "log": "as logged",
  "prefix": "by prefix",
};

// A part that is well is framed, one that has failed is filled, one that is unknown is neither.
function part(name, well, note) {
  const [kind, word] = well === null ? ["unknown", "not known"] : well ? ["well", "well"] : ["unwell", "not well"];
  return el("li", null, el("span", { class: `mark ${kind}` }, word), el("span", null, el("strong", null, name), note ? `: ${note}` : ""));
}

export function showHealth(bulletin, now_s, lost) {
  const r = bulletin.receiver;
  const ago = (iso) => (iso === null ? "never" : `${words.span(now_s - words.seconds(iso))} ago`);
  const receiver = part("receiver", bulletin.state !== "blind", bulletin.state === "blind" ? bulletin.because : r.notes.join(" "));
  const wire = part("this page", lost === null, lost === null ? "" : `nothing from the watch for ${words.span(lost)}`);
  const figures = [
    ["Last decode", ago(r.last_decode_at)],
    ["Stations nearby", String(r.near_stations)],
    ["Canary heard", r.canary_last_at === null ? "–" : ago(r.canary_last_at)],
    ["Clock error", r.clock_error_s === null ? "not known" : `${r.clock_error_s.toFixed(1)} s`],
    ["Lines read", r.lines.toLocaleString("en")],
    ["Decodes", r.decodes.toLocaleString("en")],
    ["Not believed", r.rejected.toLocaleString("en")],
    ["Too late", r.late.toLocaleString("en")],
  ];
  fill("health",
    el("ul", { class: "parts" }, receiver, ...bulletin.parts.map((p) => part(p.name, p.well, p.note)), wire),
    el("dl", { class: "figures" }, ...figures.map(([name, value]) => el("div", null, el("dt", null, name), el("dd", null, value)))));
}
