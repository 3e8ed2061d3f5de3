"""Array types: the only place where an alias of one is made.

In a frozen record they are also fields: checked, read-only, stored beside the record's JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class ArrayField:
    """Annotation that lets pydantic rebuild a record with arrays."""

    dtype: str

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Return a validator that makes a read-only array of the declared type."""
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(self._frozen)

    def _frozen(self, raw: Any) -> NDArray[Any]:
        array = np.asarray(raw, dtype=self.dtype)
        if array.flags.writeable:
            array = array.copy()
            array.flags.writeable = False
        return array


FloatArray = Annotated[NDArray[np.float64], ArrayField("float64")]
Float32Array = Annotated[NDArray[np.float32], ArrayField("float32")]
ComplexArray = Annotated[NDArray[np.complex128], ArrayField("complex128")]
IntArray = Annotated[NDArray[np.int64], ArrayField("int64")]
Int8Array = Annotated[NDArray[np.int8], ArrayField("int8")]
FlagArray = Annotated[NDArray[np.uint32], ArrayField("uint32")]
BoolArray = Annotated[NDArray[np.bool_], ArrayField("bool")]
