"""The lifting screen as a local page for a phone or tablet across the room."""
