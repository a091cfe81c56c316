"""What may stand in a profile: the shape, the units and the bounds of each entry."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class NumberRule:
    """One entry of the sort { value | low and high, unit, source, note }."""

    shape: str  # value | range
    unit: str
    least: float
    most: float
    about: str
    required: bool = False
    whole: bool = False  # a count


@dataclass(frozen=True)
class WordRule:
    """One plain entry of a table."""

    kind: type
    about: str
    words: tuple[str, ...] = ()
    least: float = float("-inf")
    most: float = float("inf")
    required: bool = False


TOP = {
    "format": WordRule(int, "version of this layout, 1", least=1, most=1, required=True),
    "name": WordRule(str, "name of the profile; the file's name without .toml", required=True),
    "title": WordRule(str, "one line that says what it is for", required=True),
    "note": WordRule(str, "anything else worth knowing"),
}
SENSOR = {
    "kind": WordRule(str, "what the sensor is", ("potentiometer", "hall", "unknown"), required=True),
    "tracks": WordRule(int, "number of signals", least=1, most=2),
    "supplies": WordRule(
        int, "2 where each track has its own supply and ground: no correlation is judged", least=1, most=2
    ),
    "relation": WordRule(str, "how track B follows track A", ("none", "half-scale", "parallel", "opposed")),
    "sense": WordRule(
        str,
        "sense of track A; with either, the limits of a falling signal are mirrored",
        ("rising", "falling", "either"),
    ),
    "slotted": WordRule(bool, "true where the mount lets the sensor be turned; `aim` needs it"),
}
SUPPLY = {
    "nominal_v": WordRule(
        float, "supply that the limits are stated for [V]", least=1, most=16, required=True
    ),
    "ratiometric": WordRule(bool, "true where limits hold for ratio x nominal supply", required=True),
    "source": WordRule(str, "where this comes from", required=True),
    "note": WordRule(str, "anything else worth knowing"),
}
GUARD = {
    "factor": WordRule(float, "guard band as a multiple of U", least=0, most=3, required=True),
    "source": WordRule(str, "where this comes from", required=True),
    "note": WordRule(str, "anything else worth knowing"),
}
SENSOR_NUMBERS = {
    "track_ohm": NumberRule("range", "ohm", 1, 1e6, "end-to-end resistance to use where it is not measured"),
}
LIMITS = {
    "lower_rail": NumberRule("value", "V", 0, 8, "least distance of an end from sensor ground", True),
    "upper_rail": NumberRule("value", "V", 0, 8, "least distance of an end from the supply", True),
    "at_rail": NumberRule("value", "V", 0, 8, "a reading this near to a rail is a dead band", True),
    "supply": NumberRule("range", "V", 0.5, 18, "supply where another controller powers the sensor", True),
    "supply_powered": NumberRule("range", "V", 0.5, 18, "supply where the rig powers the sensor", True),
    "span": NumberRule("value", "V", 0.1, 16, "least distance between the two ends", True),
    "dropout": NumberRule("value", "% of supply", 0, 10, "events at least this deep are faults", True),
    "strokes": NumberRule("value", "strokes", 1, 50, "full strokes that a pass needs", True, whole=True),
    "loading": NumberRule(
        "value", "% of supply", 0, 10, "shift by the rig's own load that needs no remark", True
    ),
    "closed": NumberRule("range", "V", 0, 16, "closed end"),
    "open": NumberRule("range", "V", 0, 16, "open end"),
    "closed_b": NumberRule("range", "V", 0, 16, "closed end of track B"),
    "open_b": NumberRule("range", "V", 0, 16, "open end of track B"),
    "slope_b": NumberRule("range", "V/V", -4, 4, "slope of track B against track A"),
    "sum_b": NumberRule("range", "V", 0, 32, "A + B of opposed tracks"),
    "correlation": NumberRule("value", "% of supply", 0, 20, "largest departure of track B from its line"),
    "linearity": NumberRule(
        "value", "% of supply", 0, 20, "largest independent linearity; with an angle only"
    ),
    "hysteresis": NumberRule("value", "% of supply", 0, 20, "largest hysteresis; with an angle only"),
}
AIM = {
    "closed": NumberRule("value", "V", 0, 16, "where the closed end is to be turned to", True),
    "tolerance": NumberRule("value", "V", 0, 1, "half-width that is near enough", True),
}
SERIES = {
    "strokes": NumberRule(
        "value", "strokes", 1, 50, "full strokes that end one sensor's sweep", True, whole=True
    ),
    "start": NumberRule("value", "% of supply", 0.5, 50, "movement that starts the sweep", True),
    "rest": NumberRule("value", "s", 0, 30, "rest at the stop after the last stroke", True),
    "longest": NumberRule("value", "s", 1, 3600, "time after which the sweep ends", True),
}
WORD_TABLES = {"": TOP, "sensor": SENSOR, "supply": SUPPLY, "guard": GUARD}
NUMBER_TABLES = {"sensor": SENSOR_NUMBERS, "limits": LIMITS, "aim": AIM, "series": SERIES}
NUMBER_KEYS = {
    "value": ("value", "unit", "source", "note"),
    "range": ("low", "high", "unit", "source", "note"),
}
OPTIONAL_TABLES = ("aim",)
