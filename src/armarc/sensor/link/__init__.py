"""The Bluetooth side: finding sensors, holding on to them, one stream of events."""
