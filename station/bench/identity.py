"""Who an instrument says it is, and whether it is the one that the bench file names."""

from dataclasses import astuple, dataclass, fields

from station.errors import BenchError, BenchNotFitError


@dataclass(frozen=True, slots=True)
class Identity:
    """The four fields of the answer to *IDN?."""

    maker: str
    model: str
    serial: str
    firmware: str

    def __str__(self) -> str:
        """Return the fields as the instrument sends them."""
        return ",".join(astuple(self))

    def differences(self, expected: "Identity") -> list[str]:
        """Return the names of the fields in which this one differs from `expected`."""
        return [field.name for field in fields(self)
                if getattr(self, field.name) != getattr(expected, field.name)]

    def require(self, expected: "Identity", role: str, where: str) -> None:
        """Raise BenchNotFitError unless this is the `expected` instrument."""
        if self.differences(expected):
            raise BenchNotFitError(f"another instrument answers for the {role}", where=where, expected=expected,
                                   got=self, remedy="Connect the right one, or register this one in the bench file.",
                                   code="other_instrument")


def parse_identity(answer: str, where: str) -> Identity:
    """Return the identity in `answer`; BenchError when it has not the four fields of IEEE 488.2."""
    parts = [part.strip() for part in answer.split(",")]
    if len(parts) != len(fields(Identity)):
        raise BenchError("this is no answer to *IDN?", where=where, expected="maker,model,serial,firmware",
                         got=repr(answer),
                         remedy="Check the address in the bench file; another device may be there.")
    return Identity(*parts)
