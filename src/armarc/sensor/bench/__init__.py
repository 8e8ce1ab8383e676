"""Checks of the sensor itself: noise, bias, drift, rate and losses."""
