"""Rules kept from memory stay marked until the laboratory has confirmed them."""

from gradation.science.worksheet import evaluate, parse_worksheet
from gradation.science.worksheet_writing import worksheet_json

SHEET = {
    "dry_mass_g": "500.0",
    "loss_rule": "en_933_1_loss",
    "fractions": [{"aperture_um": 600, "mass_g": "400.0"}],
    "pan_g": "100.0",
}


def codes(sheet):
    return [warning.code for warning in evaluate(parse_worksheet(sheet)).warnings]


def test_rule_from_memory_is_marked_until_it_is_confirmed():
    confirmed = {**SHEET, "confirmed_rules": ["en_933_1_loss"]}

    assert "unconfirmed_rule" in codes(SHEET)
    assert "unconfirmed_rule" not in codes(confirmed)


def test_confirmation_is_kept_with_the_worksheet():
    sheet = parse_worksheet({**SHEET, "confirmed_rules": ["en_933_1_loss"]})

    assert parse_worksheet(worksheet_json(sheet)) == sheet
