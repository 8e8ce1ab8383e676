"""What stands in ``process --json`` and ``--samples`` beside the measures, for ``armarc measures``."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """One key: where it stands, its unit as people write it, and its meaning in one line.

    Parameters
    ----------
    of : str
        ``"file"`` (dotted path in the JSON), ``"set"``, ``"load"`` (of a rep whose load is known, or of a set's
        ``load``) or ``"sample"``.
    key, unit, meaning : str
    """

    of: str
    key: str
    unit: str
    meaning: str


BESIDE: tuple[Key, ...] = (
    Key("set", "set", "", "number inside the recording, from 1"),
    Key(
        "set",
        "in_band",
        "",
        "count and share (0 to 1) of the reps that started inside the band; null without one",
    ),
    Key(
        "set", "mean_…", "", "mean of a rep's measure over the reps in means_over; its unit is the measure's"
    ),
    Key("set", "cv_…_pct", "%", "coefficient of variation of a rep's measure over the same reps, n − 1"),
    Key("load", "…_sd", "", "of a set: standard deviation between its full reps, n − 1"),
    Key("load", "…_se", "", "of a set: the error its reps share, which a mean does not make smaller"),
    Key("load", "full_reps", "", "of a set: reps its means go over"),
    Key("load", "body_swing_work", "", "detected, none detected (below its floor) or not measured"),
    Key("load", "body_swing_work_floor_pct", "%", "the least share that could have been told from none"),
    Key("load", "drive_swing_work", "", "detected, none detected (below its floor) or not measured"),
    Key("load", "drive_swing_work_floor_pct", "%", "the least share that could have been told from none"),
    Key("load", "…_swing_work_reps", "", "of a set: reps in which it was detected; its mean goes over these"),
    Key("load", "…_swing_work_measured", "", "of a set: in how many reps it was looked for"),
    Key(
        "load",
        "energy_residual_pct",
        "%",
        "energy that does not add up over the concentric, of the work done: a check of the numbers",
    ),
    Key(
        "load",
        "body",
        "",
        "the lifter's body; given names what was stated, the rest is from the segment table",
    ),
    Key("load", "resistance", "", "what resists, in words"),
    Key("load", "loaded_range_deg", "°", "low and high end of the loaded range; null without one"),
    Key(
        "load", "curve", "°, N·m", "mean moment and its spread between reps (…_sd) by whole degrees, each way"
    ),
    Key("load", "assumptions", "", "what was assumed for the moments"),
    Key("load", "cautions", "", "to stand beside every moment that is shown"),
    Key("file", "schema", "", "armarc.sets/1: keys keep their meaning; new ones may come"),
    Key("file", "armarc_version", "", "what measured it"),
    Key("file", "source.file", "", "as it was given"),
    Key("file", "source.sha256", "", "of the file's bytes"),
    Key("file", "source.samples", "", "how many the recording has"),
    Key("file", "source.rate_hz", "Hz", "sampling rate"),
    Key("file", "source.duration_s", "s", "first sample to last"),
    Key("file", "source.gaps", "s", "where samples are missing: start_s, end_s, missing_samples"),
    Key("file", "source.columns", "", "which column of the file was taken for what"),
    Key(
        "file", "source.units", "", "the units the file was read in; everything after is SI or says its unit"
    ),
    Key("file", "source.inferences", "", "what was told from the data, and how"),
    Key("file", "source.jitter_s", "s", "scatter of the time stamps"),
    Key("file", "source.duplicate_samples", "", "dropped"),
    Key("file", "source.nan_samples", "", "rows left out for missing cells"),
    Key("file", "source.clipped_samples", "", "at the end of the sensor's range"),
    Key(
        "file",
        "settings",
        "",
        "what it was measured with, named as in the settings file; null where nothing was stated",
    ),
    Key("file", "mounting", "", "null when nothing was measured"),
    Key("file", "mounting.method", "", "how the arm's direction in the sensor was found"),
    Key(
        "file",
        "mounting.arm_axis",
        "",
        "unit vector along the arm from the shoulder to the hand, sensor axes",
    ),
    Key("file", "mounting.uncertainty_deg", "°", "its standard error, largest direction"),
    Key("file", "mounting.reach_m", "m", "shoulder to sensor as fitted; null without a fit"),
    Key(
        "file",
        "mounting.thumb_axis",
        "",
        "unit vector toward the thumb, sensor axes; null without a reference",
    ),
    Key("file", "mounting.thumb_uncertainty_deg", "°", "its standard error"),
    Key("file", "mounting.gyroscope_bias_deg_s", "°/s", "mean bias taken off, sensor axes"),
    Key("file", "mounting.tilt_se_deg", "°", "standard error of the inclination the fusion leaves"),
    Key(
        "file",
        "mounting.scale_se",
        "%",
        "standard errors of the sensor's scales that were assumed, and what told them",
    ),
    Key("file", "left_out", "s", "movements seen and not counted: start_s, end_s, reason"),
    Key("file", "warnings", "", "what is to be known of the recording, for people"),
    Key("sample", "time_s", "s", "from the recording's first sample"),
    Key("sample", "set", "", "0 outside of sets"),
    Key("sample", "rep", "", "0 outside of reps"),
    Key(
        "sample", "phase", "", "raising, top, lowering or bottom (until the next rep); empty outside of reps"
    ),
    Key(
        "sample",
        "angle_deg",
        "°",
        "the movement's angle, that of the measures; a bent elbow is corrected for",
    ),
    Key("sample", "rate_deg_s", "°/s", "its rate, low-passed as the measures have it"),
    Key(
        "sample",
        "elevation_deg",
        "°",
        "arm line against straight down; where the elbow bent, of shoulder to sensor, not of mounting.arm_axis",
    ),
    Key("sample", "plane_deg", "°", "plane of elevation; empty without a reference"),
    Key("sample", "hand_rotation_deg", "°", "thumb above level; empty without a reference"),
    Key(
        "sample",
        "qw, qx, qy, qz",
        "",
        "unit quaternion (Hamilton), sensor to global axes, z up, heading arbitrary",
    ),
    Key("sample", "ax_m_s2 …", "m/s²", "specific force as used, sensor axes; at rest it reads +g upward"),
    Key("sample", "gx_rad_s …", "rad/s", "angular velocity as used, bias taken off, sensor axes"),
    Key("sample", "missing", "", "filled in over a gap"),
    Key("sample", "clipped", "", "at the end of the sensor's range"),
)
