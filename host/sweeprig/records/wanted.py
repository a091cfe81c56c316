"""What is searched for among the records."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sweeprig.link.clean import clean_text

PAGE = 50  # records at a time


@dataclass(frozen=True)
class Wanted:
    """What is searched for; "" is anything."""

    words: str = ""  # part of a label, a serial number or a job
    verdict: str = ""
    since: str = ""  # ISO 8601; the first that fits
    until: str = ""  # ... and the first that does not
    batch: str = ""
    before: tuple[float, int] | None = None  # [s] and number of the last record of the page before

    @property
    def cleaned(self) -> Wanted:
        """The same, as databases take it."""
        return replace(
            self,
            words=clean_text(self.words, 200).strip(),
            verdict=clean_text(self.verdict, 20),
            batch=clean_text(self.batch, 200),
        )
