"""The board itself: finding and opening a rig, installing its firmware."""
