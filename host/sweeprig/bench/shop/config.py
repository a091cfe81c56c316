"""The configuration file: options that an operator would otherwise type every time."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import asdict, dataclass, fields, replace
from os.path import realpath
from pathlib import Path
from typing import Any

from sweeprig.bench.shop.places import Places, expanded
from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import read_text
from sweeprig.errors import ConfigError
from sweeprig.link.clean import clean_text, hide_passwords
from sweeprig.words import ANY_SENSOR

COMMAND_LINE = "the command line"
MOST_CONFIG = 1 << 16  # bytes; as for a profile


@dataclass(frozen=True)
class Config:
    """Defaults of the options; an option on the command line has precedence."""

    port: str = ""  # pyserial URL or port name; "" finds the only rig
    operator: str = ""
    profile: str = ANY_SENSOR
    captures: str = ""  # folder; "" is the user's documents folder
    records_url: str = ""  # SQLAlchemy URL; "" is a file in the user's data folder
    records_captures: str = ""  # "" | database | folder: where captures are kept for other benches too
    sheet: str = "html"  # html | pdf | both | none
    bell: bool = True
    keep_records: bool = True
    workshop: str = ""  # at the head of every sheet, in your own words


MEANING = {
    "port": "serial port of the rig; -: the only rig attached",
    "operator": "who does the work, for the sheet",
    "profile": "limits to judge by where --profile names none",
    "captures": "folder of captures and sheets",
    "records_url": "where the records are",
    "records_captures": "second place that keeps each capture: -, database or a folder",
    "sheet": "html, pdf, both or none",
    "bell": "sound at each step of a sweep",
    "keep_records": "whether sweeps are put into the records",
    "workshop": "head of every sheet",
}


def shown_lines(config: Config, places: Places) -> list[str]:
    """Return every setting with the value that is used and what it is for."""
    used = {"captures": str(places.captures), "records_url": str(places.records)}
    lines = []
    for key, value in settings_shown(config).items():
        text = {True: "yes", False: "no", "": "-"}.get(value, value)
        if value == "" and key in used:
            text = f"{used[key]} (default)"
        lines.append(f"{key:18}{text}   ({MEANING[key]})")
    return lines


def keys() -> list[str]:
    """Return the names allowed in the file."""
    return [f.name for f in fields(Config)]


def _unknown(key: str, where: str) -> ConfigError:
    near = difflib.get_close_matches(key, keys(), n=1)
    typed = where == COMMAND_LINE
    hint = f"did you mean {near[0]}?" if near else "choose one of these" if typed else "remove it"
    place = "" if typed else f" in {where}"
    return ConfigError(
        f"Unknown setting {key[:40]!r}{place}.", seen=key, limit=", ".join(keys()), next_step=hint
    )


def check_value(key: str, value: Any, where: str) -> Any:
    """Return `value` if it fits `key`, else raise ConfigError."""
    if key not in keys():
        raise _unknown(key, where)
    want = type(getattr(Config(), key))
    if not isinstance(value, want):
        typed = where == COMMAND_LINE
        switch = "yes or no" if typed else "true or false"
        raise ConfigError(
            f"This is no value for {key}." if typed else f"{where}: {key} has a value of the wrong type.",
            seen=f"{_shown(value)}",
            limit=switch if want is bool else "text in quotes",
            next_step=f"correct it with `sweeprig config set {key} VALUE`",
        )
    if key == "sheet" and value not in ("html", "pdf", "both", "none"):
        file = "; the name of a file goes to --sheet-file" if "." in value else ""
        raise ConfigError(
            f"{value[:40]} is not a value for sheet{'' if where == COMMAND_LINE else f' in {where}'}.",
            seen=value[:80],
            limit="html, pdf, both or none",
            next_step=f"choose one of these{file}",
        )
    return clean_text(value) if isinstance(value, str) else value


def _shown(value: Any) -> str:
    """Return a value shortened for a message."""
    try:
        return hide_passwords(f"{value!r:.200}")[:80]
    except (ValueError, RecursionError):  # a number of thousands of digits
        return "a value too long to show"


def load_config(path: Path) -> Config:
    """Read the file; a missing one gives the defaults."""
    _, data = _read(path)
    return replace(Config(), **{key: check_value(key, value, str(path)) for key, value in data.items()})


def _read(path: Path) -> tuple[str, dict[str, Any]]:
    """Return the text of the file and its settings; both empty where it is missing."""
    try:
        text = read_text(path, most=MOST_CONFIG)
        return text, tomllib.loads(text)
    except FileNotFoundError:
        return "", {}
    except (
        ValueError,
        RecursionError,
    ) as exc:  # what is not TOML, not UTF-8, a number of thousands of digits
        raise ConfigError(
            f"{path} is not TOML.", seen=f"{exc!s:.300}", next_step="correct the line or remove the file"
        ) from exc
    except OSError as exc:
        raise ConfigError(
            f"{path} cannot be read.", seen=str(exc), next_step="check its permissions, or remove it"
        ) from exc


def captures_folder(config: Config, places: Places) -> Path:
    """Return the folder in which captures are kept where no other is named."""
    if not config.captures:
        return places.captures
    return expanded(config.captures, "The setting captures", next_step="sweeprig config set captures FOLDER")


def parse_value(key: str, text: str) -> Any:
    """Turn what was typed into a value of the key's type."""
    if key in keys() and isinstance(getattr(Config(), key), bool):
        words = {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}
        return words.get(text.strip().lower(), text)
    return text


def set_value(path: Path, key: str, text: str) -> Config:
    """Set one key and keep the rest of the file, comments included. A file that is not TOML is not written over.

    A wrong value of this key is replaced. Raises ConfigError where another key is wrong; this one is set all the same.
    """
    import tomlkit

    value = check_value(key, parse_value(key, text), COMMAND_LINE)
    if key == "profile":
        from sweeprig.judge.profile import load_profile

        load_profile(value)  # each later command would be refused for it
    document = tomlkit.parse(_read(path)[0])
    document[key] = value
    step = "check its permissions; the file is unchanged"
    write_atomically(
        Path(realpath(path)), tomlkit.dumps(document).encode(), next_step=step, error=ConfigError, mode=0o600
    )
    return load_config(path)


def settings_shown(config: Config) -> dict[str, Any]:
    """Return every setting as it may be shown: a password in a URL is not."""
    return {k: hide_passwords(v) if isinstance(v, str) else v for k, v in asdict(config).items()}
