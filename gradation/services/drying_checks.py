"""What a drying is begun with: the oven is looked at, limit and masses are read."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gradation.errors import Fault, Invalid
from gradation.models import Drying, Instrument, Laboratory, ProcedureVersion, Run
from gradation.queries.due import Unfit, unfit_reasons
from gradation.queries.portion_mass import plain
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_mass_g
from gradation.services import clock

__all__ = [
    "Oven",
    "decimals_of",
    "limit_of",
    "net_mass",
    "oven_notes",
    "set_temperature",
    "typed_mass",
]


@dataclass(frozen=True)
class Oven:
    """How a portion is put into the oven; masses as text, as they were typed."""

    oven: Instrument | None = None
    temperature_c: Decimal | None = None
    limit_pct: Decimal | None = None
    limit_source: str = ""
    container_text: str = ""
    moist_text: str = ""
    run: Run | None = None

    @property
    def stage(self) -> Drying.Stage:
        """Say when in the work it is dried: with a run, after its washing."""
        return Drying.Stage.AFTER_WASHING if self.run else Drying.Stage.BEFORE


def oven_notes(oven: Oven, procedure: ProcedureVersion) -> list[str]:
    """Refuse an oven that may not be used; give what must be said of it."""
    if oven.oven is None:
        raise Invalid.one("oven", "Say which oven it is dried in.", code="required")
    unfit = _unfit(oven.oven)
    faults = [
        Fault("oven", f"{reason} Take another, or ask the equipment keeper.", reason.code)
        for reason in unfit
        if reason.blocks
    ]
    faults += _temperature_faults(oven, procedure)
    if faults:
        raise Invalid(faults)
    return [reason.text for reason in unfit]


def _unfit(oven: Instrument) -> tuple[Unfit, ...]:
    if oven.kind != Instrument.Kind.OVEN:
        return (Unfit(f"{oven} is no oven.", True, "no-oven"),)
    laboratory = Laboratory.objects.get()
    oven = Instrument.objects.get(pk=oven.pk)  # as it stands now, not when the page was made
    return unfit_reasons(oven, clock.today(laboratory), laboratory)


def set_temperature(oven: Oven, procedure: ProcedureVersion) -> Decimal | None:
    """Give the temperature as typed, else as the oven is set, else as the procedure says."""
    if oven.temperature_c is not None:
        return oven.temperature_c
    own = oven.oven.set_temperature_c if oven.oven else None
    return own if own is not None else procedure.drying_temperature_c


def _temperature_faults(oven: Oven, procedure: ProcedureVersion) -> list[Fault]:
    wanted_c, set_c = procedure.drying_temperature_c, set_temperature(oven, procedure)
    if set_c is None:
        return [Fault("temperature_c", "Say at what temperature it is dried.", "required")]
    if wanted_c is None or oven.oven is None:
        return []
    tolerance_c = oven.oven.temperature_tolerance_c or Decimal(0)
    if abs(set_c - wanted_c) <= tolerance_c:
        return []
    msg = (
        f"{procedure} dries at {plain(wanted_c)} °C; the oven is set to {plain(set_c)} °C, more "
        f"than its tolerance of {plain(tolerance_c) or 0} °C away. Set it, or take another."
    )
    return [Fault("temperature_c", msg, "other-temperature")]


def limit_of(oven: Oven, procedure: ProcedureVersion) -> tuple[Decimal, str]:
    """Give the limit of constant mass and whose it is."""
    own = procedure.constant_mass_pct
    if own is not None:
        if oven.limit_pct not in (None, own):
            msg = f"{procedure} sets the limit: {plain(own)} %. Leave the field empty."
            raise Invalid.one("limit_pct", msg, code="limit-of-procedure")
        return own, str(procedure)
    if oven.limit_pct is None or oven.limit_pct <= 0:
        msg = f"{procedure} names no limit. Say the largest change that counts as constant."
        raise Invalid.one("limit_pct", msg, code="required")
    if not oven.limit_source.strip():
        msg = "Say where the limit comes from: standard, clause, edition, or who decided it."
        raise Invalid.one("limit_source", msg, code="required")
    return oven.limit_pct, oven.limit_source.strip()


#: What the column holds: twelve figures, four of them decimals.
_LARGEST_G, _MOST_DECIMALS = Decimal(10) ** 8, 4


def typed_mass(field: str, text: str) -> Decimal | None:
    """Read a mass as typed; None when nothing was typed."""
    if not text.strip():
        return None
    try:
        mass_g = parse_mass_g(text)
    except GradationError as error:
        raise Invalid.one(field, str(error), code="not-a-mass") from error
    if mass_g >= _LARGEST_G or decimals_of(mass_g) > _MOST_DECIMALS:
        msg = f"{text.strip()[:40]} g is no reading of a balance here. Check the unit and digits."
        raise Invalid.one(field, msg, code="not-a-reading")
    return mass_g


def decimals_of(mass_g: Decimal) -> int:
    """Give the decimals of a mass as it was typed."""
    return max(0, -int(mass_g.as_tuple().exponent))


def net_mass(text: str, container_g: Decimal | None, field: str = "text") -> Decimal:
    """Read what the balance shows and give the net mass [g]; refuse what is not above zero."""
    gross_g = typed_mass(field, text)
    if gross_g is None:
        raise Invalid.one(field, "Enter the mass that the balance shows.", code="not-a-mass")
    net_g = gross_g - (container_g.normalize() if container_g else 0)
    if net_g <= 0:
        least = f"the container, {plain(container_g)} g" if container_g else "zero"
        msg = f"{text.strip()} g is not more than {least}. Weigh it again."
        raise Invalid.one(field, msg, code="gross-below-tare")
    return net_g
