"""The interface that a terminal, a page or a test implements for a running step: show a state, read keys."""

from __future__ import annotations

from typing import Protocol, TypeVar

State_contra = TypeVar("State_contra", contravariant=True)


class Face(Protocol[State_contra]):
    """Shows states, reads keys, may end the step. Called after every poll of the rig; it draws as often as it likes."""

    def show(self, state: State_contra) -> None:
        """Show the latest state."""

    def pressed(self) -> str:
        """Return the keys pressed since the last call."""

    def ended(self) -> bool:
        """Return whether the step has to end; called after every poll."""
