"""How old a calibration is."""

from __future__ import annotations

from datetime import datetime


def age_days(made_at: str, at: str | datetime) -> float | None:
    """Return the days from one ISO 8601 time to another; None where either does not read, or only one has an offset."""
    try:
        then = datetime.fromisoformat(at) if isinstance(at, str) else at
        return (then - datetime.fromisoformat(made_at)).total_seconds() / 86400
    except (ValueError, TypeError):
        return None
