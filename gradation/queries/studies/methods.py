"""Two methods on the same samples: line between them, limits of their differences."""

from __future__ import annotations

from typing import Any

from gradation.errors import Fault, Invalid
from gradation.queries.studies.asked import Head, MethodsAsked, Outcome
from gradation.queries.studies.words import answered, brief

__all__ = ["FEWEST_PAIRS", "work_out_methods"]

#: Three points lay a line but show nothing of its scatter; the laboratory's own rule.
FEWEST_PAIRS = 5
#: Common practice of method comparisons asks for this many (memory).
WANTED_PAIRS = 40
LOCAL = "Local, never universal: it holds for this material, this range and these two methods here."


def work_out_methods(asked: MethodsAsked, head: Head) -> Outcome:
    """Lay a line between two methods and give the limits of their differences.

    Refuses (`Invalid`): too few pairs, a sample twice, a method without any spread, a variance
    ratio of nothing, a record that does not say what it is valid for.
    """
    if faults := [*_faults(asked, head)]:
        raise Invalid(faults)
    request = {
        "calculation": "method_comparison",
        "first": [f"{pair.first:f}" for pair in asked.pairs],
        "second": [f"{pair.second:f}" for pair in asked.pairs],
        "variance_ratio": f"{asked.variance_ratio:f}",
    }
    answer = answered(request, "pairs")
    firsts = [pair.first for pair in asked.pairs]
    inputs = {
        "first_method": asked.first_method,
        "second_method": asked.second_method,
        "samples": [pair.sample for pair in asked.pairs],
        "range": [f"{min(firsts):f}", f"{max(firsts):f}"],
        "requests": {"methods": request},
    }
    notes = [LOCAL]
    if len(asked.pairs) < WANTED_PAIRS:
        notes.append(
            f"{len(asked.pairs)} pairs: the intervals are wide. Common practice asks for "
            f"{WANTED_PAIRS} spread over the whole range."
        )
    return Outcome(inputs, {"methods": answer, "notes": notes}, _sentence(answer, asked))


def _faults(asked: MethodsAsked, head: Head) -> list[Fault]:
    faults = []
    pairs = asked.pairs
    if len(pairs) < FEWEST_PAIRS:
        msg = (
            f"{len(pairs)} pairs are too few to lay a line and to see its scatter; "
            f"{FEWEST_PAIRS} or more are needed."
        )
        faults.append(Fault("pairs", msg, "too-few"))
    twice = {pair.sample for pair in pairs if sum(p.sample == pair.sample for p in pairs) > 1}
    if twice:
        named = ", ".join(sorted(twice)[:5])
        faults.append(Fault("pairs", f"Twice in the table: {named}. Give each once.", "twice"))
    for side, name in (("first", asked.first_method), ("second", asked.second_method)):
        if pairs and len({getattr(pair, side) for pair in pairs}) == 1:
            msg = f"All values of {name} are equal: without any spread no line can be laid."
            faults.append(Fault("pairs", msg, "no-spread"))
    if asked.variance_ratio <= 0:
        msg = "The ratio of the error variances lies above 0; 1 when both scatter alike."
        faults.append(Fault("variance_ratio", msg, "sign"))
    if not head.valid_for.strip():
        msg = "Say which material and range it holds for; a correlation is local, never universal."
        faults.append(Fault("valid_for", msg, "required"))
    return faults


def _sentence(answer: dict[str, Any], asked: MethodsAsked) -> str:
    line = answer["deming"]
    slope, intercept = line["slope"]["value"], line["intercept"]["value"]
    sign = "−" if intercept < 0 else "+"
    return (
        f"{asked.second_method} = {brief(slope, 4)} × {asked.first_method} {sign} "
        f"{brief(abs(intercept))}. {answer['agreement']['sentence']}"
    )
