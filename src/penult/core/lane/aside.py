"""How far an athlete runs beside the lane's middle, and a foot beside the athlete: one budget for `check` and for every result."""

from __future__ import annotations

LINE_SD_M = 0.04
"""The athlete's own line beside the lane's middle, one SD. About a straight line the hips of eight runs whose feet land as force
plates show it stray by 1.6 cm (27 supports of films with known truth); how well a run as a whole keeps to the middle nobody has
published that we found (the rest is common practice, no source). Until now 3 cm in results and 4 (6 at the feet) in `check`."""

FOOT_FROM_LINE_M, FOOT_SD_M = 0.04, 0.025
"""A toe beside the athlete's line, on its own side, and its SD: 5.5 cm in films with feet set straight, 3.1 cm with an SD of 1.8
in those with turned-out feet near the line (30 contacts)."""
