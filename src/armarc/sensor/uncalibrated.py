"""What is assumed of a sensor nobody has calibrated."""

UNCALIBRATED_SCALE_SE = 0.005
"""Relative standard error of a gyroscope's scale (consumer parts: ±0.5–3 % tolerance, from memory of datasheets)."""
