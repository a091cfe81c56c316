"""What a running step needs of a screen: show a state, read keys. A terminal, a page or a test provides it."""

from __future__ import annotations

from typing import Protocol, TypeVar

State_contra = TypeVar("State_contra", contravariant=True)


class Face(Protocol[State_contra]):
    """Shows states and reads keys, may end it. It is called at every look and draws as often as it likes."""

    def show(self, state: State_contra) -> None:
        """Show how it stands."""

    def pressed(self) -> str:
        """Return the keys pressed since the last call."""

    def ended(self) -> bool:
        """Return whether it is to end; asked at every look."""
