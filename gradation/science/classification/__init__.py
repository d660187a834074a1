"""Soil and sediment classes of a curve: fraction tables and the Unified Soil Classification.

`fractions` splits a curve at the limits of a scheme; `plasticity` reads the plasticity chart;
`grading` tells well from poorly graded, also from sizes known within bounds only;
`group_names` builds the name; `uscs` puts it all together. Imports point back in this order.
"""

from gradation.science.classification.fractions import (
    FractionTable,
    Share,
    fraction_table,
    fraction_tables,
    grain_class,
    schemes,
)
from gradation.science.classification.grading import (
    Grading,
    SizeBounds,
    bounds_of_coefficients,
    grading,
)
from gradation.science.classification.group_names import SoilShares
from gradation.science.classification.plasticity import FinesKind, Plasticity, fines_kind
from gradation.science.classification.uscs import (
    Classification,
    Outcome,
    classify,
    classify_curve,
)

__all__ = [
    "Classification",
    "FinesKind",
    "FractionTable",
    "Grading",
    "Outcome",
    "Plasticity",
    "Share",
    "SizeBounds",
    "SoilShares",
    "bounds_of_coefficients",
    "classify",
    "classify_curve",
    "fines_kind",
    "fraction_table",
    "fraction_tables",
    "grading",
    "grain_class",
    "schemes",
]
