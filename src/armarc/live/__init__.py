"""Live: samples in, reps and verdicts out, and the faces that show them."""
