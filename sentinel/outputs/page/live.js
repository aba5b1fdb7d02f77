// The wire to the watch, and honesty about it: a page that has lost the watch must not go on saying "quiet".

const SILENCE_S = 40;  // two beats and a bit: then the wire counts as lost
const STUCK_S = 60;    // the watch speaks every few seconds; so old a bulletin means that it stands still
const AGAIN_MS = 10000;

// Calls onBulletin(bulletin) at every news, and before it and every second onTick({now_s, lost}): the time as
// the watch counts it, and null, or how many seconds ago the watch was last heard from.
export function listen(band, onBulletin, onTick) {
  let heard = null;  // {at_s, age_s, when}: the newest moment that the watch has told of
  const began = performance.now();

  function open() {
    const source = new EventSource(`events?band=${encodeURIComponent(band)}`);
    source.addEventListener("beat", (event) => {
      const { at, age_s } = JSON.parse(event.data);
      if (at !== null) heard = { at_s: Date.parse(at) / 1000, age_s, when: performance.now() };
    });
    source.addEventListener("bulletin", (event) => {
      tick();
      onBulletin(JSON.parse(event.data));
    });
    source.addEventListener("error", () => {
      if (source.readyState === EventSource.CLOSED) setTimeout(open, AGAIN_MS);  // refused: ask again
    });
  }

  function tick() {
    const quiet_s = (performance.now() - (heard ? heard.when : began)) / 1000;
    const old_s = heard ? heard.age_s + quiet_s : quiet_s;
    const is_lost = quiet_s > SILENCE_S || old_s > STUCK_S;
    onTick({ now_s: heard ? heard.at_s + old_s : Date.now() / 1000, lost: is_lost ? old_s : null });
  }

  open();
  tick();
  setInterval(tick, 1000);
}
