"""What `--help` adds to each command, in one place: the groups of its options and two worked examples."""

from __future__ import annotations

TESTED, HOW, OUTPUT, OTHER = "What is tested", "How", "Output", "Other"
SUBJECT = "What it works on"  # the heading of TESTED in a command that tests no sensor
TESTING = ("", "guide", "demo", "rigs", "sweep", "review", "check", "watch", "aim", "wiggle", "pins", "send")
GROUPS = {
    TESTED: (
        "port", "profile", "hookup", "setting", "drive", "system", "kind", "track-ohm", "label", "part", "serial",
        "job", "mount", "target", "volts-per-degree", "from", "lead", "lead-ratio", "sensor", "batch", "end",
        "tolerance", "verdict", "since", "limit", "like", "far-end", "customer", "vehicle",
    ),
    OUTPUT: (
        "json", "full", "budget", "monte-carlo", "sheet", "sheet-file", "out", "operator", "notes", "page", "lan",
        "page-port", "records", "html", "pdf", "text", "csv", "mdf", "as", "by",
    ),
    OTHER: ("help", "quiet", "version", "install-completion", "show-completion"),
}  # fmt: skip
EXAMPLES: dict[str, tuple[str, str]] = {
    "": ("sweeprig sweep --label 'shelf 3' --job 1042", "sweeprig demo"),
    "guide": ("sweeprig guide", "sweeprig guide --port sim://badly-mounted"),
    "demo": ("sweeprig demo", "sweeprig demo --sensor worn --fast"),
    "rigs": ("sweeprig rigs", "sweeprig rigs --self-test"),
    "install": ("sweeprig install", "sweeprig install --check"),
    "sweep": (
        "sweeprig sweep --label 'shelf 3' --job 1042",
        "sweeprig sweep --series --batch 'May delivery'",
    ),
    "review": ("sweeprig review shelf-3.sweep", "sweeprig review logger.csv --profile hall --starts closed"),
    "check": ("sweeprig check", "sweeprig check --lead"),
    "watch": ("sweeprig watch", "sweeprig watch --hookup tapped --setting vehicle --drive combustion"),
    "aim": (
        "sweeprig aim --mount slotted --target 0.45",
        "sweeprig aim --mount slotted --from shelf-3.sweep --plan",
    ),
    "wiggle": (
        "sweeprig wiggle --seconds 60",
        "sweeprig wiggle --marks '0:plug,20:bulkhead,40:controller end'",
    ),
    "motor": ("sweeprig motor --angle", "sweeprig motor --step 2"),
    "gauge": ("sweeprig gauge readings.csv", "sweeprig gauge --batch 'gauge May' --tolerance 0.1"),
    "send": ("sweeprig send --sweeps 6 --job 1042", "sweeprig send --wiggle --seconds 120"),
    "collect": ("sweeprig collect --list", "sweeprig collect --remove"),
    "pins": ("sweeprig pins", "sweeprig pins 1-2=4.87k 1-3=600/4.1k 2-3=4.3k/800"),
    "compare": ("sweeprig compare before.sweep after.sweep", "sweeprig compare --sensor 'shelf 3'"),
    "page": ("sweeprig page", "sweeprig page --lan"),
    "recover": ("sweeprig recover", "sweeprig recover /media/stick/captures"),
    "sheet": ("sweeprig sheet shelf-3.sweep --pdf", "sweeprig sheet shelf-3.sweep --csv --out export"),
    "calibrate": (
        "sweeprig calibrate --meter 0.05%+3 --points 7",
        "sweeprig calibrate --points-file points.csv",
    ),
    "calibrate verify": (
        "sweeprig calibrate verify 2.500 --standard-u 0.002",
        "sweeprig calibrate verify 2.4987 --meter 0.05%+3",
    ),
    "calibrate ramp": ("sweeprig calibrate ramp", "sweeprig calibrate ramp --source leads --linearity 0.01"),
    "calibrate show": ("sweeprig calibrate show", "sweeprig calibrate show e66058388372"),
    "calibrate list": ("sweeprig calibrate list", "sweeprig calibrate list --json"),
    "records": ("sweeprig records list", "sweeprig records history 'shelf 3'"),
    "records list": (
        "sweeprig records list --job 1042",
        "sweeprig records list --verdict fail --since 2031-03-01",
    ),
    "records show": ("sweeprig records show 17", "sweeprig records show 17 --json"),
    "records history": ("sweeprig records history 'shelf 3'", "sweeprig records history S-0007 --limit 10"),
    "records batch": (
        "sweeprig records batch 'May delivery'",
        "sweeprig records batch 'May delivery' --json",
    ),
    "records export": (
        "sweeprig records export --out records.csv",
        "sweeprig records export --job 1042 --as json",
    ),
    "records add": ("sweeprig records add shelf-3.sweep", "sweeprig records add captures/*.sweep"),
    "records amend": (
        "sweeprig records amend 17 --job 1043",
        "sweeprig records amend 17 --serial S-0007 --by R.I.",
    ),
    "profile": ("sweeprig profile list", "sweeprig profile new my-sensor"),
    "profile list": ("sweeprig profile list", "sweeprig profile list --json"),
    "profile show": ("sweeprig profile show hall", "sweeprig profile show my-sensor.toml"),
    "profile new": ("sweeprig profile new my-sensor", "sweeprig profile new my-hall --like hall"),
    "profile check": ("sweeprig profile check my-sensor.toml", "sweeprig profile check hall"),
    "config": ("sweeprig config show", "sweeprig config set operator 'R. Invented'"),
    "config show": ("sweeprig config show", "sweeprig config show --json"),
    "config set": ("sweeprig config set operator 'R. Invented'", "sweeprig config set captures ~/captures"),
}


def heading_of(group: str, command: str) -> str:
    """Return the heading of a group in the help of a command."""
    return SUBJECT if group == TESTED and command not in TESTING else group


def group_of(option: str) -> str:
    """Return the group of an option by its long name; HOW for an option that no group names."""
    return next((group for group, names in GROUPS.items() if option in names), HOW)
