"""Draw the page beside the rig as a phone shows it: a running sweep, the same in the dark, and the verdict.

    python -m tests.pictures.page      # writes docs/images/page.png; needs chromium and chromedriver

The sensor is simulated, and the pictures say so.
"""

from __future__ import annotations

import base64
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "page")]

from run import Run  # noqa: E402

from support.browser import browser  # noqa: E402

TARGET = ROOT / "docs" / "images" / "page.png"
COMMAND = (
    "sweep", "--page", "--confirm", "plug-off", "--label", "shelf 3", "--port", "sim://worn?vm=cpython&seed=3"
)  # fmt: skip
WIDE, HIGH, GAP = 390, 844, 16


def main() -> None:
    """Follow one sweep on a phone; lay three pictures side by side."""
    with tempfile.TemporaryDirectory() as home, browser(WIDE, HIGH) as phone:
        shots = []
        with Run(*COMMAND, home=Path(home)) as run:
            phone.open(f"http://{run.host}/key/{run.key}")
            for dark, selector, words in (
                (False, "#strokewords", "strokes 1 of"),
                (True, "#strokewords", "strokes 2 of"),
                (False, "#say", "FAIL"),
            ):  # fmt: skip
                phone.dark(dark)
                phone.until_text(selector, words)
                shots.append(phone.driver.get_screenshot_as_base64())
        images = "".join(f'<img src="data:image/png;base64,{shot}" width="{WIDE}">' for shot in shots)
        page = f'<body style="margin:{GAP}px;display:flex;gap:{GAP}px;background:#777">{images}'
        phone.size(3 * WIDE + 4 * GAP, HIGH + 2 * GAP, phone=False)
        phone.open(f"data:text/html;base64,{base64.b64encode(page.encode()).decode()}")
        phone.until(lambda: phone.run("return [...document.images].every(i => i.complete && i.naturalWidth)"))
        phone.picture(TARGET)


if __name__ == "__main__":
    main()
