"""A population of throttle and pedal position sensors, with the truth of each case."""

from population import (
    kinds_ends,
    kinds_logger,
    kinds_sound,
    kinds_supply,
    kinds_tracks,
    kinds_wiring,
    kinds_worn,
)
from population.cases import Case, Fault, Kind, Truth
from population.registry import KINDS, draw

for _module in (kinds_sound, kinds_worn, kinds_wiring, kinds_supply, kinds_tracks, kinds_ends, kinds_logger):
    _module.register()

__all__ = ["KINDS", "Case", "Fault", "Kind", "Truth", "draw"]
