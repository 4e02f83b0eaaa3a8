"""The lamps of a simulated stack light: what is switched on, and which of them are burnt out."""

from dataclasses import dataclass

BITS = 31       # red, yellow, green, blue, white from bit 0 on


@dataclass(slots=True)
class StackLamps:
    """Bits of the lamps; a `dead` one stays dark, and reads so."""

    switched: int = 0
    dead: int = 0

    @property
    def lit(self) -> int:
        """The lamps that can be seen."""
        return self.switched & ~self.dead
