"""The shape of what is sent: every field known, none beside."""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import islice
from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.settings import api_settings

from packs.api.fields import ExternalId, Opaque, Text
from packs.errors import Contradiction, DomainError, Fault, Malformed, pointer_token
from packs.rules.bounds import BEYOND

FAULTS_TOLD = 100  # of one entry; who has more begins with these


class Shape(serializers.Serializer[Any]):
    """A JSON object that refuses what it does not know."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            raise ValidationError("Not an object: send a JSON object.", code="not_an_object")
        unknown = [name for name in data if name not in self.fields]
        try:
            value = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**_as_dict(error.detail), **_unknown(unknown)}) from error
        if unknown:
            raise ValidationError(_unknown(unknown))
        return value


def _unknown(names: list[str]) -> dict[str, list[ErrorDetail]]:
    sentence = "There is no such field here; leave it out, or correct its name."
    return {name: [ErrorDetail(sentence, "unknown_field")] for name in names}


def _as_dict(detail: Any) -> dict[str, Any]:
    if isinstance(detail, dict):
        return detail
    return {api_settings.NON_FIELD_ERRORS_KEY: detail}


class FactShape(Shape):
    """What any fact may be sent with."""

    external_id = ExternalId()
    done_by = Text(required=False, allow_null=True, max_length=40)


def supersedes(kind: str) -> Opaque:
    """The field by which a correction names the record it takes the place of."""
    return Opaque(kind, required=False, allow_null=True)


def taken(shape: type[Shape], data: Any, *, partial: bool = False) -> dict[str, Any]:
    """The value of `data` as `shape`, or an error with a pointer to each thing wrong.

    A number or a count of the right type, but beyond what can be, contradicts the physics;
    whatever else is wrong is Malformed.
    """
    try:
        return dict(_reader(shape, partial).run_validation(data))
    except ValidationError as error:
        raise refused(list(islice(faults_of(error.detail), FAULTS_TOLD))) from error


def refused(faults: Sequence[Fault]) -> DomainError:
    """The error for faults of shape."""
    if all(fault.code in BEYOND for fault in faults):
        return Contradiction(faults)
    return Malformed(faults)


@cache
def _reader(shape: type[Shape], partial: bool) -> Shape:
    """One reader a shape: to copy the fields takes longer than to read an entry with them."""
    reader = shape(partial=partial)
    assert reader.fields is not None
    return reader


def faults_of(detail: Any, pointer: str = "") -> Iterator[Fault]:
    """The nested errors of a serializer as faults, each with its pointer."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            own = name == api_settings.NON_FIELD_ERRORS_KEY
            yield from faults_of(inner, pointer if own else f"{pointer}/{pointer_token(str(name))}")
    elif isinstance(detail, list):
        for place, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list)
            yield from faults_of(inner, f"{pointer}/{place}" if nested else pointer)
    else:
        code = getattr(detail, "code", None) or "invalid"
        yield Fault(pointer, code, str(detail))
