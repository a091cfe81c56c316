"""Steps from one version of the records database to the next."""
