"""What the shoulder had to do: lifter, resistances, moments, planning, line of pull."""
