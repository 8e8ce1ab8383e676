"""A phone as the sensor: what its page sends, what its browser gives, and events like those of any other sensor."""

from armarc.sensor.phone.habits import Habits, recognise
from armarc.sensor.phone.messages import LONGEST_MESSAGE, Hello, Readings, read_message
from armarc.sensor.phone.receiver import Receiver
from armarc.sensor.phone.stream import Heard, phone_stream, together

__all__ = [
    "LONGEST_MESSAGE",
    "Habits",
    "Heard",
    "Hello",
    "Readings",
    "Receiver",
    "phone_stream",
    "read_message",
    "recognise",
    "together",
]
