"""Draw the first page of the sheet that the demo writes.

    python -m tests.pictures.sheet      # writes docs/images/sheet.png

It needs chromium and pdftoppm (package poppler-utils). The sensor is simulated, and the sheet says so.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

IMAGE = Path(__file__).parents[2] / "docs" / "images" / "sheet.png"
WIDE = 940  # px


def draw(image: Path = IMAGE) -> None:
    """Run the demo in a folder of its own, print its first sheet, and keep the first page."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run(
            [sys.executable, "-m", "sweeprig", "demo"], cwd=folder, check=True, stdout=subprocess.DEVNULL
        )
        (sheet,) = folder.glob("out/demo/as-found-*.html")
        pdf = folder / "sheet.pdf"
        quiet = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
        subprocess.run(["chromium", *quiet, f"--print-to-pdf={pdf}", sheet.as_uri()], check=True)
        size = ["-scale-to-x", str(WIDE), "-scale-to-y", "-1"]
        subprocess.run(
            ["pdftoppm", "-png", "-singlefile", "-f", "1", *size, str(pdf), str(image.with_suffix(""))],
            check=True,
        )


if __name__ == "__main__":
    draw()
