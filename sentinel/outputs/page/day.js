// The last 24 hours as a strip: quiet is the base line, stirring half as high and hollow, open high and
// solid, blind striped, switched off dotted; where there is nothing, nothing was recorded.

import { byId, el, fill, svg } from "./dom.js";
import { needle } from "./verdict.js";
import * as words from "./words.js";

const BASE = 118, HIGH = 48, HALF = 24, LINE = 3, LANES = 2, LANE = 26;
const NARROW_PX = 700;                  // below it a direction is told in degrees alone
const LABEL_PX = { true: 50, false: 96 };  // room for a label, narrow and wide
const SHAPES = { quiet: LINE, stirring: HALF, open: HIGH, blind: HIGH, off: HIGH };

let record = null;

export function keepDay(answer) {
  record = answer;
}

// The diary's strip, and after its end what the watch has said since, as far as it has been heard from.
export function showDay(bulletin, now_s, lost) {
  if (record === null) return;
  const until_s = now_s, since_s = now_s - 86400;
  const x = (at_s) => `${(100 * Math.min(1, Math.max(0, (at_s - since_s) / 86400))).toFixed(3)}%`;
  const width = (from_s, to_s) => `${(100 * (Math.min(to_s, until_s) - Math.max(from_s, since_s)) / 86400).toFixed(3)}%`;
  const spans = lived(bulletin, until_s - (lost || 0)).filter((s) => s.until_s > since_s && s.since_s < until_s);
  const drawing = svg("svg", { role: "img", "aria-label": told(spans) },
    svg("defs", null, ...patterns("day")),
    ...hours(since_s, until_s, x),
    ...spans.map((s) => {
      const high = SHAPES[s.kind];
      return svg("rect", { class: `span-${s.kind}`, x: x(s.since_s), width: width(s.since_s, s.until_s), y: BASE - high, height: high },
        svg("title", null, `${words.clock(s.since_s)} to ${words.clock(s.until_s)} ${name(s)}`));
    }),
    svg("line", { class: "axis", x1: 0, x2: "100%", y1: BASE, y2: BASE }),
    ...openings(bulletin, since_s, until_s, x, width),
    svg("line", { class: "now-line", x1: "100%", x2: "100%", y1: LANE, y2: BASE + 8 }));
  fill("day", drawing, key());
  fill("day-list", ...spans.slice().reverse().map(listed));
}

function lived(bulletin, until_s) {
  const live = { since_s: words.seconds(bulletin.since), until_s, kind: bulletin.state, because: bulletin.because };
  const before = record.spans
    .map((s) => ({ since_s: words.seconds(s.since), until_s: words.seconds(s.until), kind: s.off ? "off" : s.state, because: s.because }))
    .filter((s) => s.since_s < live.since_s)
    .map((s) => ({ ...s, until_s: Math.min(s.until_s, live.since_s) }));
  return [...before, live];
}

const name = (s) => (s.kind === "off" ? "switched off" : s.kind);

function told(spans) {
  const lasted = {};
  for (const s of spans) lasted[name(s)] = (lasted[name(s)] || 0) + s.until_s - s.since_s;
  const parts = Object.entries(lasted).map(([state, length_s]) => `${state} for ${words.span(length_s)}`);
  return `Strip of the last 24 hours: ${parts.join(", ")}. The list below says the same in words.`;
}

function listed(s) {
  const because = s.because ? `: ${s.because}` : "";
  return el("li", null, el("strong", null, `${words.clock(s.since_s)}–${words.clock(s.until_s)} ${name(s)}`),
    ` (${words.span(s.until_s - s.since_s)})${because}`);
}

function hours(since_s, until_s, x) {
  const marks = [];
  for (let at_s = Math.ceil(since_s / 10800) * 10800; at_s < until_s; at_s += 10800) {
    const odd = (at_s / 10800) % 2 ? " hour-odd" : "";
    marks.push(svg("line", { class: "hour-line", x1: x(at_s), x2: x(at_s), y1: 60, y2: BASE + 8 }));
    if (at_s - since_s > 2400 && until_s - at_s > 2400) {
      marks.push(svg("text", { class: `hour${odd}`, x: x(at_s), y: BASE + 24, "text-anchor": "middle" }, words.clock(at_s)));
    }
  }
  return marks;
}

// Each opening as a bar over the strip with the direction it came from, the newest first. What would overlap
// takes the second lane; where both are taken the bar stands without its label, which the diary's list has too.
function openings(bulletin, since_s, until_s, x, width) {
  const known = new Map(record.openings.map((o) => [o.id, o]));
  for (const o of bulletin.openings) known.set(o.id, o);
  const room_px = byId("day").clientWidth || NARROW_PX, is_narrow = room_px < NARROW_PX;
  const label_s = 86400 * LABEL_PX[is_narrow] / room_px;
  const taken_s = new Array(LANES).fill(Infinity), drawn = [];  // from when on each lane is taken
  for (const o of [...known.values()].sort((a, b) => (a.began_at < b.began_at ? 1 : -1))) {
    const from_s = Math.max(since_s, words.seconds(o.began_at));
    const to_s = Math.min(until_s, o.ended_at === null ? until_s : words.seconds(o.ended_at));
    if (to_s <= since_s || from_s >= until_s) continue;
    const is_late = until_s - from_s < label_s;
    const starts_s = is_late ? until_s - label_s : from_s;
    const ends_s = Math.max(to_s, starts_s + label_s);
    const lane = taken_s.findIndex((at_s) => ends_s <= at_s), y = LANE * (lane < 0 ? LANES - 1 : lane) + 16;
    const from = words.bearing(o.bearing_deg) + (is_narrow ? "" : ` ${words.point(o.bearing_deg)}`);
    drawn.push(svg("rect", { class: "opening", x: x(from_s), width: width(from_s, to_s), y, height: 6 },
      svg("title", null, `${words.clock(from_s)} to ${words.clock(to_s)} from ${from}`)));
    if (lane < 0) continue;
    taken_s[lane] = starts_s;
    drawn.push(svg("text", { x: is_late ? "100%" : x(from_s), y: y - 3, "text-anchor": is_late ? "end" : null }, from));
  }
  return drawn;
}

function patterns(prefix) {
  return [
    svg("pattern", { id: `${prefix}-stripes`, width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      svg("line", { class: "stripe", x1: 0, y1: 0, x2: 0, y2: 8 })),
    svg("pattern", { id: `${prefix}-dots`, width: 8, height: 8, patternUnits: "userSpaceOnUse" },
      svg("circle", { class: "dot", cx: 4, cy: 4, r: 1.2 })),
  ];
}

function key() {
  const sample = (kind) => svg("svg", { "aria-hidden": "true" },
    svg("rect", { class: `span-${kind}`, x: 1, width: 26, y: 17 - SHAPES[kind] / 3, height: SHAPES[kind] / 3 }));
  const names = [["quiet", "quiet"], ["stirring", "stirring"], ["open", "open"], ["blind", "blind"], ["off", "switched off"]];
  return el("ul", { class: "day-key" }, ...names.map(([kind, word]) => el("li", null, sample(kind), word)),
    el("li", null, svg("svg", { "aria-hidden": "true" }, svg("rect", { class: "opening", x: 1, width: 26, y: 7, height: 6 })), "an opening and where from"));
}
