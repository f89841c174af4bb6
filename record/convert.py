"""From the results of a measurement to JSON and back, so that what was stored comes back equal.

The rules stand here and not in the classes, which need not know that they are stored. JSON (RFC 8259)
has no NaN and no infinity; they are written as the words Python's ``float`` reads.
"""

import math
from functools import cache
from typing import Any, TypeVar, get_args, get_origin

import numpy as np
from cattrs import Converter
from numpy.typing import NDArray

from setstone.record.errors import BookError

_T = TypeVar("_T")


def to_json(value: object, kind: Any = None) -> Any:
    """Turn a result into what JSON can hold.

    Parameters
    ----------
    value : object
        A dataclass of the rooms capture or measure, or a tuple or mapping of them.
    kind : type, optional
        Its declared type, when the value alone does not tell, for example ``tuple[Flag, ...]``.

    Returns
    -------
    dict, list, str, float, int, bool or None
    """
    return _converter().unstructure(value, kind)


def from_json(data: Any, kind: type[_T]) -> _T:
    """Turn what `to_json` made back into a result.

    Parameters
    ----------
    data : dict, list, str, float, int, bool or None
    kind : type
        What it was.

    Returns
    -------
    object
        Of that type, equal to the one stored.

    Raises
    ------
    BookError
        When it cannot have been made by `to_json`.
    """
    try:
        return _converter().structure(data, kind)
    except Exception as error:  # cattrs gathers whatever went wrong in any of the fields
        raise BookError(
            f"A {kind.__name__.lower()} in the book cannot be read; update setstone or restore the book "
            "from your last copy."
        ) from error


@cache
def _converter() -> Converter:
    converter = Converter()
    converter.register_unstructure_hook(float, _number)
    converter.register_unstructure_hook(int, int)
    converter.register_unstructure_hook(bool, bool)
    converter.register_unstructure_hook_func(_is_array, _array_to_json)
    converter.register_structure_hook_func(_is_array, _array_from_json)
    return converter


def _number(value: float) -> float | str:
    return float(value) if math.isfinite(value) else str(float(value))


def _is_array(kind: Any) -> bool:
    return kind is np.ndarray or get_origin(kind) is np.ndarray


def _array_to_json(array: NDArray[Any]) -> dict[str, Any]:
    # The shape beside the values keeps that of an array without any.
    values = array.ravel().tolist()
    if array.dtype.kind == "f" and not np.isfinite(array).all():
        values = [_number(v) for v in values]
    return {"shape": list(array.shape), "values": values}


def _array_from_json(data: dict[str, Any], kind: Any) -> NDArray[Any]:
    (dtype,) = get_args(get_args(kind)[1])
    # float() reads "nan" and "inf".
    values = [float(v) for v in data["values"]] if np.issubdtype(dtype, np.floating) else data["values"]
    return np.array(values, dtype).reshape(data["shape"])
