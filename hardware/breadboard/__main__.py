"""`python -m hardware.breadboard` writes the drawings and the page anew."""

from hardware.breadboard.pages import main

main()
