"""One sound request for every calculation, and for every kind of control chart."""

from __future__ import annotations

from typing import Any

CLOTH = {"count": 200, "mean_um": 126, "largest_um": 150, "sd_um": 6}
SERIES = [10, 12, "11,5", 9, 10.5, 11, 10]
SUBGROUPS = [[10, 12, 11], [9, 11, 10], [10, 10, 13]]
CELLS = [["10.0", "12.0"], ["11.0", "12.0"], ["10.5", "11.5"], ["10.2", "11.1"]]
SETTING = {"drive": "vertical_throw", "amplitude_pp_mm": "1.2", "mains_hz": 50, "duration_s": 600}
BLEND = {
    "apertures_um": [9500, 4750, 75],
    "stockpiles": [
        {"name": "Coarse", "passing_pct": [100, 30, 0]},
        {"name": "Fine", "passing_pct": [100, 100, 10], "share_max_pct": 80},
    ],
    "lower_pct": [100, 55, 2],
    "upper_pct": [None, 75, 8],
}

SAMPLES: dict[str, dict[str, Any]] = {
    "sieve_conformity": {
        "nominal_um": 125,
        "edition": "iso_3310_1_2016",
        "grade": "compliance",
        "warp": CLOTH,
        "weft": {"readings_um": [124, "126,5", 127]},
        "u_um": "0.5",
        "decision": {"rule": "guard_band", "confidence": "0.95", "guard_factor": 1},
    },
    "sieve_wear": {
        "checks": [
            {"uses": 0, "value": 125},
            {"uses": 100, "value": "126.1"},
            {"uses": 200, "value": "126,9"},
        ],
        "lower": "119.2",
        "upper": "130.8",
        "unit": "µm",
        "uses_now": 200,
        "confidence": "0.95",
        "uses_per_day": 2,
        "today": "2026-01-31",
    },
    "effective_aperture": {
        "certificate": [
            {"diameter_um": 125, "passing_pct": 10, "u_diameter_um": 1, "u_passing_pct": "0.5"},
            {"diameter_um": 180, "passing_pct": 90},
        ],
        "observed_pct": [46, 95],
        "u_observed_pct": "0.5",
        "scale": "log",
        "nominal_um": 150,
        "edition": "astm_e11_17",
    },
    "individuals": {
        "calculation": "control_chart",
        "chart": "individuals",
        "values": SERIES,
        "base": SERIES,
        "rules": "set_of_1956",
    },
    "xbar_r": {
        "calculation": "control_chart",
        "chart": "xbar_r",
        "subgroups": SUBGROUPS,
        "base_subgroups": SUBGROUPS,
    },
    "xbar_s": {
        "calculation": "control_chart",
        "chart": "xbar_s",
        "subgroups": SUBGROUPS,
        "summary": {"grand_mean": 10, "mean_spread": 1, "subgroup_size": 3, "subgroups": 25},
        "rules": "none",
    },
    "counts": {"calculation": "control_chart", "chart": "counts", "values": [14, 16, 18, 40]},
    "ewma": {
        "calculation": "control_chart",
        "chart": "ewma",
        "values": SERIES,
        "centre": 10,
        "sigma": 1,
        "weight": "0.3",
        "width": 3,
    },
    "moving_average": {
        "calculation": "control_chart",
        "chart": "moving_average",
        "values": SERIES,
        "base": SERIES,
        "span": 3,
    },
    "cusum": {
        "calculation": "control_chart",
        "chart": "cusum",
        "values": SERIES,
        "centre": 10,
        "allowance": "0.5",
        "decision": 4,
    },
    "capability": {
        "values": SERIES,
        "lower": 5,
        "upper": 15,
        "target": 10,
        "within": {"sigma": 1, "freedom": 12},
        "confidence": "0.9",
    },
    "precision_study": {
        "levels": [{"name": "Tarnholt sand", "cells": CELLS}, {"cells": CELLS[:2]}]
    },
    "precision_limits": {"sd": ["0.05", "0.1"], "mean": [1, 2], "factor": "2.83"},
    "sieving_precision": {"passing_pct": [0, 50, "97.5"]},
    "scores": {
        "results": [52, "49,5", 50],
        "score": "z",
        "assigned": 50,
        "sd": "0.8",
        "u_assigned": "0.2",
    },
    "scores_en": {
        "calculation": "scores",
        "results": [53, 50],
        "score": "en",
        "assigned": 50,
        "U_results": ["1.8", "1.8"],
        "U_assigned": "2.4",
    },
    "method_comparison": {
        "first": [10, 20, 30, 40],
        "second": [12, "21,5", 32, 42],
        "variance_ratio": 1,
        "confidence": "0.95",
    },
    "replicates": {"values": ["25.1", "25.3", "24.9", "25.2"], "repeatability_sd": "0.2"},
    "replicate_gradations": {
        "calculation": "replicates",
        "passing_pct": [[98, 42], [97, 43]],
        "published": {"aggregate": "fine", "operators": "single-operator"},
    },
    "blend": BLEND,
    "blend_target": {
        "calculation": "blend",
        **BLEND,
        "goal": "target",
        "target_pct": [100, 60, None],
        "nearness": "largest_departure",
    },
    "blend_trial": {"calculation": "blend", **BLEND, "goal": "trial", "shares_pct": [50, 50]},
    "increments": {
        "increments": [
            {"mass_g": 500, "passing_pct": [100, 25]},
            {"mass_g": 1500, "passing_pct": [100, 75]},
        ]
    },
    "decision": {
        "values": [{"value": "7.1", "u": "0.4", "upper": 7}, {"value": 5, "u": 0, "lower": 4}],
        "decision": {"rule": "probability", "confidence": "0.9"},
    },
    "expanded_uncertainty": {
        "contributions": [{"u": 3, "degrees_of_freedom": 4}, {"u": 4}],
        "confidence": "0.95",
    },
    "repeated_observations": {"observations": [[10, 1], [12, 2], [14, "1,5"]]},
    "calibration_line": {"x": [0, 1, 2, 3], "y": [1, 3, 5, "7.5"], "reference": 1, "predict": [5]},
    "shaking": {"planned": SETTING, "actual": {**SETTING, "mains_hz": 60}, "tolerance_pct": 5},
}


def sample(name: str) -> dict[str, Any]:
    """One sound request, with the name of its calculation."""
    return {"calculation": name} | SAMPLES[name]
