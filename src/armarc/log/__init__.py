"""The training log: every set with its raw recording, what people said of it, what changed since."""
