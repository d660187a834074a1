"""Many runs on one nest at once: passing, characteristic values and envelope verdicts.

Every figure comes from the function that also serves a single run, so a batch gives the same
digits. The runs are worked through in pieces that fit the processor's cache: that is faster than
one piece, and the memory needed beside the results stays small however many runs there are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from gradation.science.batch_envelopes import EnvelopeVerdicts, inside_span, verdicts_within
from gradation.science.characteristics import D_SHARES, MODULUS_SETS, standard_grain_fineness
from gradation.science.envelopes import AssessmentRule, EnvelopeLine
from gradation.science.errors import UnknownName
from gradation.science.gradation import Basis, Gradation, gradation
from gradation.science.indices import (
    coefficient_of_curvature,
    coefficient_of_uniformity,
    span,
    standard_modulus,
    trask_sorting,
)
from gradation.science.interpolation import FloatArray, Interpolation
from gradation.science.percentiles import percentile_name, size_at_passing

RUNS_AT_ONCE = 8192
_D_SHARES = {percentile_name(share): share for share in D_SHARES}

_RATIOS: Mapping[str, tuple[Callable[..., FloatArray], tuple[float, ...]]] = {
    "span": (span, (0.10, 0.50, 0.90)),
    "coefficient_of_uniformity": (coefficient_of_uniformity, (0.10, 0.60)),
    "uniformity_coefficient": (coefficient_of_uniformity, (0.10, 0.60)),
    "effective_size": (np.asarray, (0.10,)),
    "coefficient_of_curvature": (coefficient_of_curvature, (0.10, 0.30, 0.60)),
    "trask_sorting": (trask_sorting, (0.25, 0.75)),
}
_OF_FRACTIONS: Mapping[str, Callable[[Gradation], FloatArray]] = {
    "grain_fineness_number": standard_grain_fineness,
    "fines": lambda runs: 100.0 * runs.fines,
}


@dataclass(frozen=True, slots=True)
class ManyMasses:
    """The masses of many runs on one nest; see `gradation` for each field."""

    apertures_um: npt.ArrayLike
    retained_g: npt.ArrayLike
    """(..., n+1) in the order of the apertures, then the pan [g]."""
    dry_mass_g: npt.ArrayLike | None = None
    washed_dry_mass_g: npt.ArrayLike | None = None
    basis: Basis = Basis.INITIAL_DRY


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of many runs."""

    shares: tuple[float, ...] = (0.10, 0.50, 0.90)
    """Shares passing p of the sizes D(p)."""
    values: tuple[str, ...] = (
        "coefficient_of_uniformity",
        "coefficient_of_curvature",
        "fineness_modulus",
    )
    """Characteristic values by the names that `characteristics` gives them."""
    interpolation: Interpolation = Interpolation.LOG_LINEAR
    is_modulus_interpolated: bool = False
    envelope: Sequence[EnvelopeLine] = ()
    rule: AssessmentRule = field(default_factory=AssessmentRule)


@dataclass(frozen=True, slots=True)
class ManyResults:
    """What was found in many runs."""

    apertures_um: FloatArray
    """(n,) coarse to fine [µm]."""
    passing: FloatArray
    """(..., n) shares passing, 0 to 1."""
    values: Mapping[str, FloatArray]
    """(...) by name: `d10` and so on [µm], and the characteristic values; NaN where unknown."""
    verdicts: EnvelopeVerdicts | None
    """None without an envelope."""


def evaluate_many(masses: ManyMasses, wanted: Wanted | None = None) -> ManyResults:
    """Give passing, sizes, characteristic values and envelope verdicts of many runs.

    Parameters
    ----------
    masses : ManyMasses
        Masses (..., n+1) [g] on one nest, pan last, and dry masses (...) [g].
    wanted : Wanted, optional
        Sizes, values and envelope asked for.

    Returns
    -------
    ManyResults
        Arrays with the batch axes of the masses, coarse to fine.

    Raises
    ------
    Impossible
        When the masses of any run cannot be, as in `gradation`.
    OutOfRange
        When a share is not above 0 and at most 1, or a line of the envelope is incomplete.
    NotDeterminable
        When the decision rule asks for the uncertainty of every run.
    UnknownName
        When a characteristic value, asked for or limited by the envelope, is not one that a
        batch can give.

    Notes
    -----
    Each run gives the digits it gives alone. `maximum_size` and `nominal_maximum_size` are
    told for one run at a time, by `characteristics`.

    References
    ----------
    As named by `gradation`, `size_at_passing`, `indices` and `envelopes`.

    Examples
    --------
    >>> runs = ManyMasses([400, 200, 100], [[0, 50, 50, 0], [0, 20, 60, 20]], [100, 100])
    >>> found = evaluate_many(runs, Wanted(shares=(0.5,), values=("fines",)))
    >>> found.passing.tolist()
    [[1.0, 0.5, 0.0], [1.0, 0.8, 0.2]]
    >>> found.values["d50"].round(2).tolist(), found.values["fines"].tolist()
    ([200.0, 141.42], [0.0, 20.0])
    """
    asked = _with_limited_values(wanted or Wanted())
    weighed = np.asarray(masses.retained_g, dtype=np.float64)
    shape = weighed.shape[:-1]
    pieces = _Pieces(masses, weighed.reshape(-1, weighed.shape[-1]), shape)
    results = _Results.empty(pieces.runs, weighed.shape[-1] - 1, asked)
    spans = [inside_span(line, asked.rule) for line in asked.envelope]
    for place, runs in pieces.gradations():
        values = _values(runs, asked)
        results.apertures_um = runs.apertures_um
        results.passing[:, place] = runs.passing.T
        for name, found in values.items():
            results.values[name][place] = found
        if spans:
            verdicts = verdicts_within(runs, asked.envelope, spans, asked.rule, values)
            results.is_inside[:, place] = verdicts.is_inside.T
            results.is_tested[:, place] = verdicts.is_tested.T
    return results.shaped(shape)


def _with_limited_values(wanted: Wanted) -> Wanted:
    """What is asked, and every value the envelope limits; refused when a batch cannot give it."""
    limited = [line.characteristic for line in wanted.envelope if line.characteristic]
    shares = [_D_SHARES[name] for name in limited if name in _D_SHARES]
    names = dict.fromkeys((*wanted.values, *(each for each in limited if each not in _D_SHARES)))
    known = (*_RATIOS, *MODULUS_SETS, *_OF_FRACTIONS)
    for name in names:
        if name not in known:
            listed = ", ".join((*_D_SHARES, *known))
            raise UnknownName(f"{name} is not told for many runs at once. Known: {listed}.")
    return replace(
        wanted,
        shares=tuple(dict.fromkeys((*wanted.shares, *shares))),
        values=tuple(names),
    )


@dataclass(frozen=True, slots=True)
class _Pieces:
    """The runs in a row, to be worked through piece by piece."""

    masses: ManyMasses
    weighed_g: FloatArray
    shape: tuple[int, ...]

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return len(self.weighed_g)

    def gradations(self) -> Iterator[tuple[slice, Gradation]]:
        """Give piece after piece with its place in the row."""
        dry, washed = self._in_a_row("dry_mass_g"), self._in_a_row("washed_dry_mass_g")
        for start in range(0, self.runs, RUNS_AT_ONCE):
            place = slice(start, start + RUNS_AT_ONCE)
            yield (
                place,
                gradation(
                    self.masses.apertures_um,
                    self.weighed_g[place],
                    None if dry is None else dry[place],
                    None if washed is None else washed[place],
                    self.masses.basis,
                ),
            )

    def _in_a_row(self, name: str) -> FloatArray | None:
        """A mass of every run; None when it was not weighed."""
        given = getattr(self.masses, name)
        if given is None:
            return None
        return np.broadcast_to(np.asarray(given, dtype=np.float64), self.shape).reshape(-1)


@dataclass(slots=True)
class _Results:
    """Room for the results, filled piece by piece; runs along the last axis."""

    apertures_um: FloatArray
    passing: FloatArray
    values: dict[str, FloatArray]
    is_inside: npt.NDArray[np.bool_]
    is_tested: npt.NDArray[np.bool_]

    @classmethod
    def empty(cls, runs: int, sieves: int, wanted: Wanted) -> _Results:
        """Room for so many runs."""
        names = (*(percentile_name(each) for each in wanted.shares), *wanted.values)
        lines = len(wanted.envelope)
        return cls(
            np.empty(sieves),
            np.empty((sieves, runs)),
            {name: np.empty(runs) for name in names},
            np.empty((lines, runs), np.bool_),
            np.empty((lines, runs), np.bool_),
        )

    def shaped(self, shape: tuple[int, ...]) -> ManyResults:
        """The results with the batch axes of the masses."""
        verdicts = EnvelopeVerdicts(
            self.is_inside.T.reshape(*shape, len(self.is_inside)),
            self.is_tested.T.reshape(*shape, len(self.is_tested)),
        )
        return ManyResults(
            apertures_um=self.apertures_um,
            passing=self.passing.T.reshape(*shape, len(self.passing)),
            values={name: found.reshape(shape) for name, found in self.values.items()},
            verdicts=verdicts if len(self.is_inside) else None,
        )


def _values(runs: Gradation, wanted: Wanted) -> dict[str, FloatArray]:
    """Sizes and characteristic values of one piece, (m,) each."""
    ratios = {name: _RATIOS[name] for name in wanted.values if name in _RATIOS}
    needed = (share for _, shares in ratios.values() for share in shares)
    shares = tuple(dict.fromkeys((*wanted.shares, *needed)))
    found = size_at_passing(runs.apertures_um, runs.passing, shares, wanted.interpolation)
    sizes = dict(zip(shares, np.moveaxis(found.size_um, -1, 0), strict=True))
    values = {percentile_name(share): sizes[share] for share in wanted.shares}
    rule = wanted.interpolation if wanted.is_modulus_interpolated else None
    for name in wanted.values:
        if name in ratios:
            formula, of = ratios[name]
            values[name] = formula(*(sizes[share] for share in of))
        elif name in MODULUS_SETS:
            values[name] = standard_modulus(runs, MODULUS_SETS[name], rule)
        else:
            values[name] = _OF_FRACTIONS[name](runs)
    return values
