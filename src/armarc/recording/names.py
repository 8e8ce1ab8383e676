"""What a column's name says: quantity, axis, unit."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from armarc.recording.units import QUANTITIES, any_unit, unit_in

_GREEK = {"alpha": "alpha", "beta": "beta", "gamma": "gamma"}
_AXES = {"x": "x", "y": "y", "z": "z", **_GREEK}
_ACCELERATION = ("acc", "beschl", "acel")
_GYROSCOPE = ("gyr", "giro", "drehrate", "kreisel", "winkelgeschw")
_GYROSCOPE_WITHIN = (
    "rotationrate", "angularvelocity", "angularrate", "vitesseangulaire", "velocidadangular", "velocitaangolare",
    "drehgeschw", "hoeksnelheid",
)  # fmt: skip
_LAST_LETTER_AXIS = re.compile(
    "(a|w|g|f|m|q|v|la|ac|om|gy|gr|acc|accel|acceleration|accelerometer|gyr|gyro|gyroscope|omega|mag|"
    "magnetometer|rot|linacc|linear|user|grav|gravity|bias|rate|velocity)([xyz])"
)
# fmt: off
_TIME_WORDS = frozenset({
    "time", "timestamp", "timestamps", "t", "ts", "epoch", "unix", "datetime", "date", "elapsed", "clock",
    "seconds", "millis", "micros", "nanos", "milliseconds", "microseconds", "nanoseconds", "uptime",
    "systime", "sampletime", "utc", "sec", "localtime", "zeit", "zeitstempel", "uhrzeit", "datum", "temps",
    "horodatage", "heure", "tiempo", "hora", "fecha", "tempo", "ora", "tijd",
})
_INDEX_WORDS = frozenset({
    "index", "idx", "sample", "samples", "counter", "count", "packet", "frame", "seq", "sequence", "no",
    "row", "id", "n", "i", "number", "num", "unnamed", "nr",
})
_LABEL_WORDS = frozenset({
    "sensor", "sensortype", "sensorname", "type", "kind", "source", "stream", "channel", "name",
})
_OTHER_SCRIPTS = {
    "角加速度": "jerk", "加速度": "acc", "角速度": "gyr", "陀螺": "gyr", "ジャイロ": "gyr", "線形": "linear",
    "线性": "linear", "重力": "gravity", "時間": "time", "时间": "time", "時刻": "time", "温度": "temp", "磁": "mag",
    "가속도": "acc", "각속도": "gyr", "자이로": "gyr", "선형": "linear", "중력": "gravity", "시간": "time",
    "ускорение": "acc", "угловая скорость": "gyr", "гироскоп": "gyr", "линейное": "linear", "время": "time",
}
"""Words of scripts that have no a to z, the longer ones first where one holds another."""
_OTHER_SCRIPT = re.compile("|".join(_OTHER_SCRIPTS), re.IGNORECASE)
_UNCLEAR = frozenset({
    "uncalibrated", "uncal", "raw", "bias", "offset", "std", "sd", "var", "variance", "mean", "min", "max",
    "filtered", "unfiltered", "filt", "drift", "error",
})
_OTHER = frozenset({
    "jerk", "velocity", "speed", "position", "displacement", "pressure", "barometer", "baro", "altitude",
    "latitude", "longitude", "lat", "lon", "gps", "light", "proximity", "humidity", "battery", "heart",
    "hr", "rssi", "status", "accuracy", "label", "activity",
})
# fmt: on


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnName:
    """One column name, read.

    ``kind`` is one of ``time, index, label, acceleration, linear, gravity, angular_velocity, magnetic,
    orientation, temperature, other``; ``stem`` is what remains of the name without axis and unit, shared by
    the three axes of one sensor.
    """

    name: str
    position: int
    kind: str
    axis: str = ""
    unit: str = ""
    stem: tuple[str, ...] = ()
    unclear: bool = False


@lru_cache(maxsize=256)
def read_name(name: str, position: int, unit_cell: str = "") -> ColumnName:
    """Read one column name, with the cell of a unit row below it if there is one."""
    # No unit is longer than that; without a bound, a line of brackets would be walked once for each of them.
    bracketed = re.findall(r"[\[({]([^\])}]{0,80}+)[\])}]", name)
    plain = re.sub(r"[\[({][^\])}]{0,80}+[\])}]", " ", name)
    hints = [unit_cell.strip().strip("[](){}")] if unit_cell.strip() else []
    for content in bracketed:
        if any_unit(content):
            hints.append(content)
        else:
            plain += f" {content}"
    words = _words(plain)
    words, tail_units = _without_unit(words)
    words, axis = _without_axis(words)
    kind = _kind(words, axis)
    quantity = {"linear": "acceleration", "gravity": "acceleration"}.get(kind, kind)
    unit = ""
    if kind == "g":
        # gx is a gyroscope's axis or one of gravity; its unit may say which.
        spelled = {q for hint in hints if (pair := any_unit(hint)) for q in pair[:1]} | set(tail_units)
        if "angular_velocity" in spelled:
            kind = quantity = "angular_velocity"
        elif "acceleration" in spelled:
            kind, quantity = "gravity", "acceleration"
    if quantity in QUANTITIES:
        found = [unit_in(hint, quantity) for hint in hints] + [tail_units.get(quantity)]
        unit = next((name for name in found if name), "")
    elif kind == "other" and axis and not (_OTHER & set(words)):
        quantity_unit = next((any_unit(hint) for hint in hints if any_unit(hint)), None)
        if quantity_unit and quantity_unit[0] != "time":
            kind, unit = quantity_unit
    return ColumnName(
        name=name,
        position=position,
        kind=kind,
        axis=axis,
        unit=unit,
        stem=tuple(words),
        unclear=bool(_UNCLEAR & set(words)),
    )


@lru_cache(maxsize=256)
def reading_of(label: str) -> str | None:
    """The quantity a row's label stands for, ``acceleration`` or ``angular_velocity``, or None.

    As ``ACC``, ``Gyroscope``, ``type_gyroscope``, ``A`` beside ``G``; numbers and long texts stand for none.
    """
    if len(label) > 60 or not any(mark.isalpha() for mark in label):
        return None
    kind = {"g": "angular_velocity"}.get(found := _kind(_words(label), "x"), found)
    return kind if kind in ("acceleration", "angular_velocity") else None


def words_of_other_scripts(text: str) -> frozenset[str]:
    """The words of scripts without a to z that a text holds and that name a column."""
    return frozenset(found.lower() for found in _OTHER_SCRIPT.findall(text))


def _words(text: str) -> list[str]:
    if not text.isascii():
        text = _OTHER_SCRIPT.sub(lambda found: f" {_OTHER_SCRIPTS[found[0].lower()]} ", text)
    text = text.replace("°", "deg").replace("²", "2").replace("\u00b5", "u").replace("\u03bc", "u")
    text = text.replace("\u03c9", "omega").replace("\u03a9", "omega").replace("\u2126", "omega")
    text = "".join(mark for mark in unicodedata.normalize("NFKD", text) if not unicodedata.combining(mark))
    text = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", "_", text)
    return [word for word in re.split(r"[^0-9a-z]+", text.lower()) if word]


def _without_unit(words: list[str]) -> tuple[list[str], dict[str, str]]:
    """Cut a unit off the end: ``ax_m_s2``, ``gyr_x_deg_s``, ``timestamp_ns``."""
    for count in (4, 3, 2, 1):
        if len(words) <= count:
            continue
        tail = "".join(words[-count:])
        found = {quantity: unit for quantity in QUANTITIES if (unit := unit_in(tail, quantity))}
        if found and not (count == 1 and tail in _TIME_WORDS and len(words) == 1):
            return words[:-count], found
    if len(words) == 1 and (unit := unit_in(words[0], "time")):
        return ["time"], {"time": unit}
    return words, {}


def _without_axis(words: list[str]) -> tuple[list[str], str]:
    for i, word in enumerate(words):
        if word in _AXES and (len(words) > 1 or word in ("x", "y", "z")):
            return words[:i] + words[i + 1 :], _AXES[word]
    for i in range(len(words) - 1, -1, -1):
        match = _LAST_LETTER_AXIS.fullmatch(words[i])
        if match:
            return [*words[:i], match[1], *words[i + 1 :]], match[2]
    for i in range(len(words) - 1, 0, -1):
        if words[i] in ("0", "1", "2", "3"):
            return words[:i] + words[i + 1 :], words[i]
        match = re.fullmatch(r"(acc|accel|gyr|gyro)([0-3])", words[i])
        if match:
            return [*words[:i], match[1], *words[i + 1 :]], match[2]
    match = re.fullmatch(r"(acc|accel|gyr|gyro|a|w)([0-3])", words[0]) if len(words) == 1 else None
    if match:
        return [match[1]], match[2]
    for i, word in enumerate(words):
        # The first of several sensors: ax1, ay1, az1.
        match = re.fullmatch(r"(a|w|g|acc|accel|gyr|gyro)([xyz])([0-9])", word)
        if match:
            return [*words[:i], match[1], match[3], *words[i + 1 :]], match[2]
    return words, ""


def _kind(words: list[str], axis: str) -> str:
    if axis:
        # The rawness or the number of a sensor says nothing about what it measures.
        words = [word for word in words if word not in _UNCLEAR and not word.isdigit()] or words
    have = set(words)
    joined = "".join(words)
    acceleration = any(word.startswith(_ACCELERATION) for word in words) or "acceleration" in joined
    if have & {
        "jerk",
        "quaternion",
        "quat",
        "roll",
        "pitch",
        "yaw",
        "euler",
        "heading",
        "azimuth",
        "attitude",
    }:
        return "orientation"
    if joined.startswith(("orientation", "quat")) or have == {"q"} or re.fullmatch("q[0-3w]", joined):
        return "orientation"
    if any(word.startswith(("magn", "compass")) for word in words) or have & {"mag", "m", "mfield"}:
        return "magnetic"
    if any(word.startswith("temp") and word not in _TIME_WORDS for word in words):
        return "temperature"
    if "includinggravity" in joined or "withgravity" in joined or "inclgravity" in joined:
        return "acceleration"
    if acceleration and have & {"static", "statisch"}:
        return "gravity"
    if (
        acceleration and have & {"linear", "lin", "user", "dynamic", "dynamisch", "free"}
    ) or joined.startswith(("linacc", "useracc", "linear", "lacc", "user")):
        return "linear"
    if "withoutgravity" in joined or "nogravity" in joined or "gravityremoved" in joined or have == {"la"}:
        return "linear"
    if any(word.startswith("grav") for word in words) and not acceleration:
        return "gravity"
    if (acceleration and axis) or have & {"gforce"} or (axis and have <= {"a", "ac"} and have):
        return "acceleration"
    if axis and (joined in ("gf", "gforce", "specificforce")):
        return "acceleration"
    if axis and (
        any(word.startswith(_GYROSCOPE) for word in words)
        or any(name in joined for name in _GYROSCOPE_WITHIN)
        or have & {"omega", "w", "om", "angvel", "gy", "gr", "rotrate"}
        or {"rot", "rate"} <= have
        or {"ang", "vel"} <= have
        or have == {"rate"}
    ):
        return "angular_velocity"
    if axis and have == {"g"}:
        return "g"
    if axis:
        return "other"
    if have & _TIME_WORDS and not have & {"zone", "difference", "diff", "delta"}:
        return "time"
    if not words or have & _INDEX_WORDS:
        return "index"
    if (len(words) <= 2 and have & _LABEL_WORDS) or joined in _LABEL_WORDS:
        return "label"
    return "other"
