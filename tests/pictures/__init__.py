"""Pictures for the docs, made from what a real terminal shows."""
