"""`python -m sweeprig`."""

from sweeprig.cli.main import run

if __name__ == "__main__":
    run()
