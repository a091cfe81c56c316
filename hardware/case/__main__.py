"""`python -m hardware.case` writes the parts to print anew; needs OpenSCAD."""

from hardware.case.dims import make

make()
