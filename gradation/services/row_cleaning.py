"""What Django's `full_clean` checks of a row, asked in fewer questions of the database.

`full_clean` asks one question for each condition of a table and one for each row that another row
refers to. At a bench that is a dozen for every reading. Here the conditions of a table are one
question, and a related row that was read already is not looked for again: that it is still there
is held by the database itself when the row is written.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, FieldError, ValidationError
from django.db import models, router
from django.db.models.functions import Coalesce

__all__ = ["clean_row"]


def clean_row(row: models.Model, exclude: frozenset[str] = frozenset()) -> None:
    """Check fields, the row as a whole, what must be unique and the conditions of its table.

    Parameters
    ----------
    row : a row as it is about to be written
    exclude : names of fields that are not looked at

    Raises
    ------
    ValidationError
        with every fault, by field; a field at fault is left out of the checks behind it.
    """
    errors: dict[str, list[ValidationError]] = {}

    def left_out() -> set[str]:
        return {*exclude, *errors} - {NON_FIELD_ERRORS}

    checks: list[Callable[[], None]] = [
        lambda: row.clean_fields(exclude=exclude | _read_already(row)),
        row.clean,
        lambda: row.validate_unique(exclude=left_out()),
        lambda: _validate_constraints(row, left_out()),
    ]
    for check in checks:
        try:
            check()
        except ValidationError as error:
            errors = error.update_error_dict(errors)
    if errors:
        raise ValidationError(errors)


def _read_already(row: models.Model) -> set[str]:
    """Name the related rows that stand in memory as the database gave them."""
    fields = [field for field in row._meta.concrete_fields if isinstance(field, models.ForeignKey)]
    return {field.name for field in fields if _is_read(row, field)}


def _is_read(row: models.Model, field: models.ForeignKey[Any]) -> bool:
    return (
        field.is_cached(row)
        and (related := field.get_cached_value(row)) is not None
        and not related._state.adding
    )


def _validate_constraints(row: models.Model, exclude: set[str]) -> None:
    """Do what `Model.validate_constraints` does, all conditions of a table in one question."""
    using = router.db_for_write(row.__class__, instance=row)
    errors: dict[str, list[ValidationError]] = {}
    for model, constraints in row.get_constraints():
        conditions = [each for each in constraints if isinstance(each, models.CheckConstraint)]
        hold = _all_hold(row, model, conditions, exclude, using)
        for constraint in constraints:
            if hold and constraint in conditions:
                continue
            try:
                constraint.validate(model, row, exclude=exclude, using=using)
            except ValidationError as error:
                errors = _collected(error, constraint, errors)
    if errors:
        raise ValidationError(errors)


def _all_hold(
    row: models.Model,
    model: type[models.Model],
    conditions: Sequence[models.CheckConstraint],
    exclude: set[str],
    using: str,
) -> bool:
    """Ask whether every condition holds; one that cannot be decided (NULL) does, as in SQL."""
    if not conditions:
        return True
    values = {
        field.name: models.Value(getattr(row, field.attname), field)
        for field in model._meta.local_concrete_fields
        if field.name not in exclude
    }
    decided = (
        Coalesce(models.Q(each.condition), True, output_field=models.BooleanField())
        for each in conditions
    )
    try:
        return models.Q(*decided).check(values, using=using)
    except FieldError:  # a condition on a field that is left out: each is asked by itself
        return False


def _collected(
    error: ValidationError,
    constraint: models.BaseConstraint,
    errors: dict[str, list[ValidationError]],
) -> dict[str, list[ValidationError]]:
    """Put a fault where Django puts it: with the field, if one field alone must be unique."""
    fields: Sequence[str] = getattr(constraint, "fields", ())
    if getattr(error, "code", None) == "unique" and len(fields) == 1:
        errors.setdefault(fields[0], []).append(error)
        return errors
    return error.update_error_dict(errors)
