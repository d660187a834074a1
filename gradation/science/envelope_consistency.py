"""Whether the limits of a specification can be kept at all, and what follows from them together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from gradation.science.apertures import designation, sieve_sizes
from gradation.science.envelope_form import WHOLE_PCT, EnvelopeLine, LineKind
from gradation.science.quantities import as_typed

_WHOLE = -1  # the node that stands for 0 % in the system of differences
_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Clash:
    """Lines that no curve can keep together: their places, and a sentence about them."""

    positions: tuple[int, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class _Bound:
    """`node - other <= most`, strictly where the limit itself is not inside; from which line."""

    node: int
    other: int
    most: Decimal
    is_strict: bool = False
    position: int | None = None
    words: str = ""


def clash_of(lines: Sequence[EnvelopeLine]) -> Clash | None:
    """Give lines that no gradation can keep together, or None when the limits can be kept.

    Parameters
    ----------
    lines : sequence of EnvelopeLine
        each a line that can be compared (`envelopes.check_line`)

    Returns
    -------
    Clash or None
        the lines of one contradiction

    Raises
    ------
    Nothing
        Lines on characteristic values are left out: they do not bound the curve line by line.

    Notes
    -----
    Every limit bounds the difference of two passing values, or of one and 0 %; passing rises
    with the aperture and stays within 0 and 100 %. Such a system can be kept exactly when no
    circle of its bounds sums to less than nothing (or to nothing, with a limit that is not
    itself inside among them). The circle found by relaxing the bounds (Bellman and Ford) is
    the contradiction.

    References
    ----------
    Systems of difference constraints and shortest paths: Cormen, Leiserson, Rivest and Stein,
    Introduction to Algorithms, 24.4 (from memory).

    Examples
    --------
    >>> fine = EnvelopeLine(aperture_um=Decimal(300), minimum=Decimal(60))
    >>> coarse = EnvelopeLine(aperture_um=Decimal(600), maximum=Decimal(50))
    >>> clash_of([coarse, fine]).positions
    (0, 1)
    >>> clash_of([fine]) is None
    True
    """
    sizes = sorted({size for line in lines for size in _sizes(line)}, reverse=True)
    nodes = {size: number for number, size in enumerate(sizes)}
    bounds = [*_of_any_curve(len(sizes))]
    for position, line in enumerate(lines):
        bounds += _of_line(position, line, nodes)
    circle = _negative_circle(bounds, [_WHOLE, *nodes.values()])
    if not circle:
        return None
    named = {bound.position: bound.words for bound in circle if bound.position is not None}
    positions = tuple(sorted(named))
    return Clash(positions, _sentence([named[each] for each in positions]))


def _sentence(words: Sequence[str]) -> str:
    if len(words) == 1:
        return f"No curve can keep this limit: {words[0]}. A passing lies between 0 and 100 %."
    told = f"{', '.join(words[:-1])} and {words[-1]}"
    return (
        f"No curve can keep these limits together: {told}. What passes a finer sieve also passes "
        "every coarser one. Change one of them."
    )


def _sizes(line: EnvelopeLine) -> Iterator[Decimal]:
    if line.kind is LineKind.CHARACTERISTIC or line.aperture_um is None:
        return
    yield line.aperture_um
    if line.kind is LineKind.BETWEEN and line.finer_um is not None:
        yield line.finer_um


def _of_any_curve(sizes: int) -> Iterator[_Bound]:
    """What every curve keeps: 0 to 100 %, falling towards finer sieves."""
    for coarse, fine in pairwise(range(sizes)):
        yield _Bound(fine, coarse, _ZERO)
    for node in range(sizes):
        yield _Bound(node, _WHOLE, WHOLE_PCT)
        yield _Bound(_WHOLE, node, _ZERO)


def _of_line(position: int, line: EnvelopeLine, nodes: dict[Decimal, int]) -> Iterator[_Bound]:
    """What one line of the specification asks."""
    if line.kind is LineKind.CHARACTERISTIC or line.aperture_um is None:
        return
    low, high = line.limits()
    node = nodes[line.aperture_um]
    other = nodes[line.finer_um] if line.finer_um in nodes and _is_between(line) else _WHOLE
    if line.kind is LineKind.RETAINED:
        low, high = (
            None if high is None else WHOLE_PCT - high,
            None if low is None else WHOLE_PCT - low,
        )
    strict, words = not line.is_inclusive, _words(line)
    if high is not None:
        yield _Bound(node, other, high, strict, position, words)
    if low is not None:
        yield _Bound(other, node, -low, strict, position, words)


def _is_between(line: EnvelopeLine) -> bool:
    return line.kind is LineKind.BETWEEN


def _words(line: EnvelopeLine) -> str:
    """A line as a sentence names it."""
    low, high = line.limits()
    ends = [f"at least {as_typed(low)}" if low is not None else ""]
    ends += [f"at most {as_typed(high)}" if high is not None else ""]
    return f"{line_words(line)} {' and '.join(filter(None, ends))} %"


def line_words(line: EnvelopeLine) -> str:
    """Give what a line limits, as the trade writes it.

    Parameters
    ----------
    line : EnvelopeLine
        a line with what its kind needs

    Returns
    -------
    str
        '600 µm passing', '4 mm retained', '500 µm to 250 µm', or the characteristic's name

    Raises
    ------
    OutOfRange
        when an aperture is not above zero

    Notes
    -----
    For sentences about the line; tables write the size alone.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> line_words(EnvelopeLine(LineKind.BETWEEN, Decimal(500), Decimal(250)))
    '500 µm to 250 µm'
    """
    if line.kind is LineKind.CHARACTERISTIC or line.aperture_um is None:
        return line.characteristic.replace("_", " ")
    name = designation(line.aperture_um)
    if line.kind is LineKind.BETWEEN and line.finer_um is not None:
        return f"{name} to {designation(line.finer_um)}"
    return f"{name} {line.kind.value}"


_Distance = tuple[Decimal, int]


def _negative_circle(bounds: Sequence[_Bound], nodes: Sequence[int]) -> tuple[_Bound, ...]:
    """A circle of bounds that sums to less than nothing; empty when there is none.

    Distances are pairs: the sum, and minus the number of strict bounds on the way, so that a
    circle of sum nothing with a strict bound counts as negative.
    """
    distance: dict[int, _Distance] = dict.fromkeys(nodes, (_ZERO, 0))
    came_by: dict[int, _Bound] = {}
    last: int | None = None
    for _ in range(len(nodes) + 1):
        last = None
        for bound in bounds:
            start = distance[bound.other]
            reached = (start[0] + bound.most, start[1] - int(bound.is_strict))
            if reached < distance[bound.node]:
                distance[bound.node], came_by[bound.node] = reached, bound
                last = bound.node
        if last is None:
            return ()
    assert last is not None  # noqa: S101 - the loop ran at least once and ended relaxed
    return _circle_through(last, came_by, len(nodes))


def _circle_through(node: int, came_by: dict[int, _Bound], steps: int) -> tuple[_Bound, ...]:
    for _ in range(steps):  # walk back until surely on the circle
        node = came_by[node].other
    circle, at = [came_by[node]], came_by[node].other
    while at != node:
        circle.append(came_by[at])
        at = came_by[at].other
    return tuple(circle)


def neighbour_lines(
    lines: Sequence[EnvelopeLine], maximum_pct: Decimal | None
) -> tuple[EnvelopeLine, ...]:
    """Give the lines that limit what lies between neighbouring sieves of a specification.

    Parameters
    ----------
    lines : sequence of EnvelopeLine
        the specification's own lines
    maximum_pct : Decimal or None
        largest percentage between two neighbours; None: no such limit

    Returns
    -------
    tuple of EnvelopeLine
        one `between` line for each pair of neighbouring sieves with a passing limit, but for
        pairs that have a line of their own

    Raises
    ------
    Nothing
        Without two sieves there are no neighbours.

    Notes
    -----
    Neighbours are sieves next to each other among those the specification limits, not those
    of the nest.

    References
    ----------
    ASTM C33, 6.1: not more than 45 % between two consecutive sieves (as quoted in public
    teaching pages).

    Examples
    --------
    >>> sizes = [EnvelopeLine(aperture_um=Decimal(s), maximum=Decimal(60)) for s in (600, 300)]
    >>> [line] = neighbour_lines(sizes, Decimal(45))
    >>> line_words(line), line.maximum
    ('600 µm to 300 µm', Decimal('45'))
    """
    if maximum_pct is None:
        return ()
    sizes = {line.aperture_um for line in lines if line.kind is LineKind.PASSING}
    own = {(line.aperture_um, line.finer_um) for line in lines if _is_between(line)}
    in_order = sorted((each for each in sizes if each is not None), reverse=True)
    return tuple(
        EnvelopeLine(LineKind.BETWEEN, coarse, fine, maximum=maximum_pct)
        for coarse, fine in pairwise(in_order)
        if (coarse, fine) not in own
    )


def outside_the_series(line: EnvelopeLine) -> tuple[Decimal, ...]:
    """Give the apertures of a line that no standard series has.

    Parameters
    ----------
    line : EnvelopeLine
        any line

    Returns
    -------
    tuple of Decimal
        apertures [µm]; empty when all are standard sizes

    Raises
    ------
    Nothing
        A line on a characteristic value has no aperture.

    Notes
    -----
    Perforated plates and old cloth have other sizes: allowed, but worth a second look.

    References
    ----------
    ISO 565 / ISO 3310-1 and ASTM E11-17; see `data/sieve_series.csv`.

    Examples
    --------
    >>> outside_the_series(EnvelopeLine(aperture_um=Decimal(640), maximum=Decimal(5)))
    (Decimal('640'),)
    """
    known = {size.aperture_um for size in sieve_sizes()}
    return tuple(size for size in _sizes(line) if size not in known)
