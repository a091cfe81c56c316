"""The folders of configuration, captures, calibrations and records; SWEEPRIG_HOME puts all in one folder."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sweeprig.errors import ConfigError
from sweeprig.link.clean import clean_text


@dataclass(frozen=True)
class Places:
    """Folders and files of one user."""

    config_file: Path
    captures: Path
    calibrations: Path
    records: Path

    @property
    def state(self) -> Path:
        """What is remembered between runs: confirmations of a job, the last check of a test lead."""
        return self.records.parent / "state"


def expanded(typed: str, what: str, *, next_step: str) -> Path:
    """Return a path with ~ and ~user expanded. Raises ConfigError where the system does not know that user."""
    try:
        return Path(typed).expanduser()
    except RuntimeError as exc:
        raise ConfigError(
            f"{what} names an unknown home folder.", seen=clean_text(typed, 200), next_step=next_step
        ) from exc


def find_places(env: Mapping[str, str] | None = None) -> Places:
    """Return the places in force for `env` (default: the process's environment)."""
    values = os.environ if env is None else env
    home = values.get("SWEEPRIG_HOME")
    if home:
        root = expanded(home, "SWEEPRIG_HOME", next_step="set it to your own folder, or remove it")
        return Places(root / "config.toml", root / "captures", root / "calibrations", root / "records")
    import platformdirs

    data = platformdirs.user_data_path("sweeprig", appauthor=False)
    return Places(
        config_file=platformdirs.user_config_path("sweeprig", appauthor=False) / "config.toml",
        captures=platformdirs.user_documents_path() / "sweeprig",
        calibrations=data / "calibrations",
        records=data / "records",
    )
