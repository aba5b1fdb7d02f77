"""Which of the watched bands a source's lines belong to, by the configuration. Pure."""

from dataclasses import replace

from sentinel.config import Config, SourceSection
from sentinel.watch.bands import band_of
from sentinel.watch.decode import Decode


class BandChoice:
    """Chooses by what a source is set to, else by the frequency in the line, else by the source's usual one.

    A source that is set to a band brings nothing else, whatever frequency its lines say: behind a transverter
    they may say another.
    """

    def __init__(self, config: Config) -> None:
        self._bands = config.all_watch_settings()
        self._limits = {each.band: each for each in self._bands}
        self._sources = {config.source_name(index): each for index, each in enumerate(config.source)}

    def choose(self, decode: Decode) -> tuple[str, Decode]:
        """The band of a decode, and the decode as that band's watch is to be fed it."""
        source = self._sources.get(decode.source)
        if source is not None and source.band is not None:
            return source.band, decode if decode.freq_mhz is None else replace(decode, freq_mhz=None)
        return self._by_frequency(decode.freq_mhz, source), decode

    def lies_within(self, band: str, decode: Decode) -> bool:
        """Whether a decode is of use to the band that was chosen, which has those of no band at all too."""
        return decode.freq_mhz is None or self._limits[band].covers(decode.freq_mhz)

    def of_source(self, name: str) -> str:
        """The band of lines that cannot be read."""
        source = self._sources.get(name)
        if source is not None and source.band is not None:
            return source.band
        return self._by_frequency(None, source)

    def _by_frequency(self, freq_mhz: float | None, source: SourceSection | None) -> str:
        if freq_mhz is None and source is not None:
            freq_mhz = source.freq_mhz
        return band_of(freq_mhz, self._bands)
