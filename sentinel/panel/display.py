"""The display as the daemon uses it: give it the bulletin from time to time, it shows what is due.

It draws, decides by the refresh rules, survives a display that fails and says so in its health: after three
failures in a row it reports the display as failed and tries again only every quarter of an hour. It belongs
to one thread.
"""

import logging
from collections.abc import Callable

from PIL import Image

from sentinel.panel.glass import Glass, GlassError, Refresh
from sentinel.panel.picture import draw
from sentinel.panel.refresh import VENDORS_RULES, Change, Refreshed, Rules, change_between, decide
from sentinel.watch.bulletin import Bulletin, Part

STRIKES = 3
RETRY_SOON_S = 180.0  # the vendors' gap between full refreshes: the next one is a full one
RETRY_SLOWLY_S = 900.0

log = logging.getLogger(__name__)


class Display:
    """A glass, what it shows, and how it fares. ``open_glass`` is called anew after every failure."""

    def __init__(self, open_glass: Callable[[], Glass], rules: Rules = VENDORS_RULES) -> None:
        self._open_glass = open_glass
        self._rules = rules
        self._glass: Glass | None = None
        self._shown: tuple[Bulletin, int] | None = None
        self._done = Refreshed()
        self._failures = 0
        self._not_before_s = float("-inf")
        self._note = ""

    @property
    def health(self) -> Part:
        """The part ``display`` of a bulletin."""
        if self._failures >= STRIKES:
            return Part("display", False, self._note)
        return Part("display", True if self._shown is not None else None, self._note)

    def update(self, bulletin: Bulletin, now_s: float, page: int = 1) -> Refresh:
        """Show the bulletin if a refresh is due at ``now_s`` (monotonic); returns what was done.

        A display that fails is reported by ``health`` and in the log, never by an exception.
        """
        if now_s < self._not_before_s:
            return Refresh.NONE
        try:
            return self._update(bulletin, now_s, page)
        except GlassError as error:
            self._strike(error, now_s)
            return Refresh.NONE

    def farewell(self, picture: Image.Image | None) -> None:
        """At shutdown: a last picture, or plain white, and release the wires. Failures are only logged."""
        try:
            glass = self._opened()
            if picture is None:
                glass.clear()
            else:
                glass.show(picture, Refresh.FULL)
        except GlassError as error:
            log.warning("the display keeps its last picture: %s", error)
        finally:
            self._release()

    def _update(self, bulletin: Bulletin, now_s: float, page: int) -> Refresh:
        glass = self._opened()
        change = change_between(self._shown[0] if self._shown else None, bulletin)
        if self._shown and self._shown[1] != page:
            change = Change.STATE
        refresh = decide(self._done, now_s, change, not glass.has_accent, self._rules)
        if refresh is not Refresh.NONE:
            glass.show(draw(bulletin, glass.size, glass.has_accent, page), refresh)
            self._done = self._done.after(refresh, now_s)
            self._shown = bulletin, page
            if self._failures:
                log.info("the display works again")
            self._failures, self._note = 0, ""
        return refresh

    def _opened(self) -> Glass:
        if self._glass is None:
            self._glass = self._open_glass()
        return self._glass

    def _strike(self, error: GlassError, now_s: float) -> None:
        self._failures += 1
        self._note = str(error)
        self._release()
        # What the glass shows now is unknown: the next refresh must be a full one.
        self._done, self._shown = Refreshed(), None
        if self._failures == STRIKES:
            log.error("going on without the display, trying again every %.0f s: %s", RETRY_SLOWLY_S, error)
        elif self._failures < STRIKES:
            log.warning("the display failed: %s", error)
        self._not_before_s = now_s + (RETRY_SLOWLY_S if self._failures >= STRIKES else RETRY_SOON_S)

    def _release(self) -> None:
        glass, self._glass = self._glass, None
        if glass is not None:
            glass.close()
