"""Comparison rounds: z, zeta and En of our result, and what must be answered."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from gradation.errors import Fault, Invalid
from gradation.queries.studies.asked import Estimate, Outcome, RoundAsked
from gradation.queries.studies.words import answered, brief

__all__ = ["work_out_round"]

#: A score from here on is answered, whatever word it gets.
ANSWERED_Z = 2
ANSWERED_EN = 1
#: ISO 13528:2015, clause 9.5: the assigned value's own uncertainty counts beyond this share.
NEGLIGIBLE = Decimal("0.3")
#: Uncertainties are entered as standard ones; En takes them at this factor.
COVERAGE = 2
FEWEST_RESULTS = 6
_NOISE = 1e-9
_WORDS = {"z": "z", "z_prime": "z'", "zeta": "zeta", "en": "En"}


def work_out_round(asked: RoundAsked) -> Outcome:
    """Score our result against the assigned value, and every other result that was entered.

    Refuses (`Invalid`), each beside its field: no assigned value or deviation where they are to
    be stated, too few results for robust ones, results that do not hold ours.
    """
    if faults := [*_missing(asked), *_wrong(asked)]:
        raise Invalid(faults)
    place = _own_place(asked)
    first = _z_request(asked)
    answer = answered(first, "results" if asked.results else "deviation")
    requests, figures = {"z": first}, {"z": answer}
    u = _u_assigned(asked, answer)
    if u is not None and u > NEGLIGIBLE * Decimal(str(answer["sd"])):
        requests["z_prime"] = _stated(asked, answer) | {"u_assigned": f"{u:f}"}
        figures["z_prime"] = answered(requests["z_prime"], "u_assigned")
    if asked.u_own is not None:
        for name, request in _with_uncertainty(asked, answer, u or Decimal(0)).items():
            requests[name] = request
            figures[name] = answered(request, "u_own")
    own = {name: _own(found, place) for name, found in figures.items()}
    inputs = {
        "own": f"{asked.own:f}",
        "u_own": None if asked.u_own is None else f"{asked.u_own:f}",
        "estimate": asked.estimate.value,
        "participants": [row.participant for row in asked.results],
        "own_place": place,
        "requests": requests,
    }
    signals = tuple(_signals(own))
    values = {**figures, "own": own, "u_assigned": None if u is None else str(u)}
    return Outcome(inputs, values, _sentence(own), signals)


def _missing(asked: RoundAsked) -> Iterator[Fault]:
    robust = asked.estimate is not Estimate.STATED
    if not robust and asked.assigned is None:
        yield Fault("assigned", "Give the assigned value, or take it from the results.", "required")
    if not robust and asked.deviation is None:
        msg = "Give the standard deviation of the round, or take it from the results."
        yield Fault("deviation", msg, "required")
    if robust and len(asked.results) < FEWEST_RESULTS:
        msg = (
            f"{len(asked.results)} results are too few for robust figures; {FEWEST_RESULTS} or "
            "more are needed, ours among them."
        )
        yield Fault("results", msg, "too-few")


def _wrong(asked: RoundAsked) -> Iterator[Fault]:
    for name in ("u_own", "u_assigned"):
        value = getattr(asked, name)
        if value is not None and value <= 0:
            yield Fault(name, "An uncertainty lies above 0; leave it empty if unknown.", "sign")
    if asked.deviation is not None and asked.deviation <= 0:
        yield Fault("deviation", "The standard deviation lies above 0.", "sign")
    values = [row.result for row in asked.results]
    if values and asked.own not in values:
        msg = f"Our result {asked.own:f} is not among the results. Add our line to the table."
        yield Fault("results", msg, "ours-missing")
    if len(values) > 1 and len(set(values)) == 1 and asked.deviation is None:
        yield Fault(
            "results", "All results are equal: there is no spread to score by.", "no-spread"
        )


def _own_place(asked: RoundAsked) -> int:
    return next((i for i, row in enumerate(asked.results) if row.result == asked.own), 0)


def _values(asked: RoundAsked) -> list[str]:
    return [f"{row.result:f}" for row in asked.results] or [f"{asked.own:f}"]


def _z_request(asked: RoundAsked) -> dict[str, Any]:
    request: dict[str, Any] = {
        "calculation": "scores",
        "score": "z",
        "estimate": asked.estimate.value,
        "results": _values(asked),
    }
    stated = {"assigned": asked.assigned, "sd": asked.deviation}
    return request | {name: f"{value:f}" for name, value in stated.items() if value is not None}


def _stated(asked: RoundAsked, answer: dict[str, Any]) -> dict[str, Any]:
    return {
        "calculation": "scores",
        "score": "z",
        "results": _values(asked),
        "assigned": answer["assigned"],
        "sd": answer["sd"],
    }


def _u_assigned(asked: RoundAsked, answer: dict[str, Any]) -> Decimal | None:
    if asked.u_assigned is not None:
        return asked.u_assigned
    found = answer["u_robust_mean"]
    return None if found is None or asked.assigned is not None else Decimal(str(found))


def _with_uncertainty(
    asked: RoundAsked, answer: dict[str, Any], u: Decimal
) -> dict[str, dict[str, Any]]:
    own = asked.u_own or Decimal(0)
    base = {
        "calculation": "scores",
        "results": [f"{asked.own:f}"],
        "assigned": answer["assigned"],
    }
    return {
        "zeta": {**base, "score": "zeta", "u_results": [f"{own:f}"], "u_assigned": f"{u:f}"},
        "en": {
            **base,
            "score": "en",
            "U_results": [f"{COVERAGE * own:f}"],
            "U_assigned": f"{COVERAGE * u:f}",
        },
    }


def _own(found: dict[str, Any], place: int) -> dict[str, Any]:
    i = place if len(found["scores"]) > 1 else 0
    return {"score": found["scores"][i], "verdict": found["verdicts"][i]}


def _signals(own: dict[str, Any]) -> Iterator[str]:
    for name, found in own.items():
        if name == "z" and "z_prime" in own:
            continue
        limit = ANSWERED_EN if name == "en" else ANSWERED_Z
        if abs(found["score"]) >= limit - _NOISE:
            word = _WORDS[name]
            yield f"{word} is {_signed(found['score'])} ({found['verdict']})."


def _sentence(own: dict[str, Any]) -> str:
    told = [f"{_WORDS[name]} {_signed(it['score'])}, {it['verdict']}" for name, it in own.items()]
    return "; ".join(told) + "."


def _signed(score: float) -> str:
    text = brief(abs(score))
    return f"−{text}" if score < 0 else f"+{text}" if score > 0 else "0"
