"""SCPI-1999 error numbers with their texts, and the exception that carries one to the error queue."""

# Source: SCPI-1999 volume 2, chapter 21 (numbers and texts as makers' manuals repeat them).
TEXTS = {
    -101: "Invalid character", -102: "Syntax error", -103: "Invalid separator", -104: "Data type error",
    -108: "Parameter not allowed", -109: "Missing parameter", -112: "Program mnemonic too long",
    -113: "Undefined header", -114: "Header suffix out of range", -121: "Invalid character in number",
    -131: "Invalid suffix", -138: "Suffix not allowed", -141: "Invalid character data",
    -151: "Invalid string data", -200: "Execution error", -213: "Init ignored", -221: "Settings conflict",
    -222: "Data out of range", -224: "Illegal parameter value", -230: "Data corrupt or stale",
    -310: "System error", -330: "Self-test failed", -350: "Queue overflow", -363: "Input buffer overrun",
    -410: "Query INTERRUPTED", -420: "Query UNTERMINATED",
}


class ScpiError(Exception):
    """An error that belongs into the instrument's error queue; `detail` follows the standard text."""

    def __init__(self, code: int, detail: str = "") -> None:
        self.code, self.detail = code, detail
        super().__init__(self.entry())

    def entry(self) -> str:
        """Return the entry as SYSTem:ERRor? answers it; at most 255 characters and no quotes inside."""
        text = TEXTS[self.code] + (f";{self.detail}" if self.detail else "")
        printable = "".join(c if " " <= c <= "~" and c != '"' else "?" for c in text)
        return f'{self.code},"{printable[:240]}"'
