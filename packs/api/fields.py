"""Fields that take the JSON type that is meant, and nothing that merely looks like it."""

import math
import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NoReturn

import numpy as np
from django.core.validators import RegexValidator
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.models.facts import EXTERNAL_ID_LENGTH
from packs.models.packs import SERIAL_LENGTH
from packs.rules import bounds
from packs.rules.identity import decode, encode
from packs.rules.moments import storable
from packs.rules.voltages import as_json, to_units

INSTANT = re.compile(
    r"^(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})$"
)  # RFC 3339, 5.6
WHOLE_MAX = 2**31 - 1
CODE_LENGTH = bounds.CODE_LENGTH
VOLTS_MAX = bounds.VOLTS_MAX
FARTHEST_KM = bounds.FARTHEST_KM
TEXT_MAX = 5000
VOLT_TYPES = frozenset({int, float, type(None)})  # a bool is no number


WORDS: dict[str, Any] = {"max_value": bounds.TOO_HIGH, "min_value": bounds.TOO_LOW}


def optional(field: type[Any], **kwargs: Any) -> Any:
    """A field that may be null or left out; a text may be empty as well."""
    if issubclass(field, serializers.CharField) and "min_length" not in kwargs:
        kwargs.setdefault("allow_blank", True)
    return field(required=False, allow_null=True, **kwargs)


def _refuse(sentence: str, code: str) -> NoReturn:
    raise serializers.ValidationError(sentence, code=code)


class Number(serializers.FloatField):
    """A JSON number, finite; true is none, and neither is '7.9'."""

    default_error_messages = WORDS

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            _refuse("Not a number: send a JSON number, without quotes.", "not_a_number")
        try:
            number = float(data)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            _refuse("Not a finite number; send one that is.", "not_a_number")
        return number


class Whole(serializers.IntegerField):
    """A whole JSON number that the databases can hold."""

    default_error_messages = WORDS

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_value", WHOLE_MAX)
        kwargs.setdefault("min_value", 0)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> int:
        whole = isinstance(data, int) or (isinstance(data, float) and data.is_integer())
        if isinstance(data, bool) or not whole:
            _refuse("Not a whole number: send a JSON number without a fraction.", "not_whole")
        return int(data)


class Text(serializers.CharField):
    """A JSON string, without control characters but line breaks and tabs."""

    default_error_messages = {"max_length": bounds.TOO_LONG}

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", TEXT_MAX)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            _refuse("Not a text: send a JSON string.", "not_a_text")
        if any(ord(letter) < 32 and letter not in "\n\r\t" for letter in data):
            _refuse(bounds.BAD_TEXT, "bad_text")
        return data.strip() if self.trim_whitespace else data


class Serial(Text):
    """A pack's serial: letters, digits, dots, underscores and hyphens."""

    def __init__(self, **kwargs: Any) -> None:
        sentence = "1 to 40 letters, digits, dots, underscores or hyphens, no mark at the front."
        form = RegexValidator(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}\Z", sentence, "bad_serial")
        super().__init__(validators=[form], max_length=SERIAL_LENGTH, **kwargs)


class Code(Text):
    """The short name of a thing, which also stands in its address."""

    def __init__(self, **kwargs: Any) -> None:
        sentence = "1 to 40 letters, digits, spaces, or one of . _ + -, no mark at the front."
        form = RegexValidator(r"^\w[\w .+-]{0,39}\Z", sentence, "bad_code")
        super().__init__(validators=[form], max_length=CODE_LENGTH, **kwargs)


class Truth(serializers.BooleanField):
    """true or false, nothing that stands for it."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            _refuse("Send true or false, without quotes.", "not_a_boolean")
        return data


class Instant(serializers.DateTimeField):
    """An RFC 3339 instant with its offset."""

    def to_internal_value(self, value: Any) -> datetime:
        match = INSTANT.match(value) if isinstance(value, str) else None
        if match is None:
            _refuse(
                "Not an RFC 3339 instant with an offset, such as 2026-03-01T09:30:00+01:00.",
                "not_an_instant",
            )
        day, clock, fraction, offset = match.groups()
        if clock.endswith(":60"):
            clock = clock[:-2] + "59"
        text = f"{day}T{clock}{(fraction or '')[:7]}{offset.upper().replace('Z', '+00:00')}"
        try:
            instant = datetime.fromisoformat(_pad(text, fraction))
        except ValueError:
            _refuse("There is no such instant; correct the date or the time.", "no_such_instant")
        if not bounds.EARLIEST < instant.year < bounds.LATEST:
            _refuse(bounds.BAD_YEAR, "no_such_instant")
        return storable(instant)


def _pad(text: str, fraction: str | None) -> str:
    """Microseconds written out in full: Python 3.11 reads three or six digits everywhere."""
    if not fraction:
        return text
    digits = fraction[1:7]
    return text.replace(f".{digits}", f".{digits:0<6}", 1)


class Day(serializers.DateField):
    """An ISO 8601 calendar date."""

    def to_internal_value(self, value: Any) -> date:
        if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            _refuse("Not a date such as 2026-03-01.", "not_a_date")
        try:
            day = date.fromisoformat(value)
        except ValueError:
            _refuse("There is no such date; correct it.", "not_a_date")
        if not bounds.EARLIEST < day.year < bounds.LATEST:
            _refuse(bounds.BAD_YEAR, "not_a_date")
        return day


class Choice(serializers.ChoiceField):
    """One of a few words."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.choices:
            words = ", ".join(str(word) for word in self.choices)
            _refuse(bounds.NO_CHOICE.format(words=words), "not_a_choice")
        return data


class Money(serializers.DecimalField):
    """An amount in the site's currency, as a JSON number with at most two decimals."""

    default_error_messages = {
        "min_value": bounds.TOO_LOW,
        "max_digits": bounds.TOO_MUCH,
        "max_whole_digits": bounds.TOO_MUCH,
        "max_decimal_places": bounds.TWO_DECIMALS,
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("min_value", Decimal(0))
        super().__init__(max_digits=10, decimal_places=2, coerce_to_string=False, **kwargs)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | float):
            _refuse("Not a number: send a JSON number, without quotes.", "not_a_number")
        return super().to_internal_value(repr(data))

    def to_representation(self, value: Any) -> Any:
        return float(value)


def _refuse_places(places: list[int], sentence: str, code: str) -> NoReturn:
    """The same refusal at each of these places of a list."""
    detail = serializers.ErrorDetail(sentence, code)
    raise serializers.ValidationError({str(place): [detail] for place in places})


@extend_schema_field(
    {
        "type": "array",
        "items": {"type": ["number", "null"]},
        "minItems": 3,
        "maxItems": bounds.POSITIONS_MAX,
    }
)
class Volts(serializers.Field[Any, Any, Any, Any]):
    """Voltages by position, null where one could not be read; kept to 0.1 mV."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, list):
            _refuse("Not a list: send one voltage for each position.", "not_a_list")
        if not 1 <= len(data) <= bounds.POSITIONS_MAX:
            _refuse(bounds.BAD_COUNT, "wrong_count")
        if not all(type(volt) in VOLT_TYPES for volt in data):
            _refuse_places(
                [place for place, volt in enumerate(data) if type(volt) not in VOLT_TYPES],
                "Not a voltage: send a number without quotes, or null.",
                "not_a_number",
            )
        beyond = [
            place
            for place, volt in enumerate(data)
            if volt is not None and not -VOLTS_MAX < volt < VOLTS_MAX
        ]
        if beyond:
            _refuse_places(beyond, bounds.BAD_VOLTAGE, "out_of_range")
        return to_units(data)

    def to_representation(self, value: Any) -> Any:
        return as_json(np.asarray(value))


class ExternalId(Text):
    """The sender's own name for what is sent, to know it again."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_length=EXTERNAL_ID_LENGTH, required=False, allow_null=True, min_length=1, **kwargs
        )


@extend_schema_field(OpenApiTypes.STR)
class Opaque(serializers.Field[Any, Any, Any, Any]):
    """The id of a row of one kind, as an opaque string; inside it is a number."""

    def __init__(self, kind: str, **kwargs: Any) -> None:
        self.kind = kind
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or not data:
            _refuse("Not an id: send the string that was answered.", "not_an_id")
        return data

    def to_representation(self, value: Any) -> str | None:
        return encode(self.kind, value)


class QueryId(Opaque):
    """An opaque id in a query field; inside it becomes the number, -1 for none of that kind."""

    def to_internal_value(self, data: Any) -> Any:
        number = decode(self.kind, super().to_internal_value(data))
        return -1 if number is None else number
