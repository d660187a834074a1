"""Frozen dataclasses to JSON and back, exactly: the form in which issued content is kept."""

import dataclasses
import json
import types
from typing import TYPE_CHECKING, TypeVar, Union, cast, get_args, get_origin, get_type_hints

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T")


class ContentFault(ValueError):
    """The stored content of a document is not what this version can read."""


def to_json(content: "DataclassInstance") -> str:
    """Return `content` as JSON with sorted keys, so that equal content gives equal text."""
    return json.dumps(
        dataclasses.asdict(content), ensure_ascii=False, sort_keys=True, allow_nan=False
    )


def from_json(kind: type[T], text: str) -> T:
    """Return the `kind` that `text` holds.

    Raises `ContentFault`, naming the place, when a field without a default is missing, or a field
    is unknown or of another type.
    """
    try:
        data = json.loads(text)
    except ValueError as fault:
        raise ContentFault(f"The document's content is not JSON: {fault}.") from fault
    return cast("T", _build(kind, data, kind.__name__))


def _build(kind: object, data: object, where: str) -> object:
    if get_origin(kind) is tuple:
        return _build_tuple(get_args(kind)[0], data, where)
    if get_origin(kind) in (Union, types.UnionType):
        inner = next(it for it in get_args(kind) if it is not types.NoneType)
        return None if data is None else _build(inner, data, where)
    if get_origin(kind) is dict:
        return _build_free(data, where)
    if not isinstance(kind, type):
        raise TypeError(f"{where}: content cannot hold {kind}.")
    if dataclasses.is_dataclass(kind):
        return _build_record(kind, data, where)
    return _build_plain(kind, data, where)


def _build_free(data: object, where: str) -> dict[str, object]:
    """Return data of a form of its own, such as a worksheet, as it stands."""
    if not isinstance(data, dict):
        raise ContentFault(f"{where}: expected an object, found {type(data).__name__}.")
    return data


def _build_record(kind: "type[DataclassInstance]", data: object, where: str) -> object:
    if not isinstance(data, dict):
        raise ContentFault(f"{where}: expected an object, found {type(data).__name__}.")
    hints = get_type_hints(kind)
    names = {it.name for it in dataclasses.fields(kind)}
    if odd := sorted((_needed(kind) - set(data)) | (set(data) - names)):
        raise ContentFault(f"{where}: missing or unknown field {', '.join(odd)}.")
    return kind(**{name: _build(hints[name], data[name], f"{where}.{name}") for name in data})


def _needed(kind: "type[DataclassInstance]") -> set[str]:
    """Return the fields that stored content must have.

    One with a default may have been added since; content kept before that means the default.
    """
    no_default = dataclasses.MISSING
    return {
        it.name
        for it in dataclasses.fields(kind)
        if it.default is no_default and it.default_factory is no_default
    }


def _build_tuple(inner: object, data: object, where: str) -> tuple[object, ...]:
    if not isinstance(data, list):
        raise ContentFault(f"{where}: expected a list, found {type(data).__name__}.")
    return tuple(_build(inner, it, f"{where}[{i}]") for i, it in enumerate(data))


def _build_plain(kind: type, data: object, where: str) -> object:
    if issubclass(kind, str) and isinstance(data, str):
        try:
            return kind(data)
        except ValueError as fault:
            raise ContentFault(f"{where}: {data!r} is not one of its words.") from fault
    if type(data) is not kind:
        raise ContentFault(f"{where}: expected {kind.__name__}, found {type(data).__name__}.")
    return data
