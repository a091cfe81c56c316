"""Draw the screen of a sweep and the card that ends it, as a terminal shows them.

    python -m tests.pictures      # writes docs/images/sweep-screen.svg and sweep-card.svg

The sensor is simulated, and the pictures say so.
"""

from __future__ import annotations

import html
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests")]

from support.terminal import Terminal  # noqa: E402

IMAGES = ROOT / "docs" / "images"
CELL_W, CELL_H, SIZE = 8.43, 17, 14  # px of one character of a 14 px monospaced font
SWEEP = (
    "-m",
    "sweeprig",
    "sweep",
    "--port",
    "sim://good?pace=fast&seed=3",
    "--label",
    "shelf 3",
    "--confirm",
    "plug-off",
)


def svg(lines: list[str], columns: int) -> str:
    """Return lines of a terminal as a picture."""
    width, height = CELL_W * columns + 24, CELL_H * len(lines) + 24
    rows = "\n".join(
        f'<text x="12" y="{12 + CELL_H * (k + 0.8):.1f}" textLength="{CELL_W * len(line):.1f}"'
        f' lengthAdjust="spacingAndGlyphs" xml:space="preserve">{html.escape(line)}</text>'
        for k, line in enumerate(lines)
        if line.strip()
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height}" role="img">\n'
        f'<rect width="100%" height="100%" rx="6" fill="#10151b"/>\n'
        f'<g font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="{SIZE}" fill="#e8edf2">\n'
        f"{rows}\n</g>\n</svg>\n"
    )


def main() -> None:
    """Run a sweep on a terminal of 80 columns; draw its screen after two strokes, and the card at its end."""
    with tempfile.TemporaryDirectory() as home:
        terminal = Terminal(*SWEEP, home=Path(home))
        try:
            terminal.until(lambda t: "strokes 2 of 3" in t.text())
            (IMAGES / "sweep-screen.svg").write_text(svg(terminal.text().split("\n"), 80), encoding="utf-8")
            terminal.end()
            card = terminal.text().replace(home, "~").rpartition("\n  SIMULATED")[2].strip("\n")
            card = [f"  SIMULATED{line}" if k == 0 else line for k, line in enumerate(card.split("\n"))]
            (IMAGES / "sweep-card.svg").write_text(svg(card, 80), encoding="utf-8")
        finally:
            terminal.close()


if __name__ == "__main__":
    main()
