"""The sheet and the exports."""
