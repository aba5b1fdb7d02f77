"""The panel's picture as a file, for whoever wants to look at it without a panel."""

from pathlib import Path

from sentinel.config import Config
from sentinel.output import News
from sentinel.panel.picture_file import draw_apart
from sentinel.watch.bulletin import Bulletin, Part
from sentinel.worker import LatestWorker


class PictureOutput:
    """Writes the panel's picture when the state changes, whole or not at all."""

    def __init__(self, config: Config, state_dir: Path) -> None:
        self.path = picture_path(config, state_dir)
        self._size, self._accent = config.panel.size_px, config.panel.accent
        self._worker: LatestWorker[Bulletin] = LatestWorker("picture", self._write)

    def take(self, news: News) -> None:
        if news.has_changed:
            self._worker.put(news.bulletin)

    def parts(self) -> tuple[Part, ...]:
        return (self._worker.part(),)

    def stop(self) -> None:
        self._worker.stop()

    def _write(self, bulletin: Bulletin) -> None:
        draw_apart(bulletin, self._size, self._accent, self.path)


def picture_path(config: Config, state_dir: Path) -> Path:
    """Where the picture is written."""
    given = config.panel.picture
    return state_dir / "panel.png" if given is None else config.resolve(given)
