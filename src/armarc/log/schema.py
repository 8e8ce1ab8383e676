"""Tables of the log, as the newest migration leaves them.

One ``recording`` (raw samples, by content) was measured by one ``measurement`` (settings, version), which
found ``training_set`` rows with their ``rep`` rows; ``set_number`` repeats numbers of a set's summary. A ``session``
is one lifter's training on one day. Every change made by hand or by a new measurement is a row of ``change``, from
which it can be undone.
Who added a recording and who made a change is kept as the database knows them, empty where it was not asked yet.
Times are seconds since 1970-01-01 UTC; a session's ``day`` is the local date where the set was done.
"""

from __future__ import annotations

import sqlalchemy as sa

metadata = sa.MetaData()

REP_NUMBERS = (
    "start_s",
    "top_start_s",
    "top_end_s",
    "end_s",
    "bottom_deg",
    "top_deg",
    "rom_deg",
    "concentric_s",
    "hold_s",
    "eccentric_s",
    "time_under_tension_s",
    "pause_s",
    "start_velocity_deg_s",
    "mean_concentric_deg_s",
    "mean_eccentric_deg_s",
    "peak_concentric_deg_s",
    "peak_eccentric_deg_s",
    "peak_concentric_at_deg",
    "loaded_range_s",
    "plane_deg",
    "hand_rotation_deg",
    "smoothness_sparc",
    "body_swing_cm",
)
"""Keys of a rep that have a column of their own; every other key is kept in ``other``."""

SET_NUMBERS = (
    "duration_s",
    "time_under_tension_s",
    "loaded_range_s",
    "velocity_loss_pct",
    "rom_loss_pct",
    "in_band_share",
    "loaded_range_impulse_n_m_s",
    "impulse_n_m_s",
    "mean_bottom_deg",
    "mean_top_deg",
    "mean_rom_deg",
    "mean_concentric_s",
    "mean_hold_s",
    "mean_eccentric_s",
    "mean_pause_s",
    "mean_start_velocity_deg_s",
    "mean_concentric_deg_s",
    "mean_eccentric_deg_s",
    "mean_peak_concentric_deg_s",
    "mean_peak_eccentric_deg_s",
    "mean_peak_concentric_at_deg",
    "mean_plane_deg",
    "mean_hand_rotation_deg",
    "mean_hand_rotation_change_deg",
    "mean_time_to_peak_s",
    "mean_smoothness_sparc",
    "mean_body_swing_cm",
    "clean_reps",
)
"""Numbers of a summary that statistics find without reading it; any other is looked up in the summary, only slower."""


def set_numbers(summary: object) -> dict[str, float | None]:
    """Columns of ``set_number`` for a summary."""
    found: dict[str, object] = dict(summary) if isinstance(summary, dict) else {}
    band = found.get("in_band")
    found["in_band_share"] = band.get("share") if isinstance(band, dict) else None
    values = ((name, found.get(name)) for name in SET_NUMBERS)
    return {
        name: float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
        for name, value in values
    }


def _id() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True, autoincrement=True)


def _to(target: str, name: str, *, delete: bool = False) -> sa.Column[int]:
    key = sa.ForeignKey(f"{target}.id", ondelete="CASCADE" if delete else None)
    return sa.Column(name, sa.Integer, key, nullable=False)


migration = sa.Table(
    "migration",
    metadata,
    sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("applied_at", sa.Double, nullable=False),
    sa.Column("armarc_version", sa.Text, nullable=False),
)

recording = sa.Table(
    "recording",
    metadata,
    _id(),
    sa.Column("sha256", sa.Text, nullable=False, unique=True),
    sa.Column("file_name", sa.Text, nullable=False),
    sa.Column("suffix", sa.Text, nullable=False),
    sa.Column("bytes", sa.Integer, nullable=False),
    sa.Column("kept", sa.Boolean, nullable=False),
    sa.Column("started_at", sa.Double, nullable=False),
    sa.Column("added_at", sa.Double, nullable=False),
    sa.Column("added_by", sa.Text, nullable=False, server_default=""),
)

recording_content = sa.Table(
    "recording_content",
    metadata,
    sa.Column("sha256", sa.Text, primary_key=True),
    sa.Column("content", sa.LargeBinary, nullable=False),
)

lifter = sa.Table("lifter", metadata, _id(), sa.Column("name", sa.Text, nullable=False, unique=True))

session = sa.Table(
    "session",
    metadata,
    _id(),
    _to("lifter", "lifter_id"),
    sa.Column("day", sa.Text, nullable=False),
    sa.Column("label", sa.Text, nullable=False),
    sa.UniqueConstraint("lifter_id", "day", "label"),
)

measurement = sa.Table(
    "measurement",
    metadata,
    _id(),
    _to("recording", "recording_id"),
    sa.Column("settings_sha256", sa.Text, nullable=False),
    sa.Column("settings", sa.JSON, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    sa.Column("armarc_version", sa.Text, nullable=False),
    sa.Column("measured_at", sa.Double, nullable=False),
    sa.UniqueConstraint("recording_id"),
)

training_set = sa.Table(
    "training_set",
    metadata,
    _id(),
    _to("measurement", "measurement_id"),
    _to("session", "session_id"),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("done_at", sa.Double, nullable=False),
    sa.Column("exercise", sa.Text, nullable=False),
    sa.Column("variant", sa.Text, nullable=False),
    sa.Column("side", sa.Text),
    sa.Column("load_kg", sa.Double),
    sa.Column("rir", sa.Double),
    sa.Column("rpe", sa.Double),
    sa.Column("pain", sa.Double),
    sa.Column("pain_place", sa.Text, nullable=False, server_default=""),
    sa.Column("pain_at_deg", sa.Double),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("start_s", sa.Double, nullable=False),
    sa.Column("end_s", sa.Double, nullable=False),
    sa.Column("reps", sa.Integer, nullable=False),
    sa.Column("summary", sa.JSON, nullable=False),
    sa.Column("other", sa.JSON, nullable=False),
    sa.Column("removed_at", sa.Double),
)
sa.Index("set_by_time", training_set.c.done_at, training_set.c.id)
sa.Index("set_by_session", training_set.c.session_id)
sa.Index("set_by_measurement", training_set.c.measurement_id)
# Holds all that statistics ask of a set, so that they need not read past its summary.
sa.Index(
    "set_labels",
    *(training_set.c[name] for name in ("removed_at", "done_at", "id", "session_id", "exercise", "variant")),
    *(training_set.c[name] for name in ("side", "load_kg", "reps", "rir")),
)

set_number = sa.Table(
    "set_number",
    metadata,
    sa.Column("set_id", sa.Integer, sa.ForeignKey("training_set.id", ondelete="CASCADE"), primary_key=True),
    *(sa.Column(name, sa.Double) for name in SET_NUMBERS),
)

rep = sa.Table(
    "rep",
    metadata,
    sa.Column("set_id", sa.Integer, sa.ForeignKey("training_set.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("rep", sa.Integer, primary_key=True, autoincrement=False),
    *(sa.Column(name, sa.Double) for name in REP_NUMBERS),
    sa.Column("start_verdict", sa.Text),
    sa.Column("quality", sa.JSON, nullable=False),
    sa.Column("other", sa.JSON, nullable=False),
)

tag = sa.Table(
    "tag",
    metadata,
    sa.Column("set_id", sa.Integer, sa.ForeignKey("training_set.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("tag", sa.Text, primary_key=True),
)
sa.Index("tag_by_name", tag.c.tag)

change = sa.Table(
    "change",
    metadata,
    _id(),
    sa.Column("batch", sa.Text, nullable=False),
    sa.Column("made_at", sa.Double, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("set_id", sa.Integer, nullable=False),
    sa.Column("before", sa.JSON, nullable=False),
    sa.Column("after", sa.JSON, nullable=False),
    sa.Column("undone_at", sa.Double),
    sa.Column("author", sa.Text, nullable=False, server_default=""),
)
sa.Index("change_by_set", change.c.set_id)
