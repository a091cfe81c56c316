"""One tree of exceptions. Each says what failed, the value seen, the limit, and the next step.

The command line alone turns them into text and an exit status; docs/reference/exit-codes.md lists them.
"""

from __future__ import annotations


class SweeprigError(Exception):
    """Root of every error that the package raises on purpose."""

    exit_code = 1

    def __init__(self, what: str, *, seen: str = "", limit: str = "", next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.seen = seen
        self.limit = limit
        self.next_step = next_step

    def __str__(self) -> str:
        parts = [self.what]
        if self.seen:
            parts.append(f"Seen: {self.seen}.")
        if self.limit:
            parts.append(f"Expected: {self.limit}.")
        if self.next_step:
            parts.append(f"Next: {self.next_step}")
        return " ".join(parts)


class InputError(SweeprigError):
    """A value typed by the operator does not fit."""

    exit_code = 2


class NoAnswerError(InputError):
    """The input ended at a question."""


class ConfigError(InputError):
    """The configuration file does not fit."""


class LinkError(SweeprigError):
    """Anything between the host and the board."""

    exit_code = 3


class NoRigError(LinkError):
    """No board is attached."""


class ManyRigsError(LinkError):
    """More than one board is attached and none was named."""


class PortBusyError(LinkError):
    """Another program holds the port."""


class PortPermissionError(LinkError):
    """The operating system does not let this user open the port."""


class PortMissingError(LinkError):
    """The named port does not exist or its URL is not understood."""


class PortLostError(LinkError):
    """The board went away while it was in use."""


class NoFirmwareError(LinkError):
    """A board answers, but not with our firmware."""


class ProtocolVersionError(LinkError):
    """The board uses another version of the protocol."""


class BoardRefusedError(LinkError):
    """The board answered a command with an error."""


class BoardSilentError(LinkError):
    """The board did not answer in time."""


class FileError(SweeprigError):
    """A file cannot be read or does not hold what it should."""

    exit_code = 4


class CaptureFileError(FileError):
    """A capture file or journal is damaged or of another version."""


class CaptureNotKeptError(CaptureFileError):
    """A capture is whole in memory, but no file of it could be written; `capture` holds it, `journal` a part or ""."""

    capture: object = None
    journal: str = ""


class CsvError(FileError):
    """A CSV file has no usable rows or a bad row; the message names the line."""


class ProfileError(FileError):
    """A profile has a mistake; the message names file, line and key."""


class CalibrationFileError(FileError):
    """A stored calibration is damaged or of another version."""


class ExportError(FileError):
    """An export could not be written, or the library for it is not installed."""


class SafetyError(SweeprigError):
    """Something must not be done as things stand; the message shows the evidence."""

    exit_code = 5


class HookupError(SafetyError):
    """This rig, build or wiring does not allow the hookup asked for."""


class DriveError(SafetyError):
    """The motor of a driven build does not move the lever as it was asked to; it is without current."""


class InterlockError(SafetyError):
    """The vehicle does not look safe for a sweep."""


class CalibrationError(SweeprigError):
    """A calibration cannot be made from these readings."""

    exit_code = 6


class RecordsError(SweeprigError):
    """The records database cannot be used."""

    exit_code = 7


class AnalysisError(SweeprigError):
    """A capture holds too little to analyse."""

    exit_code = 8


class PageError(SweeprigError):
    """The page beside the rig cannot be served: its libraries or a network are missing."""
