"""Sentences that stand beside every moment."""

from __future__ import annotations

MOMENT_CAUTION = (
    "Moments are net resultant estimates from body tables and the stated load (a person's own segments may "
    "differ by 10-20 %, from memory); they are not muscle, tendon or joint contact forces."
)
SWING_CAUTION = "Shares of body swing and start speeds are descriptive: not advice to swing a load."
PAIN_CAUTION = "Pain means stop."
LOAD_CAUTIONS = (MOMENT_CAUTION, SWING_CAUTION, PAIN_CAUTION)
