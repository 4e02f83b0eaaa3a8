"""The closed list of code forms that a block of samples may have on the wire."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class CodeForm:
    """How one sample is carried: bytes per sample, and the numpy type of the wire."""

    name: str
    width: int
    wire_type: str

    def widened(self, body: bytes) -> NDArray[np.int16]:
        """Return the codes in `body`, one byte each, as (n,) int16."""
        return np.frombuffer(body, dtype=self.wire_type).astype(np.int16)

    @property
    def lowest(self) -> int:
        """The lowest code that this form can carry."""
        return int(np.iinfo(self.wire_type).min)

    @property
    def highest(self) -> int:
        """The highest code that this form can carry."""
        return int(np.iinfo(self.wire_type).max)


INT16_LITTLE = CodeForm("int16 little", 2, "<i2")
FORMS = {form.name: form for form in (INT16_LITTLE, CodeForm("int16 big", 2, ">i2"),
                                      CodeForm("int8", 1, "i1"), CodeForm("uint8", 1, "u1"))}
