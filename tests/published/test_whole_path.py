"""Published worked examples through the whole laboratory: from the label to the issued file.

Sources stand with each example in `examples/*.json`; tolerances are the examples' own, widened by
half of the last digit the certificate reports (0.1 %).
"""

import io
import json

import pytest
from django.core.management import call_command
from pypdf import PdfReader

from tests.published.agreement import agrees
from tests.published.examples import example
from tests.published.paths import (
    as_worksheet,
    column,
    differences,
    through_the_laboratory,
    weighed,
)

#: topic, name, the output that holds percentages passing, its own tolerance [%].
PASSING = [
    ("gradation", "washed_whole_sample", "percent_passing_0_1", 0.05),
    ("gradation", "fine_aggregate_446_g", "percent_passing", 0.05),
    ("gradation", "soil_percent_finer", "percent_finer", 0.05),
    ("gradation", "sand_with_whole_percent_column", "percent_passing", 0.2),
    ("gradation", "washed_soil_with_pan_fines", "percent_passing", 0.05),
    ("percentiles", "soil_450_g_d_sizes", "percent_finer_exact", 0.1),
    ("percentiles", "soil_500_g_d_sizes", "percent_finer_exact", 0.1),
]
REPORTED = 0.05  # half of the last digit reported
BINARY = 1e-9  # differences of decimals taken in double precision


def computed(sheet, tmp_path, capsys):
    """Run the command on a worksheet file and read what it prints."""
    path = tmp_path / "sheet.json"
    path.write_text(json.dumps(sheet), encoding="utf-8")
    call_command("compute", str(path))
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(("topic", "name", "output", "tolerance"), PASSING)
def test_compute_gives_the_published_passing(topic, name, output, tolerance, tmp_path, capsys):
    given = example(topic, name)

    result = computed(as_worksheet(weighed(given.inputs)), tmp_path, capsys)

    ours = [row["passing_pct"] for row in result["table"]]
    agrees(given, output, ours, tolerance)


@pytest.mark.django_db
@pytest.mark.parametrize(("topic", "name", "output", "tolerance"), PASSING)
def test_certificate_prints_the_published_passing(topic, name, output, tolerance):
    given = example(topic, name)

    certificate = through_the_laboratory(weighed(given.inputs))

    ours = column(certificate, "passing_pct")
    published = given.outputs[output]
    assert max(differences(ours, published)) <= tolerance + REPORTED + BINARY
    text = PdfReader(io.BytesIO(bytes(certificate.pdf))).pages[0].extract_text()
    for row in certificate.content["results"][0]["rows"]:
        assert row["passing_pct"] in text


@pytest.mark.django_db
def test_washed_example_reaches_the_certificate_with_every_intermediate_figure():
    given = example("gradation", "washed_whole_sample")

    certificate = through_the_laboratory(weighed(given.inputs))

    outputs = given.outputs
    assert max(differences(column(certificate, "retained_pct"), outputs["percent_retained"])) <= (
        0.05 + BINARY
    )
    assert (
        max(
            differences(
                column(certificate, "cumulative_pct"), outputs["cumulative_percent_retained"]
            )
        )
        <= 0.05 + BINARY
    )
    balance = {row["label"]: row for row in certificate.content["results"][0]["balance"]}
    assert float(balance["Washed out"]["mass_g"]) == outputs["washed_out_minus_75um_g"]
    assert float(balance["Loss in sieving"]["share_pct"]) == pytest.approx(
        outputs["check_sum_percent"], abs=0.05
    )


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["soil_450_g_d_sizes", "soil_500_g_d_sizes"])
def test_certificate_prints_the_published_d_sizes(name):
    given = example("percentiles", name)
    sizes_mm = given.outputs["D60_D30_D10_mm_loglinear_interpolated"]

    certificate = through_the_laboratory(weighed(given.inputs))

    printed = {row["name"]: row for row in certificate.content["characteristics"]}
    d10_um = float(printed["d10"]["value"])
    assert d10_um / 1000 == pytest.approx(sizes_mm[2], rel=0.005)  # three figures are printed
    cu = float(printed["Coefficient of uniformity Cu"]["value"])
    assert cu == pytest.approx(given.outputs["Cu_interpolated"], abs=0.01)
