"""Use-cases: the only writers.

Each is a keyword-only function: authorise, lock, check the state, write, add a ledger entry,
return - in one transaction. Refusals are `gradation.errors`. Screens, API and commands call the
same functions, so that they answer alike. Dependencies point down: documents, charts, queries,
policy, models, errors, science.
"""
