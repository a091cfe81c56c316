"""What each command takes: name -> {argument: (check, default)}; a default of None means that it is needed."""

from sweepboard import wire
from sweepboard.arguments import one_of, switch, whole
from sweepboard.ramp import MOST_LEG_MS, MOST_LEGS
from sweepboard.watchers import HISTOGRAM_MOST_WINDOWS, MOST_PER_SECOND

HOOKUPS = ("powered", "tapped")
BIAS_MODES = ("off", "up", "down")
LIGHT_MODES = ("off", "on", "slow", "fast")
DRIVE_ACTIONS = ("home", "goto", "stop", "free", "where")

MOST_MS = 60000
ENCODER_COUNTS = 4096
SLOWEST_COUNTS_S = 32


def arguments(source, snapshots):
    """Return the arguments of all commands of a rig with this `source` and these `snapshots`."""
    table = _of_switches()
    table.update(_of_parts())
    for name in ("hello", "stop", "status", "selfcheck", "prompt"):
        table[name] = {}
    table["start"] = {"hookup": (one_of(HOOKUPS), "powered")}
    table["snapshots"] = _of_snapshots(snapshots)
    table["histogram"] = {
        "channel": (whole(0, source.channels - 1), None),
        "windows": (whole(1, HISTOGRAM_MOST_WINDOWS), None),
    }
    return table


def _of_switches():
    return {
        "supply": {"on": (switch, None)},
        "burden": {"on": (switch, None)},
        "bias": {"mode": (one_of(BIAS_MODES), None)},
        "light": {"mode": (one_of(LIGHT_MODES), None)},
        "buzzer": {"ms": (whole(0, MOST_MS), None)},
    }


def _of_parts():
    return {
        "ramp": {"leg_ms": (whole(0, MOST_LEG_MS), None), "legs": (whole(1, MOST_LEGS), 2)},
        "slow": {"every_ms": (whole(0, MOST_MS), None)},
        "drive": {
            "action": (one_of(DRIVE_ACTIONS), None),
            "position": (whole(0, ENCODER_COUNTS - 1), 0),
            "speed": (whole(SLOWEST_COUNTS_S, ENCODER_COUNTS), ENCODER_COUNTS // 4),
        },
    }


def _of_snapshots(snapshots):
    codes = whole(0, wire.CODE_MASK)
    return {
        "spread": (codes, 0),
        "jump": (codes, 0),
        "before": (whole(0, snapshots.most_before), min(150, snapshots.most_before)),
        "after": (whole(0, snapshots.most_after), min(300, snapshots.most_after)),
        "per_second": (whole(1, MOST_PER_SECOND), 2),
    }
