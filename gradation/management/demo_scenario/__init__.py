"""The demonstration: a fictional laboratory with three years behind it.

Public: `SIGN_INS`, `is_loaded`, `load_scenario`. Names, places and limits are invented. Masses are
drawn from grain-size distributions with a fixed seed; everything else is computed and written by
the services, each act at its own moment of the past, counted back from today.
"""

from gradation.management.demo_scenario.loading import (
    SIGN_INS,
    Scenario,
    SignIn,
    is_loaded,
    load_scenario,
)

__all__ = ["SIGN_INS", "Scenario", "SignIn", "is_loaded", "load_scenario"]
