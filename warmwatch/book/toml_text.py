"""What is wrong with a TOML file that a person wrote, and how the line is written right."""

import re
import tomllib

_LINE = re.compile(r"at line (\d+)")
_PAIR = re.compile(r"\s*([\w.-]+)\s*=\s*(.*?)\s*(?:#.*)?$")
_COMMA = re.compile(r"[+-]?\d+,\d+")


def toml_trouble(text: str, error: tomllib.TOMLDecodeError) -> str:
    """Return a sentence that shows the right form where the slip is a known one.

    Known are a text without quotes (`band = 80:90`) and a decimal comma (`tilt_deg = 0,3`).
    """
    found = _LINE.search(str(error))
    lines = text.splitlines()
    number = int(found[1]) if found else len(lines)
    # An error at the end of a line may be told of the next one.
    for at in (number, number - 1):
        line = lines[at - 1] if 0 < at <= len(lines) else ""
        pair = _PAIR.match(line)
        if pair is not None and (right := _right(pair[2])):
            return f"line {at}, {line.strip()!r}: write it as {pair[1]} = {right}"
    return f"it is not valid TOML: {error}"


def _right(value: str) -> str:
    if _COMMA.fullmatch(value):
        return value.replace(",", ".")
    if value.endswith(('"', "'")) != value.startswith(('"', "'")):
        return f'"{value.strip(chr(34) + chr(39))}", with quotes on both sides'
    if value and value[0] not in "\"'[{" and value not in ("true", "false"):
        return f'"{value}", with quotes'
    return ""
