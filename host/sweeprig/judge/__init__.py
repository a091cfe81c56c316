"""Profiles, limits, guard bands, findings, verdicts."""
