"""What the commands of `calibrate` share: options, taking the points, the ramp, what is stored."""
