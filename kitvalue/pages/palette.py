"""The colours of every picture: the Okabe-Ito palette, in which each hue also differs in lightness.

Okabe and Ito 2008, "Color Universal Design" (from memory: the eight hex values as commonly printed). Lines of different
meaning differ in dash and marker as well, so a grey print reads the same.
"""

from __future__ import annotations

from typing import Final

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
PURPLE: Final = "#CC79A7"

OKABE_ITO: Final = (BLACK, ORANGE, SKY, GREEN, YELLOW, BLUE, VERMILLION, PURPLE)

# The neutral tones of ink on paper: text, secondary text, rules.
INK: Final = "#1B1B1B"
FADED: Final = "#575757"
RULE: Final = "#CFCDC6"
PAPER: Final = "#FFFFFF"
