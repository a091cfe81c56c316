"""The database of jobs, sensors, captures and verdicts."""
