"""Fields that take a value only as it plainly stands: no "on" for true, no 1e3, no date without dashes."""

from __future__ import annotations

import functools
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from gear.rules import values
from gear.rules.values import BadValue


def sentence(error: BadValue) -> str:
    """The refusal of a value in the reader's language."""
    return _(values.MESSAGES[error.code]).format(**error.values)


class Body(serializers.Serializer):
    """An input: every name in it must be known. Nothing is filled in that the client did not send."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            raise serializers.ValidationError({"": [_("Send one JSON object.")]})
        if unknown := [name for name in data if name not in self.fields]:
            raise serializers.ValidationError(
                {name: [_("This field is not known. Leave it out.")] for name in unknown}
            )
        return super().to_internal_value(data)


class _Strict(serializers.Field, ABC):
    """Text or a whole number, read by one of gear.rules.values."""

    @abstractmethod
    def read(self, given: str) -> Any:
        """The value that the text plainly says. Raises BadValue."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, bool) or not isinstance(data, str | int):
            raise serializers.ValidationError(_("Send text or a plain number."))
        try:
            return self.read(str(data))
        except BadValue as error:
            raise serializers.ValidationError(sentence(error)) from None

    def to_representation(self, value: Any) -> Any:
        return value


@extend_schema_field(OpenApiTypes.STR)
class Text(_Strict):
    """Text without unseen characters."""

    def __init__(self, *, most: int = values.LONGEST, **options: Any) -> None:
        self.most = most
        super().__init__(**options)

    def read(self, given: str) -> str:
        return values.text(self.field_name, given, most=self.most)


@extend_schema_field(OpenApiTypes.INT)
class Whole(_Strict):
    """A whole number, 0 or more."""

    def read(self, given: str) -> int:
        return values.whole(self.field_name, given)


@extend_schema_field(OpenApiTypes.DECIMAL)
class Number(_Strict):
    """A plain number with at most three decimals; the parser keeps it as its text."""

    def __init__(self, *, negative: bool = False, **options: Any) -> None:
        self.negative = negative
        super().__init__(**options)

    def read(self, given: str) -> Any:
        return values.decimal(self.field_name, given, negative=self.negative)


@extend_schema_field(OpenApiTypes.DATE)
class Day(_Strict):
    """YYYY-MM-DD and nothing else."""

    def read(self, given: str) -> Any:
        return values.day(self.field_name, given)


@extend_schema_field(OpenApiTypes.DATETIME)
class Moment(_Strict):
    """A time with its offset from UTC."""

    def read(self, given: str) -> Any:
        return values.moment(self.field_name, given)


class Word(serializers.ChoiceField):
    """One of the allowed words, as text."""

    def __init__(self, choices: Sequence[str], **options: Any) -> None:
        super().__init__(list(choices), **options)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise serializers.ValidationError(_("Send one of: %s.") % ", ".join(self.choices))
        try:
            return values.one_of(self.field_name, data, tuple(self.choices))
        except BadValue as error:
            raise serializers.ValidationError(sentence(error)) from None


@extend_schema_field(OpenApiTypes.BOOL)
class Flag(serializers.Field):
    """true or false; null only where the field allows it. "on", "yes" and 1 are refused."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise serializers.ValidationError(_("Send true or false."))
        return data

    def to_representation(self, value: Any) -> bool:
        return bool(value)


def checked(body: type[Body]) -> Callable:
    """Decorate a view's method so that it gets the checked values of its body as `given`."""

    def wrap(method: Callable) -> Callable:
        @functools.wraps(method)
        def run(view: Any, request: Any, *places: Any, **named: Any) -> Any:
            serializer = body(data=request.data)
            serializer.is_valid(raise_exception=True)
            return method(view, request, *places, given=serializer.validated_data, **named)

        return run

    return wrap
