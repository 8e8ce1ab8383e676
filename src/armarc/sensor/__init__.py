"""The device: packets, Bluetooth link, device descriptions, capture without loss."""
