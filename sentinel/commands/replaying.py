"""Feeds a log's decodes to the watch of one band, or to those of several."""

import math
from collections.abc import Iterable, Set
from pathlib import Path

from sentinel.band_choice import BandChoice
from sentinel.commands.timeline_view import View
from sentinel.config import Config
from sentinel.intake.layout import Layout
from sentinel.watch.bands import Bands
from sentinel.watch.decode import Decode
from sentinel.watch.watch import Watch


def play_one(config: Config, decodes: Iterable[Decode], until_s: float | None, view: View) -> Set[str]:
    """Feed one band's watch; returns the far stations. The short way: a replay has millions of lines."""
    watch = Watch(config.watch_settings())
    last_s: float | None = None
    for decode in decodes:
        last_s = decode.at_s
        if changes := watch.feed(decode):
            view.show(changes)
    if last_s is not None:
        view.show(watch.tick(_end_s(last_s, until_s)))
    return watch.hearing.far_calls


def play_several(config: Config, decodes: Iterable[Decode], until_s: float | None, view: View) -> Set[str]:
    """Feed the watches of several bands; returns the far stations of all."""
    bands, choice = Bands(config.all_watch_settings()), BandChoice(config)
    last_s: float | None = None
    for decode in decodes:
        last_s = decode.at_s
        band, placed = choice.choose(decode)
        for of, change in bands.feed(placed, band):
            view.show((change,), of)
    if last_s is not None:
        for of, change in bands.tick(_end_s(last_s, until_s)):
            view.show((change,), of)
    return {call for watch in bands.watches.values() for call in watch.hearing.far_calls}


def _end_s(last_s: float, until_s: float | None) -> float:
    return math.nextafter(last_s if until_s is None else max(last_s, until_s), math.inf)


def source_name(config: Config, log: Path, layout: Layout) -> str:
    """The [[source]] that a log is of, among those with its layout: by its path, by its file's name, else one
    that is like all others in what selects a band. The log's own name where that cannot be told."""
    chosen = next(source for source in config.source if source.compiled is layout)
    alike = {
        config.source_name(index): source
        for index, source in enumerate(config.source)
        if (source.layout, source.fields) == (chosen.layout, chosen.fields)
    }
    paths = {name: config.resolve(source.path) for name, source in alike.items() if source.path is not None}
    same = [name for name, path in paths.items() if path.resolve() == log.resolve()]
    same += [name for name, path in paths.items() if path.name == log.name]
    is_clear = len({(source.band, source.freq_mhz) for source in alike.values()}) == 1
    return next(iter(same or (alike if is_clear else (log.name,))))
