"""All benchmarks that need no board image, one after another: `make benchmarks`."""

from __future__ import annotations

import importlib
import pkgutil
import sys

import tests.benchmarks as here

NEEDS_AN_IMAGE = ("board_bench",)


def main() -> None:
    """Run what is named on the command line, else all."""
    names = sys.argv[1:] or [
        m.name
        for m in pkgutil.iter_modules(here.__path__)
        if m.name.endswith("_bench") and m.name not in NEEDS_AN_IMAGE
    ]
    for name in names:
        print(f"\n=== {name}", flush=True)
        module = importlib.import_module(f"tests.benchmarks.{name}")
        sys.argv = [name]
        module.main()


if __name__ == "__main__":
    main()
