"""A command's access to its page: faces that show on terminal and page, and waits that either can end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from sweeprig.bench.face import Face
from sweeprig.page import scenes
from sweeprig.page.hub import Hub
from sweeprig.page.model import Action, Scene

if TYPE_CHECKING:
    from sweeprig.bench.readings.watch import WatchState
    from sweeprig.bench.sweep.prompts import SweepState
    from sweeprig.bench.sweep.sweep import SweepDone
    from sweeprig.bench.wiggle.run import WiggleFace
    from sweeprig.errors import SweeprigError

State = TypeVar("State")
LOOK_S = 0.1  # [s] between two looks at the terminal's keys while nothing runs
SHEET = "/sheet"  # of the last sweep


class BothFace(Generic[State]):
    """A face that a page shares: shown on both, keys from both, ended by either."""

    def __init__(self, inner: Face[State], hub: Hub, scene: Callable[[State], Scene]) -> None:
        self._inner, self._hub, self._scene = inner, hub, scene

    def show(self, state: State) -> None:
        """Show the state on both."""
        self._inner.show(state)
        self._hub.show(lambda: self._scene(state), now=False)

    def pressed(self) -> str:
        """Return the keys of both."""
        return self._inner.pressed() + self._hub.keys()

    def ended(self) -> bool:
        """Return whether either wants to end: a phone that presses OFF ends the run, because the supply goes off."""
        return self._inner.ended() or self._hub.off()

    def __getattr__(self, name: str) -> Any:
        """Pass on what else the terminal's face can do, such as showing an event."""
        return getattr(self._inner, name)


class Beside:
    """A command's way to its page."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub
        self.stays = True  # at the end of a command, until the terminal ends it

    @contextmanager
    def _both(self, inner: AbstractContextManager[Any], scene: Callable[[Any], Scene]) -> Iterator[Any]:
        with inner as face:
            yield BothFace(face, self.hub, scene)

    def sweep(
        self,
        inner: AbstractContextManager[Face[SweepState]],
        title: str,
        *,
        simulated: bool,
        keys: bool = True,
    ) -> AbstractContextManager[Face[SweepState]]:
        """Share the face of a sweep; without `keys` a phone can only press OFF."""
        return self._both(inner, lambda s: scenes.sweep_scene(s, title, simulated=simulated, keys=keys))

    def reading(
        self, inner: AbstractContextManager[Face[WatchState]], *, simulated: bool, end: str = ""
    ) -> AbstractContextManager[Face[WatchState]]:
        """Share the face of a live reading; `end` names the button that ends it."""
        return self._both(inner, lambda s: scenes.reading_scene(s, simulated=simulated, end=end))

    def wiggle(
        self, inner: AbstractContextManager[WiggleFace], wanted_s: float, title: str, *, simulated: bool
    ) -> AbstractContextManager[WiggleFace]:
        """Share the face of a wiggle test."""
        return self._both(inner, lambda s: scenes.wiggle_scene(s, wanted_s, title, simulated=simulated))

    def nothing(self) -> None:
        """Show that no rig is connected: the page serves the records alone."""
        self.wait("NO RIG HERE", "The records are at the foot of this page.")

    def done(self, done: SweepDone, *, title: str = "", actions: tuple[Action, ...] = ()) -> None:
        """Show the card of what has ended; its sheet is kept until the next one."""
        from sweeprig.bench.review.card import card_of

        self.hub.last = done.outcome
        setup = done.outcome.setup
        named = title or setup.sensor_label or setup.serial or done.outcome.judgement.profile_name
        problem = (done.problem,) if done.problem else ()
        self.say(
            scenes.card_scene(
                card_of(done.outcome, capture="" if done.record is None else str(done.record)),
                named,
                record=done.record,
                link=SHEET,
                actions=actions,
                more=problem,
            )
        )

    def wait(
        self,
        say: str,
        under: str = "",
        *,
        title: str = "",
        facts: Sequence[str] = (),
        actions: tuple[Action, ...] = (),
    ) -> None:
        """Show a pause in which no sensor is powered."""
        self.say(scenes.wait_scene(title, say, under, facts=facts, actions=actions))

    def error(self, error: SweeprigError, *, actions: tuple[Action, ...] = ()) -> None:
        """Show what went wrong."""
        self.say(scenes.error_scene(error, actions=actions))

    def say(self, scene: Scene) -> None:
        """Show a scene until the next one comes."""
        self.hub.show(lambda: scene)

    @property
    def off(self) -> bool:
        """Whether a phone has asked for the supply to be off in this run."""
        return self.hub.off()

    def begin(self) -> None:
        """Begin the next run: forget what was pressed before."""
        self.hub.begin()

    def pressed(self, keys: Callable[[], str]) -> str:
        """Wait for a key of the terminal or of a phone; return what was pressed."""
        while True:
            pressed = keys() + self.hub.keys()
            if pressed:
                return pressed
            self.hub.wait(LOOK_S)
