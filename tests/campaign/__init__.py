"""Attacks that are counted: `python -m tests.campaign [NAME ...]` prints tries, survived and lost for each.

An attack is a function in a module of this package, named in the module's `ATTACKS`. It is given a folder of its own,
makes there what it attacks, and returns the function of one try. A try is given a random generator and a folder; it
returns "" where all was well, else what was lost. An error of ours (SweeprigError) is an answer, any other exception is
a loss.
"""
