"""A small writer of SVG: shapes with presentation attributes, text escaped, nothing from the network."""

from __future__ import annotations

from collections.abc import Iterable

from markupsafe import Markup, escape

INK = "#16202b"
MUTED = "#56616d"
HAIR = "#c3cad0"
PALE = "#e9edf0"
SIGNAL = "#0b5563"
SECOND = "#a4581a"
ALARM = "#8c1c13"
FONT = "Inter, 'Segoe UI', 'Helvetica Neue', Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def px(value: float) -> str:
    """Return a coordinate with one decimal at most."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _attributes(named: dict[str, object]) -> str:
    parts = []
    for name, value in named.items():
        if value is None:
            continue
        shown = px(value) if isinstance(value, float) else value
        parts.append(f' {name.rstrip("_").replace("_", "-")}="{escape(str(shown))}"')
    return "".join(parts)


class Svg:
    """One drawing. Sizes in user units; `name` keeps ids of several drawings on one page apart."""

    def __init__(self, width: float, height: float, *, name: str, label: str) -> None:
        self.width = width
        self.height = height
        self.name = name
        self._label = label
        self._parts: list[str] = []

    def add(self, tag: str, named: dict[str, object], content: str = "") -> None:
        """Add one element with its attributes; text content is escaped."""
        inside = str(escape(content))
        self._parts.append(f"<{tag}{_attributes(named)}>{inside}</{tag}>")

    def line(self, x1: float, y1: float, x2: float, y2: float, **named: object) -> None:
        """Add a straight line, a hairline unless told otherwise."""
        style = {"stroke": HAIR, "stroke_width": 1.0, **named}
        self.add("line", {"x1": float(x1), "y1": float(y1), "x2": float(x2), "y2": float(y2), **style})

    def rect(self, x: float, y: float, width: float, height: float, **named: object) -> None:
        """Add a rectangle."""
        place: dict[str, object] = {
            "x": float(x),
            "y": float(y),
            "width": float(width),
            "height": float(height),
        }
        self.add("rect", place | named)

    def circle(self, x: float, y: float, radius: float, **named: object) -> None:
        """Add a circle."""
        place: dict[str, object] = {"cx": float(x), "cy": float(y), "r": float(radius)}
        self.add("circle", place | named)

    def text(self, x: float, y: float, content: str, *, size: float = 11.0, **named: object) -> None:
        """Add text with its baseline at y."""
        place = {"x": float(x), "y": float(y), "font_size": float(size)}
        self.add("text", {"fill": INK, "font_family": FONT, **place, **named}, content)

    def path(self, d: str, **named: object) -> None:
        """Add a path that is only stroked, unless a fill is named."""
        style = {"fill": "none", "stroke": INK, "stroke_width": 1.0, **named}
        self.add("path", {"d": d, **style})

    def hatch(self, key: str, *, spacing: float = 6.0, stroke: str = MUTED, width: float = 1.0) -> str:
        """Define a slanted hatch; return the value for `fill`."""
        ident = f"{self.name}-{key}"
        s = px(spacing)
        self._parts.append(
            f'<defs><pattern id="{ident}" width="{s}" height="{s}" patternUnits="userSpaceOnUse">'
            f'<path d="M0 {s}L{s} 0" stroke="{stroke}" stroke-width="{px(width)}"/></pattern></defs>'
        )
        return f"url(#{ident})"

    def markup(self) -> Markup:
        """Return the drawing, safe to put into a page."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {px(self.width)} {px(self.height)}" '
            f'role="img" aria-label="{escape(self._label)}">'
        )
        return Markup(head + "".join(self._parts) + "</svg>")


def polyline(points: Iterable[tuple[float, float]]) -> str:
    """Return the path through the points."""
    return "".join(f"{'L' if i else 'M'}{px(x)} {px(y)}" for i, (x, y) in enumerate(points))
