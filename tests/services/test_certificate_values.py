"""What a certificate prints beside its sizes, without a database."""

import pytest

from gradation.services.certificate_values import characteristic_values


def _found(size_um):
    percentile = {"passing_pct": 50, "size_um": size_um, "text": ""}
    return {"assessment": None, "percentiles": {"d50": percentile}, "characteristics": {}}


@pytest.mark.parametrize(
    ("size_um", "spread_um", "size", "spread"),
    [
        (11_800, 9.1, "11.8", "0.1"),
        (1_234, 36, "1.23", "0.04"),
        (345, 1.2, "345", "2"),
        (63.25, 0.31, "63.2", "0.4"),
        (18_400, 1_260, "18.4", "1.3"),
    ],
)
def test_uncertainty_of_a_size_is_written_no_finer_than_the_size(size_um, spread_um, size, spread):
    # By hand after JCGM 100:2008, 7.2.6: not finer than the result, rounded up where needed.
    (drawn,) = characteristic_values(_found(size_um), sizes_um={"d50": spread_um})

    assert (drawn.value, drawn.uncertainty) == (size, spread)
