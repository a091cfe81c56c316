"""Schematics, tables and checks of the rig, all made from sweeprig's parts table."""
