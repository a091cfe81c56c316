"""Which pin of the board does what, and what each build has.

The same as the tables [[pin]] and [builds] of host/sweeprig/frontend/parts.toml; a test compares them.
"""

SIGNAL_A = 26
SIGNAL_B = 27
SUPPLY = 28
SUPPLY_ON = 2
SUPPLY_FAULT = 3
SDA = 4
SCL = 5
BURDEN_ON = 6
LINK = 7
BIAS_UP = 8
BIAS_DOWN = 9
BUZZER = 10
BUTTON = 11
RAMP = 12
STEP = 16
DIR = 17
ENABLE = 18
HOME = 19

MONITOR_I2C = 0x48
ENCODER_I2C = 0x36
I2C_HZ = 400000
I2C_TIMEOUT_US = 2000  # of one transfer, which takes 0.1 ms: a stuck bus must not stop the reduction

PLAIN = ("SIGNAL_A", "SIGNAL_B", "SUPPLY", "SUPPLY_ON", "SUPPLY_FAULT")
FULL = PLAIN + ("SDA", "SCL", "BURDEN_ON", "LINK", "BIAS_UP", "BIAS_DOWN", "BUZZER", "BUTTON", "RAMP")
DRIVEN = FULL + ("STEP", "DIR", "ENABLE", "HOME")

PINS = {"plain": PLAIN, "full": FULL, "driven": DRIVEN}
HOOKUPS = {"plain": ("powered",), "full": ("powered", "tapped"), "driven": ("powered", "tapped")}
_SUPPLY_WORDS = ("supply-switch", "supply-sense", "supply-fault")
_FULL_WORDS = _SUPPLY_WORDS + (
    "burden", "bias", "buffered", "monitor", "buzzer", "button", "ground-sense", "battery", "guaranteed-tap",
    "ramp",
)  # fmt: skip
CAPABILITIES = {"plain": _SUPPLY_WORDS, "full": _FULL_WORDS, "driven": _FULL_WORDS + ("drive",)}
