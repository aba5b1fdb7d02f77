"""From what has happened to who is told of it: the diary everything, outputs what is news, people what they
want to know."""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sentinel import notify
from sentinel.attention import Attention
from sentinel.band_diary import BandDiary, Place
from sentinel.live_watch import LiveWatch
from sentinel.output import News, Output
from sentinel.outputs.notices import Notices
from sentinel.watch.bulletin import Bulletin, Chance, OtherBand, Part
from sentinel.watch.changes import Change, StateChanged

SECOND_PAGE_S = 120.0
"""So long the second page stays, unless the button asks for it once more."""

log = logging.getLogger("sentinel")


class Telling:
    """Collects one band's changes until they are told to ``outputs``. ``parts``, ``chances`` and ``others``
    complete the core's bulletin; ``is_quiet_hour`` says whether notices are to wait; ``label`` begins the
    band's lines in the log. Without ``on_change`` it is not the main band, of which systemd is told."""

    def __init__(
        self,
        live: LiveWatch,
        diary: BandDiary,
        notes: Mapping[str, Any],
        living: Sequence[Any],
        outputs: Sequence[Output],
        *,
        parts: Callable[[], Iterable[Part]],
        chances: Callable[[], tuple[Chance, ...]],
        others: Callable[[], tuple[OtherBand, ...]],
        is_quiet_hour: Callable[[], bool],
        on_change: Callable[[Bulletin], None] | None,
        on_refresh: Callable[[Bulletin], None] | None,
        label: str,
    ) -> None:
        self._outputs = outputs
        self._live, self._diary = live, diary
        self._attention = Attention.from_json(notes.get("attention"))
        self._notices = Notices.from_json(notes.get("notices"), living)
        self._parts, self._chances, self._others = parts, chances, others
        self._is_quiet_hour, self._label = is_quiet_hour, label
        self._on_change, self._on_refresh = on_change, on_refresh
        self._shown_others: tuple[OtherBand, ...] = ()
        self._happened: list[Change] = []
        self._to_note: list[Change] = []
        self._page_until_s = float("-inf")
        self._is_first = True

    @property
    def is_muted(self) -> bool:
        return self._attention.is_muted(self._live.now_s)

    def bulletin(self) -> Bulletin:
        """The bulletin with what the core does not know."""
        return replace(
            self._live.bulletin(),
            parts=tuple(self._parts()),
            outlook=self._chances(),
            other_bands=self._others(),
            is_acknowledged=self._attention.is_acknowledged,
        )

    def happened(self, changes: Iterable[Change]) -> bool:
        """Take changes, to be told with the next ``tell``; True if there are any."""
        found = list(changes)
        self._happened += found
        self._to_note += found
        if any(isinstance(change, StateChanged) for change in found):
            self._attention.state_changed()
        return bool(found)

    def note(self, place: Callable[[Mapping[str, Any]], Place] | None = None) -> None:
        """The newest instant is complete: the diary gets what is new, and from where a start goes on."""
        if not self._live.has_verdict:
            return
        kept = None if place is None else place(self._kept())
        happened, self._to_note = self._to_note, []
        self._diary.note(self.bulletin(), self._live.heard_lately(), happened, kept, self._live.take_struck())

    def tell(self, now_s: float) -> Bulletin | None:
        """Hand what has happened, and how things stand, to every output; None before the first verdict."""
        if not self._live.has_verdict:
            return None
        bulletin = self.bulletin()
        happened, self._happened = self._happened, []
        is_wanted = not self.is_muted and not self._is_quiet_hour()
        notices = self._notices.tell(happened, bulletin, is_wanted=is_wanted)
        has_changed, self._is_first = bool(happened) or self._is_first, False
        if has_changed:
            log.info("%s%s: %s", self._label, bulletin.state.value, ascii(bulletin.because)[1:-1])
        if has_changed and self._on_change is not None:
            notify.status(f"{bulletin.state.value}: {bulletin.because}")
            self._on_change(bulletin)
        has_changed |= bulletin.other_bands != self._shown_others
        self._shown_others = bulletin.other_bands
        page = 2 if now_s < self._page_until_s else 1
        news = News(bulletin, now_s, notices, has_changed, self.is_muted, page)
        for output in self._outputs:
            output.take(news)
        if self._on_refresh is not None:
            self._on_refresh(bulletin)
        return bulletin

    # --- what people ask for ----------------------------------------------------------------------

    def mute(self, minutes: int | None) -> str:
        """No notices for so many minutes, by default until unmuted; returns a sentence."""
        self._attention.mute(self._live.now_s, minutes)
        return "Muted until unmuted." if minutes is None else f"Muted for {minutes} min."

    def unmute(self) -> str:
        self._attention.unmute()
        return "No longer muted."

    def acknowledge(self) -> tuple[bool, str]:
        """Somebody has seen how it stands; whether there was anything to see, and a sentence."""
        if not self._live.has_verdict:
            return False, "There is no verdict yet."
        bulletin = self.bulletin()
        if not self._attention.acknowledge(bulletin.state):
            return False, "There is nothing to acknowledge: the band is quiet."
        self._notices.acknowledge(bulletin)
        return True, f"Acknowledged: {bulletin.state.value}."

    def turn_page(self, now_s: float) -> None:
        """The second page for a while, or the first again."""
        is_turned = now_s < self._page_until_s
        self._page_until_s = float("-inf") if is_turned else now_s + SECOND_PAGE_S

    def _kept(self) -> dict[str, Any]:
        return {"attention": self._attention.as_json(), "notices": self._notices.as_json()}
