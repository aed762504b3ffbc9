"""Two skeletons → features: heights, angles, distances, entanglement; metres with a mat marked."""

from pipeline.geometry.calibration import MatCalibration
from pipeline.geometry.columns import (
    COLUMNS,
    FEATURE_NAMES,
    Column,
    as_markdown,
    swap_columns,
    swapped_name,
)
from pipeline.geometry.features import change_per_second, features
from pipeline.geometry.lifting import LIFTED_NAMES, heights_over_mat
from pipeline.geometry.pair_lift import LOOKS_NAMES, Lifted, lift
from pipeline.geometry.skeleton import STATURE_FRACTIONS, trunk_length

__all__ = [
    "COLUMNS",
    "FEATURE_NAMES",
    "LIFTED_NAMES",
    "LOOKS_NAMES",
    "STATURE_FRACTIONS",
    "Column",
    "Lifted",
    "MatCalibration",
    "as_markdown",
    "change_per_second",
    "features",
    "heights_over_mat",
    "lift",
    "swap_columns",
    "swapped_name",
    "trunk_length",
]
