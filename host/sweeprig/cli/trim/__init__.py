"""What the commands of `trim` share: options, taking the points, the ramp, what is stored."""
