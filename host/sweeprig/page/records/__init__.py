"""The records in a browser: search, a sensor's history, two captures over each other, batches, sheets, CSV."""
