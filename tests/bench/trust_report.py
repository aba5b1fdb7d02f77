"""How trust separates true decodes from false ones, on the rehearsal's data; the cut is chosen by it.

    python tests/bench/trust_report.py --seeds 20:26 --out tests/bench/trust.png

For each far station's *first* decode the watch's trust is taken at once, and again after its second one. A
histogram of both, for true and false decodes, is drawn in black and white and printed as a table; the cut
(``sentinel.watch.trust.CREDIBLE``) is the dashed line. Only the picture needs matplotlib (extra ``plots``).
"""

import argparse
from collections import Counter
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

from verdict_drivers import decode_of, watch_settings

from sentinel.rehearsal.kinds import build
from sentinel.trade.message import parse_message
from sentinel.watch.trust import CREDIBLE
from sentinel.watch.watch import Watch

KINDS = ("dead-band", "meteor-night", "false-flood", "es", "es-in-flood", "es-few-and-ghosts", "f2")
STYLES = {True: {"color": "0.75", "edgecolor": "black"}, False: {"fill": False, "hatch": "////"}}
BINS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)


def trusts(kinds: Iterable[str], seeds: range) -> dict[tuple[bool, int], list[float]]:
    """(is true, first or second decode) -> trust of each far station at that moment."""
    found: dict[tuple[bool, int], list[float]] = {(t, n): [] for t in (True, False) for n in (1, 2)}
    for kind in kinds:
        for seed in seeds:
            scenario = build(kind, seed)
            watch = Watch(watch_settings(scenario))
            times: Counter[str] = Counter()
            slot: list[tuple[str, bool]] = []
            slot_s = None
            for line in scenario.heard:
                if slot_s is not None and line.at_s != slot_s:
                    watch.tick(line.at_s)
                    _take(watch, slot, times, found)
                    slot = []
                slot_s = line.at_s
                watch.feed(decode_of(line))
                if line.is_far or not line.is_true:
                    slot.append((_sender(line.message), line.is_true))
    return found


def _sender(message: str) -> str:
    sender = parse_message(message).sender
    return sender.text if sender is not None else ""


def _take(
    watch: Watch,
    slot: list[tuple[str, bool]],
    times: Counter[str],
    found: dict[tuple[bool, int], list[float]],
) -> None:
    for call, is_true in set(slot):
        track = watch.hearing.tracks.get(call) or watch.hearing.candidates.get(call)
        if track is None:
            continue
        times[call] += 1
        if times[call] <= 2:
            found[is_true, times[call]].append(track.trust)


def table(found: dict[tuple[bool, int], list[float]]) -> str:
    """Shares of stations in each band of trust."""
    names = {(t, n): f"{'true' if t else 'false'}, {'first' if n == 1 else 'second'}" for t, n in found}
    lines = ["| trust from | " + " | ".join(names.values()) + " |", "|---" * (len(names) + 1) + "|"]
    for low, high in pairwise(BINS):
        shares = []
        for key in names:
            values = found[key]
            inside = sum(low <= v < high or (high == 1.0 and v == 1.0) for v in values)
            shares.append(f"{inside / len(values):.1%}" if values else "-")
        lines.append(f"| {low:.2f} | " + " | ".join(shares) + " |")
    counts = ", ".join(
        f"{names[key]}: {sum(v >= CREDIBLE for v in values)} of {len(values)}"
        for key, values in found.items()
    )
    return "\n".join([*lines, "", f"at or above the cut of {CREDIBLE}: {counts}"])


def draw(found: dict[tuple[bool, int], list[float]], out: Path) -> None:
    """Histograms in black and white, each as a share of its own stations."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, panels = plt.subplots(1, 2, figsize=(8, 3), sharey=True)
    for panel, number, title in zip(panels, (1, 2), ("first decode", "second decode"), strict=True):
        for is_true, style in STYLES.items():
            values = found[is_true, number]
            if values:
                weights = [1 / len(values)] * len(values)
                label = "true stations" if is_true else "false calls"
                label = f"{label} ({len(values)})"
                panel.hist(values, bins=20, range=(0, 1), weights=weights, label=label, **style)
        panel.axvline(CREDIBLE, linestyle="--", color="black")
        panel.set_title(f"trust after the {title}")
        panel.set_xlabel("trust")
        panel.legend(loc="upper center", fontsize=8)
    panels[0].set_ylabel("share of stations")
    figure.tight_layout()
    figure.savefig(out, dpi=110)


def main() -> None:
    """Print the table and draw the figure."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", default="20:26", help="A:B (%(default)s)")
    parser.add_argument("--out", type=Path, help="draw the figure into this file")
    options = parser.parse_args()
    first, last = (int(part) for part in options.seeds.split(":"))
    found = trusts(KINDS, range(first, last))
    print(table(found))
    if options.out is not None:
        draw(found, options.out)


if __name__ == "__main__":
    main()
