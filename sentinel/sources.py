"""The sources of lines as the daemon sees them: all of them, each with its reader and its place."""

import logging
from collections.abc import Iterator, Mapping

from sentinel.band_choice import BandChoice
from sentinel.config import Config
from sentinel.intake.layout import Header, LayoutReader
from sentinel.intake.line import LineBatch
from sentinel.intake.source import Deliver, Source
from sentinel.tuning import NO_BAND_OF_OURS, Tuning
from sentinel.watch.bulletin import Part
from sentinel.watch.decode import Decode
from sentinel.watch.sentences import minutes
from sentinel.wiring import checkpoint_from, checkpoint_text, make_source

NOT_THERE = "the output of the decoder is not there"

log = logging.getLogger("sentinel.sources")


class Sources:
    """Every [[source]], going on from ``checkpoints`` by their names."""

    def __init__(self, config: Config, checkpoints: Mapping[str, str]) -> None:
        self._sources: dict[str, Source] = {}
        self._readers: dict[str, LayoutReader] = {}
        self._places = dict(checkpoints)
        self._choice = BandChoice(config)
        self._brings = {config.source_name(index): each.band for index, each in enumerate(config.source)}
        self._tunings: dict[str, Tuning] = {}
        for index, section in enumerate(config.source):
            name = config.source_name(index)
            if section.one_band_at_a_time:
                self._tunings[name] = Tuning(config.band.names)
            place, newest_date = checkpoint_from(checkpoints.get(name, ""))
            self._readers[name] = LayoutReader(section.compiled, name, newest_date)
            self._sources[name] = make_source(config, index, place)

    def start(self, deliver: Deliver) -> None:
        """Begin to read, each in a thread of its own."""
        for source in self._sources.values():
            source.start(deliver)

    def read(
        self, batch: LineBatch, wall_s: float | None, now_s: float
    ) -> Iterator[tuple[str, Decode | None]]:
        """The decodes of a batch, each with its band, None for a line that cannot be read.

        ``wall_s``: a clock that is right; ``now_s`` is monotonic.
        """
        reader = self._readers[batch.source]
        for found in reader.read_batch(batch, wall_s):
            if isinstance(found, Decode):
                band, decode = self._choice.choose(found)
                if (tuning := self._tunings.get(batch.source)) is not None:
                    is_ours = self._choice.lies_within(band, decode)
                    tuning.hear(band if is_ours else NO_BAND_OF_OURS, now_s)
                yield band, decode
            elif found is not None and not isinstance(found, Header):
                yield self._choice.of_source(batch.source), None
        if batch.checkpoint is not None:
            self._places[batch.source] = checkpoint_text(batch.checkpoint, reader.maybe_date)

    def places(self) -> Mapping[str, str]:
        """Where each source stands, as text for the diary."""
        return {name: place for name, place in self._places.items() if name in self._sources}

    def trouble(self, band: str, now_s: float) -> str | None:
        """Why nothing can be heard on a band, one sentence; None while a source that brings it is there, and
        listens on it. ``now_s`` is monotonic."""
        names = [name for name in self._sources if self._brings[name] in (None, band)]
        troubles = [self._trouble_of(name, band, now_s) for name in names]
        if not names or None in troubles:
            return None
        return f"Nothing can be heard: {next(filter(None, troubles), NOT_THERE)}."

    def _trouble_of(self, name: str, band: str, now_s: float) -> str | None:
        """None where all is well, empty where it is not known why not."""
        health, tuning = self._sources[name].health(), self._tunings.get(name)
        if not health.is_there:
            return health.trouble or ""
        away_s = None if tuning is None else tuning.away_s(band, now_s)
        if tuning is None or away_s is None:
            return None
        return f"source {name} has been on {tuning.on} and not on {band} for {minutes(away_s)}"

    def parts(self) -> Iterator[Part]:
        """How each source is."""
        for source in self._sources.values():
            health = source.health()
            yield Part(f"source {source.name}", health.is_there, health.trouble or "")

    def stop(self) -> None:
        for source in self._sources.values():
            if not source.stop():
                log.warning("source %s did not stop in time", source.name)
