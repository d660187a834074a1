"""Examples of bodies, from the invented laboratory of the demonstration."""

from __future__ import annotations

from typing import Any

__all__ = ["EXAMPLES"]

#: By the name of the form.
EXAMPLES: dict[str, dict[str, Any]] = {
    "SampleIn": {
        "customer": "Tarnholt Quarry Company",
        "material": "Crushed sand 0/4, washed",
        "condition": "Sealed bag, dry.",
        "lot": "Week 14, stockpile 2",
        "customer_reference": "Order 4711",
        "mass_received_g": "5230.0",
    },
    "CustomerIn": {"name": "Tarnholt Quarry Company", "contact_name": "R. Elvestad"},
    "PortionIn": {"sample": "26-0001", "way": "riffle divider", "divider": "RD-1", "passes": 3},
    "RunIn": {
        "portion": "26-0001-A",
        "bench": "Bench 1",
        "sieves": ["S-0117", "S-0118", "S-0119"],
    },
    "ReadingIn": {
        "key": "5f0f3a52-9f0b-4a5f-8a39-6a2f8a7c1d10",
        "slot": "fraction",
        "aperture_um": "500.00",
        "text": "123.4",
    },
    "HandOverIn": {"shaking_minutes": "10.0", "deviations": ""},
    "ReasonIn": {"reason": "The bag was open when it came."},
    "DraftIn": {"sample": "26-0001", "runs": [12], "remarks": ""},
    "TareIn": {"tare_g": "412.36"},
    "ImpactIn": {"equipment": "S-0117", "reason": "Torn at the rim, found at the visual check."},
}
