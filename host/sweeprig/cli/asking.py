"""Asks for confirmations at the terminal, or takes those given with --confirm."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from sweeprig.cli.console import Shown, columns_of, console
from sweeprig.cli.typed import seen_keys

if TYPE_CHECKING:
    from sweeprig.bench.hookup.cautions import Ask, Confirmation
    from sweeprig.bench.session import Books

SAID = {"y": True, "yes": True, "n": False, "no": False, "": False}
ANSWER = 10  # columns kept free behind a question for what is typed
ConfirmKeys = Annotated[
    list[str] | None,
    typer.Option(
        "--confirm",
        help="Answer safety questions in advance: one of these words or several, comma between, as"
        " --confirm cautions,plug-off. cautions = read and followed; plug-off = the sensor's plug is off the harness;"
        " laptop-battery = the laptop runs on its battery; usb-first = USB was connected before the rig was joined to"
        " the harness; secured = the vehicle is secured, and somebody qualified for hybrid or electric"
        " vehicles is there; idle = engine idling,"
        " throttle untouched; turning = the cautions for turning the sensor on its mount are read; clear = no"
        " finger or tool is near the rig's motor.",
    ),
]
DriveOption = Annotated[
    str,
    typer.Option(
        "--drive",
        help="For work in a vehicle, what drives the vehicle: combustion, stop-start, hybrid or electric.",
    ),
]
Override = Annotated[
    str,
    typer.Option(
        "--override",
        help="Reason to go on although the safety check of a vehicle (engine off, drive, confirmations) refuses;"
        " for this run only.",
    ),
]


T = TypeVar("T")
LED_BY: list[Callable[[Confirmation], bool]] = []  # asks in our place while the guide runs a command


def answered(question: Callable[[], T], *, option: str = "") -> T:
    """Return the answer to a prompt; `option` answers it beforehand, "" where none does.

    Keys pressed before the prompt appeared do not count.

    Raises NoAnswerError where the input ends, KeyboardInterrupt where Ctrl-C was pressed.
    """
    from sweeprig.errors import NoAnswerError

    try:
        with seen_keys():
            return question()
    except typer.Abort as exc:
        console.needed(Shown(""))  # what follows has a line of its own
        if isinstance(exc.__context__, KeyboardInterrupt):
            raise KeyboardInterrupt from None
        raise NoAnswerError(
            "No answer: end of input at the prompt.",
            seen="end of input",
            limit="an answer and Enter",
            next_step=f"answer the prompt, or add {option}" if option else "answer the prompt at a terminal",
        ) from None


def question(text: str) -> str:
    """Return a prompt in lines that break at words, with room for the answer."""
    from sweeprig.lines import fitted

    return "\n".join(fitted(text, max(20, columns_of(sys.stderr) - ANSWER)))


def typed_line(prompt: str) -> str:
    """Return what is typed behind a prompt; "" after Enter alone."""
    return str(typer.prompt(prompt, default="", show_default=False, err=True, prompt_suffix="")).strip()


def confirmed(text: str) -> bool:
    """Return whether a question is answered with y; n and Enter alone say no, anything else is asked again."""
    prompt = f"{question(text)} [y/N]: "
    while (word := typed_line(prompt).lower()) not in SAID:
        console.say("  Only y or n counts.")
    return SAID[word]


class TerminalAsk:
    """Asks at the terminal for what --confirm has not confirmed. Without a terminal nothing more is confirmed."""

    def __init__(self, keys: Iterable[str] | None = None) -> None:
        from sweeprig.bench.hookup.cautions import check_keys

        self._keys = check_keys(keys or ())

    def confirm(self, item: Confirmation) -> bool:
        """Return whether the operator confirms; printed plainly either way."""
        if item.key in self._keys:
            return True
        if LED_BY:
            return LED_BY[-1](item)
        if not sys.stdin.isatty():
            return False
        return answered(lambda: confirmed(f"Confirm: {item.text}"), option=f"--confirm {item.key}")

    def say(self, text: str) -> None:
        """Show one line."""
        console.say(text)


def asking(keys: Iterable[str] | None) -> Ask:
    """Return the `Ask` to use: the terminal, or only --confirm."""
    return TerminalAsk(keys)


def books() -> Books:
    """Return what jobs have confirmed and when leads were checked."""
    from sweeprig.bench.hookup.cautions import JobBook
    from sweeprig.bench.hookup.lead_book import LeadBook
    from sweeprig.bench.session import Books
    from sweeprig.bench.shop.places import find_places

    state = find_places().state
    return Books(JobBook(state / "jobs"), LeadBook(state))


def ask_drive(drive: str, setting: str, *, bench: bool = True) -> str:
    """Return what drives the vehicle: as given by --drive, else asked for at the terminal; "" on the bench.

    `bench`: whether the command works without a vehicle too. Raises InputError for a drive that there is none of,
    before anything is shown, confirmed or opened.
    """
    from sweeprig.bench.hookup.interlock import check_drive_known

    if setting != "vehicle":
        if drive:
            check_drive_known(drive.strip().lower())
        return ""
    if not drive and sys.stdin.isatty():
        drive = answered(
            lambda: typer.prompt(
                question("What drives the vehicle (combustion, stop-start, hybrid, electric)"), err=True
            ),
            option="--drive",
        )
    named = drive.strip().lower()
    check_drive_known(named, bench=bench)
    return named
