"""What a stage may read of all that a person gave: nothing but the fields of its own dataclass of inputs."""

from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T", bound="DataclassInstance")


def only(kind: type[T], inputs: Any) -> T:
    """The fields of `kind`, taken by name from inputs that have at least these.

    Examples
    --------
    >>> from hidescan.hide_map.model import Inputs
    >>> from hidescan.mapping.floor import FloorInputs
    >>> only(FloorInputs, Inputs(card_scale=(1.0, 0.99), species="goat"))
    FloorInputs(card_scale=(1.0, 0.99), tapes=(), lens=None)
    """
    return kind(**{field.name: getattr(inputs, field.name) for field in fields(kind)})
