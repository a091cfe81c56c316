"""What all commands with a rig share: their options as fields, the setup and order made from them, and the session."""

from __future__ import annotations

import inspect
import shlex
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_type_hints

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, Override, ask_drive, asking, books
from sweeprig.cli.console import console
from sweeprig.cli.rehearsing import rehearsed
from sweeprig.cli.typed import unseen_keys
from sweeprig.words import Hookup, Setting

if TYPE_CHECKING:
    from sweeprig.bench.session import Session
    from sweeprig.bench.shop.config import Config
    from sweeprig.bench.shop.places import Places
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.capture.model import SweepSetup
    from sweeprig.errors import SweeprigError
    from sweeprig.link.client import RigClient

Asked = TypeVar("Asked")


def with_options(kind: type[Asked]) -> Callable[[Callable[[Asked], None]], Callable[..., None]]:
    """Decorator: a command's options are the fields of the dataclass `kind`; it gets one object of that class."""

    def wrap(command: Callable[[Asked], None]) -> Callable[..., None]:
        def called(**given: Any) -> None:
            command(kind(**given))

        hints = get_type_hints(kind, include_extras=True)
        own = [f for f in fields(kind) if f.init]  # type: ignore[arg-type]  # mypy: a type variable is no dataclass
        called.__name__, called.__doc__ = command.__name__, command.__doc__
        called.__annotations__ = {f.name: hints[f.name] for f in own}
        called.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
            [
                inspect.Parameter(
                    f.name, inspect.Parameter.KEYWORD_ONLY, default=f.default, annotation=hints[f.name]
                )
                for f in own
            ]
        )
        return called

    return wrap


def settings() -> tuple[Config, Places]:
    """Return the configuration and the places in force."""
    from sweeprig.bench.shop.config import load_config
    from sweeprig.bench.shop.places import find_places

    places = find_places()
    return load_config(places.config_file), places


def make_setup(values: dict[str, Any]) -> SweepSetup:
    """Return the setup from what was typed, with the configuration's defaults."""
    from sweeprig.capture.model import SweepSetup
    from sweeprig.link.clean import clean_text

    config, _ = settings()
    chosen = {key: value for key, value in values.items() if value is not None}
    chosen.setdefault("profile", config.profile)
    chosen.setdefault("workshop", config.workshop)
    if not chosen.get("operator"):
        chosen["operator"] = config.operator
    chosen = {key: clean_text(value) if type(value) is str else value for key, value in chosen.items()}
    return SweepSetup(**chosen)


def make_order(setup: SweepSetup, out: Path | None, sheet: str | None, guard: float | None) -> SweepOrder:
    """Return the order of one sweep, with the configuration's folders."""
    from sweeprig.bench.review.choices import Choices
    from sweeprig.bench.shop.config import COMMAND_LINE, captures_folder, check_value
    from sweeprig.bench.sweep.sweep import SweepOrder

    config, places = settings()
    return SweepOrder(
        setup,
        out or captures_folder(config, places),
        places.calibrations,
        Choices(guard_factor=guard),
        check_value("sheet", sheet, COMMAND_LINE) if sheet else config.sheet,
        records_place("") if config.keep_records else None,
        records_captures=config.records_captures,
    )


def records_place(named: str) -> str:
    """Return the place of the records: as named, or as configured."""
    if named:
        return named
    config, places = settings()
    return config.records_url or str(places.records)


def report_recovered(place: Path, *, needed: bool = False) -> int:
    """Recover journals that a crash left, report it even with --quiet; return how many. Report unreadable ones once.

    Of several captures their number and place are told.

    A journal without room for its capture stays and is reported; with `needed` its error is raised in the end,
    and so is one for what was set aside.
    """
    from sweeprig.capture.sweep import recover as recovered

    left: list[Path] = []

    def tell(aside: Path, reason: str) -> None:
        left.append(aside)
        console.warn(f"A journal of a capture cannot be recovered and is kept as {aside}: {reason}")

    failed: list[SweeprigError] = []

    def unsaved(path: Path, error: SweeprigError) -> None:
        failed.append(error)
        console.warn(f"A journal cannot be recovered now and stays: {path}. {error}")

    found = recovered(place, on_unusable=tell, on_unsaved=unsaved)
    if len(found) == 1:
        console.warn(f"A capture that was not finished is recovered: {console.named(found[0])}")
        _say_what_next(found[0])
    elif found:
        where = console.named(found[0].parent)
        console.warn(f"{len(found)} captures that were not finished are recovered in {where}.")
        _say_what_next(found[0], "one")
    if failed and needed:
        raise failed[-1]
    if left and needed:
        raise _not_recovered(left)
    return len(found)


def _not_recovered(left: list[Path]) -> SweeprigError:
    from sweeprig.errors import CaptureFileError
    from sweeprig.report.figures import count_of

    return CaptureFileError(
        f"{count_of(len(left), 'journal')} could not be recovered; kept under another name.",
        seen=", ".join(path.name for path in left[:3]),
        next_step="`sweeprig recover FILE --like CAPTURE.sweep` reads whole records, if the lines above name any",
    )


def report_lent(journal: Path, like: Path) -> None:
    """Recover a journal whose first line is damaged with that of another capture, and say so."""
    from sweeprig.capture.sweep import recover_like

    path = recover_like(journal, like)
    console.warn(
        f"Recovered: {path}; rig, calibration and set-up are those of {like}. The journal stays: {journal}"
    )
    _say_what_next(path)


def _say_what_next(path: Path, which: str = "it") -> None:
    name = shlex.quote(str(path))
    console.say(f"  Judge {which}: sweeprig review {name}")
    if which == "it":
        console.say(f"  Its sheet: sweeprig sheet {name}; its record: sweeprig records add {name}")


def needs(option: str, is_given: bool, other: str, is_there: bool) -> None:
    """Raise InputError where an option is given without the one that it belongs to."""
    from sweeprig.errors import InputError

    if is_given and not is_there:
        raise InputError(
            f"{option} goes with {other} only.",
            seen=f"{option} without {other}",
            limit="both",
            next_step=f"add {other}, or leave {option} out",
        )


@dataclass(frozen=True)
class RigOptions:
    """Options of every command that measures a sensor."""

    port: opt.Port = ""
    profile: opt.ProfileName = None
    hookup: opt.HookupOption = Hookup.POWERED
    setting: opt.SettingOption = None
    system: opt.SystemOption = None
    job: opt.JobAsked = ""
    track_ohm: opt.TrackOhm = None
    confirm: ConfirmKeys = None
    drive: DriveOption = ""
    override: Override = ""

    @property
    def place(self) -> Setting:
        """Where the work is done; tapped, another controller feeds the sensor: a vehicle, unless a bench is named."""
        tapped = Setting.VEHICLE if self.hookup == Hookup.TAPPED else Setting.BENCH
        return self.setting or tapped

    @property
    def setup_fields(self) -> dict[str, Any]:
        """What of this is in the setup."""
        return {"profile": self.profile, "hookup": self.hookup, "setting": self.place.value, "job": self.job,
                "vehicle_system": self.system.value if self.system else "", "track_ohm": self.track_ohm,
                "override": self.override}  # fmt: skip

    def setup(self, **more: Any) -> SweepSetup:
        """Return the setup; asks what drives a vehicle where nobody said so."""
        if self.setting is None and self.place is Setting.VEHICLE:
            console.say("Hookup is tapped, so this counts as work in a vehicle. On a bench: --setting bench.")
        drive = ask_drive(self.drive, self.place.value)
        return make_setup({**self.setup_fields, "vehicle_drive": drive, **more})

    @contextmanager
    def rig(self) -> Iterator[RigClient]:
        """Open the rig named, or the one configured."""
        from sweeprig.bench.board.rig import opened_rig

        port = self.port or settings()[0].port
        console.progress("Looking for the rig ...")
        with unseen_keys(), rehearsed(port), opened_rig(port) as client:
            console.end_progress()
            yield client

    @contextmanager
    def session(self, setup: SweepSetup, *, switch_on: bool = True) -> Iterator[Session]:
        """Open the rig and make it ready for one sensor."""
        from sweeprig.bench.session import session

        calibrations = settings()[1].calibrations
        with (
            self.rig() as client,
            session(
                client,
                setup,
                calibrations=calibrations,
                ask=asking(self.confirm),
                books=books(),
                switch_on=switch_on,
            ) as s,
        ):
            yield s


@dataclass(frozen=True)
class CaptureOptions(RigOptions):
    """More options, of every command that keeps a capture."""

    job: opt.Job = ""
    label: opt.Label = ""
    operator: opt.Operator = ""
    out: opt.Out = None
    sheet: opt.SheetKind = None
    as_json: opt.ResultJson = False

    @property
    def setup_fields(self) -> dict[str, Any]:
        """What of this is in the setup."""
        return {**super().setup_fields, "sensor_label": self.label, "operator": self.operator}

    def order(self, setup: SweepSetup, guard: float | None = None) -> SweepOrder:
        """Return the order of one capture."""
        return make_order(setup, self.out, self.sheet, guard)


@dataclass(frozen=True)
class SensorOptions(CaptureOptions):
    """More options, of every command that describes the sensor."""

    part: opt.Part = ""
    serial: opt.Serial = ""
    notes: opt.Notes = ""
    customer: opt.Customer = ""
    vehicle: opt.Vehicle = ""

    @property
    def setup_fields(self) -> dict[str, Any]:
        """What of this is in the setup."""
        more = {"notes": self.notes, "customer": self.customer, "vehicle": self.vehicle}
        return {**super().setup_fields, "part": self.part, "serial": self.serial, **more}
