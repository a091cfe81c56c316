"""The rig's front end, computed from one parts table."""
