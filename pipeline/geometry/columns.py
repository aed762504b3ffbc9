"""The table of feature columns: its names, units and meanings, as data."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Column:
    """One column of the feature table.

    Attributes
    ----------
    name : str
        Without its prefix; ``a_`` and ``b_`` are put before an athlete's column.
    unit : str
    meaning : str
    of : {"athlete", "pair"}
        An athlete's column exists twice; a pair's is the same whoever is called A.
    rate : bool
        Whether ``…_rate``, its change a second, is a column too.
    """

    name: str
    unit: str
    meaning: str
    of: str = "athlete"
    rate: bool = False

    @property
    def full_names(self) -> tuple[str, ...]:
        """Names in the table, rates left out."""
        if self.of == "pair":
            return (f"pair_{self.name}",)
        return (f"a_{self.name}", f"b_{self.name}")


_TL = "trunk lengths"
_REACHES = tuple(
    Column(
        f"{points}_to_{target}_{which}",
        _TL,
        f"Distance of the {which}er of the own {points} to the other's {words}.",
        rate=which == "near" and target == "trunk",
    )
    for points in ("wrists", "knees", "ankles")
    for target, words in (
        ("trunk", "trunk line"),
        ("head", "head"),
        ("legs", "nearest thigh or shank"),
    )
    for which in ("near", "far")
)

COLUMNS: tuple[Column, ...] = (
    Column(
        "hip_height", _TL, "Hip midpoint over the lowest body point of the pair.", rate=True
    ),
    Column("shoulder_height", _TL, "Shoulder midpoint over the same point.", rate=True),
    Column("head_height", _TL, "Head over the same point."),
    Column("trunk_angle", "degrees", "Trunk to the vertical: 0 upright, 90 level, 180 head down.",
           rate=True),
    Column("trunk_length", "pixels", "Robust length of the own trunk, were it in the picture."),
    Column("trunk_shown", "1", "Length of the trunk as seen over its robust length."),
    Column("front", "1", "Signed area shoulders × trunk: positive seen from the front, negative "
           "from behind, 0 from the side or along the trunk."),
    Column("knee_angle_min", "degrees", "The more bent knee: 180 straight.", rate=True),
    Column("knee_angle_max", "degrees", "The straighter knee: 180 straight.", rate=True),
    Column("hip_angle_min", "degrees", "The more bent hip, shoulder–hip–knee: 180 straight."),
    Column("hip_angle_max", "degrees", "The straighter hip, shoulder–hip–knee: 180 straight."),
    Column("elbow_angle_min", "degrees", "The more bent elbow: 180 straight."),
    Column("elbow_angle_max", "degrees", "The straighter elbow: 180 straight."),
    Column("elbow_height_low", _TL, "The lower elbow over the lowest body point of the pair."),
    Column("elbow_height_high", _TL, "The higher elbow over the same point."),
    Column("knee_height_low", _TL, "The lower knee over the same point."),
    Column("knee_height_high", _TL, "The higher knee over the same point."),
    Column("foot_height_low", _TL, "The lower ankle over the same point.", rate=True),
    Column("foot_height_high", _TL, "The higher ankle over the same point."),
    Column("knee_spread", _TL, "Distance between the own knees."),
    Column("ankle_spread", _TL, "Distance between the own ankles."),
    Column("hip_over_other", _TL, "Own hip midpoint above the other's.", rate=True),
    Column("shoulder_over_other", _TL, "Own shoulder midpoint above the other's.", rate=True),
    Column("hip_to_shoulder", _TL, "Own hip midpoint to the other's shoulder midpoint."),
    Column("hip_to_head", _TL, "Own hip midpoint to the other's head."),
    Column("head_to_trunk", _TL, "Own head to the other's trunk line."),
    Column("head_to_hip", _TL, "Own head to the other's hip midpoint."),
    *_REACHES,
    Column("face_to_other", "1", "Cosine between where the face points and the other's trunk: "
           "1 facing it, −1 turned away."),
    Column("trunk_on_trunk", "1", "Part of the own trunk line within half a trunk length of the "
           "other's."),
    Column("crossing", "limbs", "Own limb segments (of 8) that cross a limb or the trunk of the "
           "other."),
    Column("legs_enclose", "segments", "Limbs and trunk of the other (of 9) with their middle "
           "inside the outline hip–knee–ankle–ankle–knee–hip of the own legs."),
    Column("arms_enclose", "segments", "The same for the outline of the own arms."),
    Column("speed", "trunk lengths/s", "Median movement of the own keypoints, the pair's common "
           "movement (a panning camera) taken off."),
    Column("confidence", "1", "Mean confidence of the keypoints seen."),
    Column("trunk_confidence", "1", "Lowest confidence among shoulders and hips."),
    Column("seen", "1", "Part of the 17 keypoints that is seen."),
    Column("hip_height_m", "metres", "Hip midpoint over the mat; needs a mat calibration."),
    Column("hip_to_hip", _TL, "Between the hip midpoints.", "pair", rate=True),
    Column("shoulder_to_shoulder", _TL, "Between the shoulder midpoints.", "pair", rate=True),
    Column("head_to_head", _TL, "Between the heads.", "pair"),
    Column("gap", _TL, "Smallest distance between a keypoint of one and one of the other.",
           "pair", rate=True),
    Column("trunk_overlap", "1", "Mean of both athletes’ trunk_on_trunk.", "pair"),
    Column("trunk_relative_angle", "degrees", "Between the trunks: 0 same way, 180 head to hips.",
           "pair", rate=True),
    Column("horizontal_overlap", "1", "Shared width over the narrower body's width.", "pair",
           rate=True),
    Column("vertical_overlap", "1", "Shared height over the lower body's height.", "pair"),
    Column("width", _TL, "Width of both bodies together.", "pair"),
    Column("height", _TL, "Height of both bodies together.", "pair", rate=True),
    Column("crossings", "pairs", "Pairs of limb segments, one of each, that cross.", "pair",
           rate=True),
    Column("trunk_length", "pixels", "Common scale: geometric mean of both trunk lengths.", "pair"),
    Column("mat_x_m", "metres", "Place of the pair along the mat's first side; needs a mat "
           "calibration.", "pair"),
    Column("mat_y_m", "metres", "Place of the pair along the mat's second side; needs a mat "
           "calibration.", "pair"),
)  # fmt: skip
"""Every measured column; `FEATURE_NAMES` adds the rates."""

RATE_SUFFIX = "_rate"
RATED: tuple[str, ...] = tuple(name for c in COLUMNS if c.rate for name in c.full_names)
FEATURE_NAMES: tuple[str, ...] = tuple(name for c in COLUMNS for name in c.full_names) + tuple(
    name + RATE_SUFFIX for name in RATED
)
"""Column names of the feature table, in order."""


def swapped_name(name: str) -> str:
    """Return the column that holds, for B, what `name` holds for A, and the other way round."""
    prefix, _, rest = name.partition("_")
    return {"a": "b_", "b": "a_"}.get(prefix, prefix + "_") + rest


def swap_columns(features: pd.DataFrame) -> pd.DataFrame:
    """Return the table that features of exchanged athletes would give.

    Parameters
    ----------
    features : DataFrame
        As from `pipeline.geometry.features`; any subset of its columns, if complete in pairs.

    Returns
    -------
    DataFrame
        Same columns in the same order.
    """
    swapped = features[[swapped_name(str(name)) for name in features.columns]]
    return swapped.set_axis(features.columns, axis=1)


def as_markdown() -> str:
    """Return the table of columns as docs/geometry.md shows it."""
    lines = ["| column | unit | meaning | `_rate` |", "|---|---|---|---|"]
    for c in COLUMNS:
        names = " ".join(f"`{name}`" for name in c.full_names)
        lines.append(f"| {names} | {c.unit} | {c.meaning} | {'yes' if c.rate else ''} |")
    return "\n".join(lines) + "\n"
