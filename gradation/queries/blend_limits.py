"""The limits of a specification as a blend is searched with: percent passing at each aperture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

import numpy as np

from gradation.models import SpecificationVersion
from gradation.queries.curves import PickedCurve
from gradation.queries.worksheets import envelope_of
from gradation.science.apertures import designation
from gradation.science.envelopes import EnvelopeLine, LineKind
from gradation.science.quantities import as_typed
from gradation.science.rounding import round_reported

__all__ = ["BlendLimitsPct", "limits_of"]

_HUNDRED = Decimal(100)
Limit = Decimal | None


@dataclass(frozen=True)
class BlendLimitsPct:
    """Limits and target at each aperture [% passing], coarse to fine; None where there is none."""

    apertures_um: tuple[float, ...] = ()
    lower: tuple[Limit, ...] = ()
    upper: tuple[Limit, ...] = ()
    target: tuple[Limit, ...] = ()
    not_searched: tuple[str, ...] = ()
    """Lines of the specification that a search for shares cannot take in, in words."""

    @property
    def has_limits(self) -> bool:
        """Say whether any aperture is limited."""
        return any(each is not None for each in (*self.lower, *self.upper))

    @property
    def has_target(self) -> bool:
        """Say whether any aperture has a target."""
        return any(each is not None for each in self.target)

    def texts(self, column: Literal["lower", "upper", "target"]) -> list[str | None]:
        """Give a column as the calculation reads it."""
        values: tuple[Limit, ...] = getattr(self, column)
        return [None if value is None else as_typed(value) for value in values]

    def without(self, gone_um: set[float]) -> BlendLimitsPct:
        """Give the limits without some apertures."""
        return self._only([i for i, um in enumerate(self.apertures_um) if um not in gone_um])

    def with_target(self, curve: PickedCurve) -> BlendLimitsPct:
        """Give the limits with a curve as target, at their own apertures and those of its nest."""
        wide = self._on(sorted({*self.apertures_um, *curve.group.apertures_um}, reverse=True))
        shares = curve.group.at(np.array(wide.apertures_um))[0].tolist()
        target = [round_reported(100 * s, 4) if np.isfinite(s) else None for s in shares]
        return replace(wide, target=tuple(target))

    def _on(self, sizes_um: Sequence[float]) -> BlendLimitsPct:
        at = {um: i for i, um in enumerate(self.apertures_um)}
        lower, upper, target = (
            tuple(column[at[um]] if um in at else None for um in sizes_um)
            for column in (self.lower, self.upper, self.target)
        )
        return replace(self, apertures_um=tuple(sizes_um), lower=lower, upper=upper, target=target)

    def _only(self, places: Sequence[int]) -> BlendLimitsPct:
        columns = ("apertures_um", "lower", "upper", "target")
        kept = {name: tuple(getattr(self, name)[i] for i in places) for name in columns}
        return replace(self, **kept)


def limits_of(
    specification: SpecificationVersion | None, *, aims_at_target: bool = False
) -> BlendLimitsPct:
    """Read the limits that a share of stockpiles moves in proportion.

    Percent passing and percent retained do; what lies between two sieves and characteristic values
    are named among what is not searched.
    """
    found: dict[float, tuple[Limit, Limit, Limit]] = {}
    left_out = []
    for line in envelope_of(specification):
        if line.kind not in (LineKind.PASSING, LineKind.RETAINED) or line.aperture_um is None:
            left_out.append(_named(line))
            continue
        low, high, target = _as_passing(line)
        was = found.get(float(line.aperture_um), (None, None, None))
        found[float(line.aperture_um)] = (
            max((each for each in (was[0], low) if each is not None), default=None),
            min((each for each in (was[1], high) if each is not None), default=None),
            was[2] if target is None else target,
        )
    sizes = sorted((um for um, each in found.items() if _says(each, aims_at_target)), reverse=True)
    columns = zip(*(found[um] for um in sizes), strict=True) if sizes else ((), (), ())
    lower, upper, targets = (tuple(each) for each in columns)
    return BlendLimitsPct(tuple(sizes), lower, upper, targets, tuple(left_out))


def _says(limits: tuple[Limit, Limit, Limit], aims_at_target: bool) -> bool:
    low, high, target = limits
    return low is not None or high is not None or (aims_at_target and target is not None)


def _as_passing(line: EnvelopeLine) -> tuple[Limit, Limit, Limit]:
    low, high = line.limits()
    if line.kind is LineKind.PASSING:
        return low, high, line.target
    mirrored = [None if each is None else _HUNDRED - each for each in (high, low, line.target)]
    return mirrored[0], mirrored[1], mirrored[2]


def _named(line: EnvelopeLine) -> str:
    if line.kind is LineKind.BETWEEN and line.aperture_um is not None:
        fine = designation(line.finer_um) if line.finer_um else "the pan"
        return (
            f"between {designation(line.aperture_um)} and {fine}: look at it in the finished blend"
        )
    name = line.characteristic.replace("_", " ")
    return f"{name}: a characteristic value does not blend in proportion"
