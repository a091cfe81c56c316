"""`python -m hardware.case` writes drawing and parts to print anew; needs OpenSCAD."""

from hardware.case.dims import HERE, make
from hardware.case.drawing import drawing

(HERE / "case.svg").write_text(drawing(), encoding="utf-8")
make()
