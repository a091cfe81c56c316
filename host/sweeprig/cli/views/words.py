"""Words drawn large with half blocks: three rows a word, read at arm's length, without colour."""

from __future__ import annotations

# Letters of our own, five pixel rows each.
_FONT = {
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": (" ###", "#   ", "#   ", "#   ", " ###"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "### ", "#   ", "#   "),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": (" ###", "#   ", " ## ", "   #", "### "),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("#  #", "#  #", "#  #", "#  #", " ## "),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
ROWS = 3


def pixels(text: str) -> list[str]:
    """Return five rows of pixels, `#` where there is ink."""
    return [" ".join(_FONT[c][row] for c in text.upper()) for row in range(5)]


def large(text: str, width: int, *, roomy: bool = False) -> list[str]:
    """Return the text in ROWS rows of half blocks; in five rows of whole ones where `roomy` and they fit.

    Where not even the half blocks fit into `width`, the text is one plain line.
    """
    rows = pixels(text)
    columns = len(rows[0])
    if roomy and 2 * columns <= width:
        return ["".join("█" * 2 if c == "#" else "  " for c in row) for row in rows]
    if columns > width:
        return [text.upper()[:width]]
    rows.append(" " * columns)
    pairs = zip(rows[0::2], rows[1::2], strict=True)
    return [
        "".join(_BLOCKS[(a == "#", b == "#")] for a, b in zip(top, low, strict=True)) for top, low in pairs
    ]
