"""The shop's own: configuration, folders, profiles, records."""
