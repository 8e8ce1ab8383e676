"""From the raw stream to what the arm did: orientation, mounting, arm angles, shoulder path."""

from armarc.motion.types import ArmMotion, Mounting, Orientation

__all__ = ["ArmMotion", "Mounting", "Orientation"]
