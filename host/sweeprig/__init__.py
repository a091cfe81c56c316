"""Host tools of the bench rig for analogue throttle and pedal position sensors."""

__version__ = "0.1.0"
