"""What the reps of an invented set look like."""

import numpy as np

from armarc.reps.likeness import Template

RAISE = Template(
    range_rad=1.4,
    up_s=2.0,
    speed_rad_s=1.0,
    turned_rad=1.4,
    pose=np.array([0.0, 0.0, 1.0]),
    direction=np.array([0.0, 1.0, 0.0]),
)
