"""Array fields of records: checked, read-only, and stored beside the record's JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema


@dataclass(frozen=True)
class ArrayField:
    """Annotation that lets pydantic rebuild a record with arrays."""

    dtype: str

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return a validator that makes a read-only array of the declared type."""
        return core_schema.no_info_plain_validator_function(self._frozen)

    def _frozen(self, raw: Any) -> NDArray[Any]:
        array = np.asarray(raw, dtype=self.dtype)
        if array.flags.writeable:
            array = array.copy()
            array.flags.writeable = False
        return array


FloatArray = Annotated[NDArray[np.float64], ArrayField("float64")]
Float32Array = Annotated[NDArray[np.float32], ArrayField("float32")]
IntArray = Annotated[NDArray[np.int64], ArrayField("int64")]
Int8Array = Annotated[NDArray[np.int8], ArrayField("int8")]
FlagArray = Annotated[NDArray[np.uint32], ArrayField("uint32")]
BoolArray = Annotated[NDArray[np.bool_], ArrayField("bool")]
