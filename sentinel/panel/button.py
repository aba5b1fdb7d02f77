"""The button: a short press acknowledges, held 3 s shows the second page, held 8 s asks for a clean shutdown.

The second page appears while the button is still down, so the hand learns that it may let go; whoever goes on
holding means the shutdown. A bouncing contact, a button that was down before the watch began, and one that is
stuck do nothing more than their first press.
"""

from collections.abc import Callable
from enum import StrEnum
from queue import Empty, SimpleQueue

PAGE_S, SHUTDOWN_S = 3.0, 8.0
BOUNCE_S = 0.03  # tactile switches settle within 5 to 20 ms: common practice, no source


class Action(StrEnum):
    """What a press, or a command over MQTT with the same name, asks for."""

    ACKNOWLEDGE = "acknowledge"
    SECOND_PAGE = "second-page"
    SHUTDOWN = "shutdown"


def action_named(name: str) -> Action | None:
    """The action of a command's name, or None."""
    return next((action for action in Action if action.value == name), None)


class PressClassifier:
    """Turns edges and the passing of time into actions; times are monotonic seconds, fed in order.

    An edge counts once it has held for ``BOUNCE_S``, with the time at which it came.
    """

    def __init__(self, is_pressed: bool = False, may_shut_down: bool = True) -> None:
        self._is_pressed = is_pressed
        self._edge_s: float | None = None  # an edge away from the settled level, not yet believed
        self._pressed_s: float | None = None  # None: up, or down since before we looked
        self._fired: set[Action] = set()
        self._holds = [(PAGE_S, Action.SECOND_PAGE)]
        if may_shut_down:
            self._holds.append((SHUTDOWN_S, Action.SHUTDOWN))

    def edge(self, is_pressed: bool, at_s: float) -> list[Action]:
        """The level changed at a time."""
        actions = self.tick(at_s)
        if is_pressed == self._is_pressed:
            self._edge_s = None
        elif self._edge_s is None:
            self._edge_s = at_s
        return actions

    def tick(self, at_s: float) -> list[Action]:
        """Time has passed; call it at ``due_s`` at the latest."""
        actions: list[Action] = []
        if self._edge_s is not None and at_s - self._edge_s >= BOUNCE_S:
            actions += self._settle(self._edge_s)
        held_until_s = at_s if self._edge_s is None else self._edge_s
        return actions + self._held(held_until_s)

    @property
    def due_s(self) -> float | None:
        """When time alone will next matter, if it will."""
        if self._edge_s is not None:
            return self._edge_s + BOUNCE_S
        if self._pressed_s is None:
            return None
        return min(
            (self._pressed_s + s for s, action in self._holds if action not in self._fired), default=None
        )

    def _settle(self, edge_s: float) -> list[Action]:
        self._edge_s = None
        self._is_pressed = not self._is_pressed
        if self._is_pressed:
            self._pressed_s, self._fired = edge_s, set()
            return []
        actions = self._held(edge_s)
        was_short = self._pressed_s is not None and not self._fired
        self._pressed_s = None
        return [Action.ACKNOWLEDGE] if was_short else actions

    def _held(self, until_s: float) -> list[Action]:
        """What holding the button until a time has newly reached."""
        if self._pressed_s is None:
            return []
        held_s = until_s - self._pressed_s
        due = [action for after_s, action in self._holds if held_s >= after_s and action not in self._fired]
        self._fired.update(due)
        return due


class ButtonReader:
    """Feeds the edges that the pins report (from their own thread) to the classifier and hands on actions."""

    def __init__(
        self, classifier: PressClassifier, on_action: Callable[[Action], None], clock: Callable[[], float]
    ) -> None:
        self._classifier, self._on_action, self._clock = classifier, on_action, clock
        self._edges: SimpleQueue[tuple[bool, float] | None] = SimpleQueue()

    def report(self, is_pressed: bool) -> None:
        """The level has just changed; callable from any thread."""
        self._edges.put((is_pressed, self._clock()))

    def end(self) -> None:
        self._edges.put(None)

    def run(self) -> None:
        """Read until ``end`` is called."""
        while self.step():
            pass

    def step(self) -> bool:
        """Wait for the next edge or the next time that matters, and act on it; False once ended."""
        due_s = self._classifier.due_s
        try:
            edge = self._edges.get(timeout=None if due_s is None else max(0.0, due_s - self._clock()))
        except Empty:
            actions = self._classifier.tick(self._clock())
        else:
            if edge is None:
                return False
            actions = self._classifier.edge(*edge)
        for action in actions:
            self._on_action(action)
        return True
