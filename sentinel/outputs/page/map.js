// The great-circle map: the station in the middle, every straight line from it a great circle, distances to
// scale. Stations are drawn by their bearing and distance; coasts and reflection points come in kilometres.

import { byId, el, fill, say, svg } from "./dom.js";
import * as words from "./words.js";

const REACHES_KM = [3000, 6000, 12000, 20015];
const RINGS_KM = { 3000: [1000, 2000], 6000: [2000, 4000], 12000: [4000, 8000], 20015: [5000, 10000, 15000] };
const R = 100;
const NARROWEST_DEG = 6, WIDEST_DEG = 40;  // half the arc on the rim: to be seen, and still to point

let coasts = null;

export async function loadCoasts(band) {
  const answer = await fetch(`coasts.json?band=${encodeURIComponent(band)}`);
  coasts = answer.ok ? (await answer.json()).path : null;
}

function at(bearing_deg, radius) {
  const angle = bearing_deg * Math.PI / 180;
  return [radius * Math.sin(angle), -radius * Math.cos(angle)];
}

function reachOf(bulletin) {
  const chosen = byId("reach").value;
  if (chosen !== "auto") return Number(chosen);
  const farthest = Math.max(0, ...bulletin.stations.map((s) => s.distance_km), ...bulletin.headings.map((h) => h.farthest_km));
  return farthest ? REACHES_KM.find((reach) => farthest <= 0.95 * reach) || 20015 : 6000;
}

export function showMap(bulletin) {
  const reach = reachOf(bulletin), scale = R / reach;
  const is_blind = bulletin.state === "blind";
  const free = freeBearing(bulletin);
  const inside = (x, y) => Math.hypot(x, y) <= R - 1.5;
  const stations = bulletin.stations.map((s) => ({ s, xy: at(s.bearing_deg, s.distance_km * scale) })).filter(({ xy }) => inside(...xy));
  const points = bulletin.reflections.map((p) => [p.x_km * scale, p.y_km * scale, p.call]).filter(([x, y]) => inside(x, y));
  fill("map", svg("svg", { viewBox: "-114 -114 228 228", role: "img", "aria-label": told(bulletin, stations.length) },
    definitions(),
    svg("g", { "clip-path": "url(#rim-clip)" },
      ...(coasts ? ["shore", "coast"] : []).map((kind) => svg("path", { class: kind, d: coasts, transform: `scale(${scale})` })),
      ...RINGS_KM[reach].map((ring) => svg("circle", { class: "ring", r: ring * scale })),
      is_blind ? svg("circle", { class: "barred", r: R }) : null,
      ...stations.map(({ xy: [x, y] }) => svg("line", { class: "path", x1: 0, y1: 0, x2: x, y2: y })),
      ...RINGS_KM[reach].map((ring) => distance(ring, at(free, ring * scale)))),
    ...rim(),
    ...bulletin.headings.flatMap((h) => heading(h, bulletin.state === "open")),
    ...points.map(([x, y, call]) => svg("path", { class: "cross", d: `M${x - 2} ${y - 2}l4 4m0 -4l-4 4` }, svg("title", null, `reflection point towards ${call}`))),
    ...stations.map(({ s, xy: [x, y] }) => svg("rect", { class: "station", x: x - 2, y: y - 2, width: 4, height: 4 },
      svg("title", null, `${s.call} ${s.locator || ""} ${words.bearing(s.bearing_deg)} ${s.distance_km} km`))),
    svg("circle", { class: "home", r: 3.4 }), svg("circle", { class: "home-dot", r: 1.2 })));
  say("map-legend", `The rim is ${reach.toLocaleString("en")} km away. Squares are stations, crosses the reflection ` +
    "points between; a heavy arc on the rim is a direction that comes through.");
}

function distance(ring, [x, y]) {
  return svg("text", { class: "km", x, y: y + 1.6, "text-anchor": "middle" }, `${ring} km`);
}

// Where no direction comes through, so that the rings can be labelled there; south, if nothing is in the way.
function freeBearing(bulletin) {
  const away = (deg) => Math.min(180, ...bulletin.headings.map((h) => Math.abs((h.bearing_deg - deg + 540) % 360 - 180)));
  return [180, 135, 225, 90, 270, 45, 315, 0].reduce((best, deg) => (away(deg) > away(best) + 1 ? deg : best));
}

function told(bulletin, shown) {
  if (bulletin.state === "blind") return "Map around the station: nothing can be known while the watch is blind.";
  const from = bulletin.headings.map((h) => `${words.count(h.stations, "station", "stations")} from ${words.bearing(h.bearing_deg)}`);
  return `Map around the station, ${words.count(shown, "station", "stations")} on it` + (from.length ? `: ${from.join(", ")}.` : ".");
}

function definitions() {
  return svg("defs", null,
    svg("clipPath", { id: "rim-clip" }, svg("circle", { r: R })),
    svg("pattern", { id: "stripes", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      svg("line", { class: "stripe", x1: 0, y1: 0, x2: 0, y2: 8 })));
}

function rim() {
  const ticks = [];
  for (let deg = 0; deg < 360; deg += 10) {
    const [x1, y1] = at(deg, R), [x2, y2] = at(deg, R + (deg % 30 ? 2 : 4));
    ticks.push(svg("line", { class: "tick", x1, y1, x2, y2 }));
    if (deg % 30) continue;
    const [x, y] = at(deg, R + 9);
    const name = { 0: "N", 90: "E", 180: "S", 270: "W" }[deg];
    ticks.push(svg("text", { class: name ? null : "deg", x, y: y + (name ? 2.5 : 1.7), "text-anchor": "middle" }, name || String(deg)));
  }
  return [svg("circle", { class: "rim", r: R }), ...ticks];
}

// A heavy piece of the rim as wide as the stations spread, solid while the band is open, else hollow.
function heading(h, is_solid) {
  const half = Math.min(WIDEST_DEG, Math.max(NARROWEST_DEG, h.spread_deg));
  const arc = (from, to) => {
    const [x1, y1] = at(from, R), [x2, y2] = at(to, R);
    return `M${x1} ${y1}A${R} ${R} 0 0 1 ${x2} ${y2}`;
  };
  const [x, y] = at(h.bearing_deg, R);
  return [
    svg("line", { class: "heading-line", x1: 0, y1: 0, x2: x, y2: y, "stroke-dasharray": is_solid ? null : "4 3" }),
    svg("path", { class: "heading-arc", d: arc(h.bearing_deg - half, h.bearing_deg + half) }),
    is_solid ? null : svg("path", { class: "heading-gap", d: arc(h.bearing_deg - half + 1, h.bearing_deg + half - 1) }),
  ].filter(Boolean);
}
