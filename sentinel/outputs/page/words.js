// What the page says in words: states, modes, times, places. Nothing is decided here.

export const MODES = {
  "sporadic-e": "sporadic E",
  "multi-hop-sporadic-e": "sporadic E, several hops",
  "f2": "F2 layer",
  "transequatorial": "transequatorial",
  "meteor-scatter": "meteor scatter",
  "aurora": "aurora",
  "tropo": "tropo",
  "unknown": "mode unclear",
};

// As the trade writes them in a table.
const SHORT = {
  "sporadic-e": "Es",
  "multi-hop-sporadic-e": "n-hop Es",
  "f2": "F2",
  "transequatorial": "TEP",
  "meteor-scatter": "meteors",
  "unknown": "unclear",
};

export const STATES = {
  quiet: "Quiet",
  stirring: "Stirring",
  open: "Open",
  blind: "Blind",
};

const POINTS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"];
export const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

export const point = (deg) => POINTS[Math.round(deg / 22.5) % 16];
export const bearing = (deg) => `${String(Math.round(deg) % 360).padStart(3, "0")}°`;
export const mode = (code) => MODES[code] || MODES.unknown;
export const shortMode = (code) => SHORT[code] || mode(code);
export const per_cent = (share) => (share > 0 && share < 0.005 ? "<1 %" : `${Math.round(100 * share)} %`);
export const count = (n, one, many) => `${n.toLocaleString("en")} ${n === 1 ? one : many}`;
export const km = (near, far) => (near === far ? `${near}` : `${near}–${far}`);
export const db = (value) => (value === null ? "" : `${value > 0 ? "+" : value < 0 ? "−" : ""}${Math.abs(Math.round(value))}`);

export const seconds = (iso) => Date.parse(iso) / 1000;
const two = (n) => String(n).padStart(2, "0");

export function clock(at_s, withSeconds) {
  const moment = new Date(at_s * 1000);
  const time = `${two(moment.getUTCHours())}:${two(moment.getUTCMinutes())}`;
  return withSeconds ? `${time}:${two(moment.getUTCSeconds())}` : time;
}

export function day(at_s) {
  const moment = new Date(at_s * 1000);
  return `${moment.getUTCDate()} ${MONTHS[moment.getUTCMonth()]}`;
}

export const date = (at_s) => new Date(at_s * 1000).toISOString().slice(0, 10);

// The time, with the day when that is another one than now's.
export function moment(iso, now_s) {
  const at_s = seconds(iso);
  return date(at_s) === date(now_s) ? clock(at_s) : `${day(at_s)}, ${clock(at_s)}`;
}

// How long, in the unit in which people say it; rounded down, never older than it is.
export function span(length_s) {
  const s = Math.max(0, Math.floor(length_s));
  if (s < 60) return `${s} s`;
  if (s < 3600) return `${Math.floor(s / 60)} min`;
  if (s < 86400) return `${Math.floor(s / 3600)} h ${two(Math.floor((s % 3600) / 60))} min`;
  return `${Math.floor(s / 86400)} d ${Math.floor((s % 86400) / 3600)} h`;
}
