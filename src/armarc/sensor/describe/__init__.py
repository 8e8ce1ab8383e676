"""Sensors that do not speak the wrist profile: a description in TOML instead of code."""

from armarc.sensor.describe.description import Command, Description, Field, Quantity
from armarc.sensor.describe.dialect import DescribedDialect, decoder_of
from armarc.sensor.describe.layout import decode_described
from armarc.sensor.describe.loader import load_description, load_descriptions

__all__ = [
    "Command",
    "DescribedDialect",
    "Description",
    "Field",
    "Quantity",
    "decode_described",
    "decoder_of",
    "load_description",
    "load_descriptions",
]
