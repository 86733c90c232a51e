"""The phrases of a language by code, and the one that is in use.

Another language is one more catalogue: a package with `PHRASES` for the codes of `english`, and its
line in `LANGUAGES`. What it leaves out is said in English. A phrase takes its figures by name, as
in `{held_s}`; where a number changes the words, `CODE-one` is for one of a thing and `CODE` for
any other number.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from warmwatch.core.units import from_c
from warmwatch.words.english import PHRASES as ENGLISH

LANGUAGES: Mapping[str, Mapping[str, str]] = {"en": ENGLISH}
"""The catalogues there are, by ISO 639-1 code."""
_in_use: Mapping[str, str] = ENGLISH


def use(phrases: Mapping[str, str]) -> None:
    """Say everything in these phrases from now on."""
    global _in_use
    _in_use = phrases


@contextmanager
def speaking(name: str) -> Iterator[None]:
    """Say everything in the language `name`, one of `LANGUAGES`, for as long as this lasts."""
    before = _in_use
    use(LANGUAGES[name])
    try:
        yield
    finally:
        use(before)


def language() -> str:
    """Return the code of the language in use; English where it is none of `LANGUAGES`."""
    return next((code for code, phrases in LANGUAGES.items() if phrases is _in_use), "en")


def has(code: str) -> bool:
    """Return whether there is a phrase for `code`."""
    return code in _in_use or code in ENGLISH


def phrase(code: str, unit: str = "C", **values: float | str) -> str:
    """Return the phrase for `code`, its figures in `unit` ("C" or "F")."""
    template = _in_use.get(code) or ENGLISH[code]
    shown = {
        name: value if isinstance(value, str) else figure(name, value, unit)
        for name, value in values.items()
    }
    return template.format_map(shown)


def counted(code: str, n: int, unit: str = "C", **values: float | str) -> str:
    """Return the phrase for `n` of a thing: that of `CODE-one` for one, with `{n}` in it."""
    one = f"{code}-one"
    return phrase(one if n == 1 and has(one) else code, unit, n=n, **values)


def group(name: str) -> dict[str, str]:
    """Return all phrases of a group by their code, their figures not yet put in."""
    start = f"{name}."
    codes = [code for code in ENGLISH if code.startswith(start)]
    return {code.removeprefix(start): _in_use.get(code) or ENGLISH[code] for code in codes}


def temperature(fluid_c: float, unit: str) -> str:
    """Return `86 °C` or `186.8 °F`: a decimal only where there is one."""
    shown = round(from_c(fluid_c, unit), 1)
    return f"{shown:g} °{unit}"


def whole_degrees(fluid_c: float, unit: str) -> str:
    """Return `45 °C`: what is only reckoned has no decimals."""
    return f"{from_c(fluid_c, unit):.0f} °{unit}"


def figure(name: str, value: float, unit: str) -> str:
    """Return a figure with the unit that its name ends with; `_k` is a difference of degrees.

    >>> figure("idled_s", 1344.0, "C"), figure("rate_c_per_min", 6.0, "F")
    ('22 min', '+10.8 °F/min')
    """
    if name.endswith("c_per_min"):
        return f"{value * (1.8 if unit == 'F' else 1.0):+.1f} °{unit}/min"
    if name.endswith("_c"):
        return temperature(value, unit)
    if name.endswith("_k"):
        return f"{value * (1.8 if unit == 'F' else 1.0):g} °{unit}"
    if name.endswith("_s"):
        return span(value)
    if name.endswith("_deg"):
        return f"{value:g}°"
    for ending, shown_unit in _UNITS.items():
        if name.endswith(ending):
            return f"{value:.0f}{shown_unit}"
    return str(value) if isinstance(value, int) else f"{value:g}"


_UNITS = {"rpm": " 1/min", "_kmh": " km/h"}


def span(seconds: float) -> str:
    """Return a length of time in seconds, or from two minutes on in minutes."""
    whole = round(seconds)
    if whole < 120 and whole != 60:
        return f"{seconds:.0f} s"
    return f"{whole // 60} min" if whole < 7200 else f"{whole // 3600} h {whole % 3600 // 60} min"


def clock(elapsed_s: float) -> str:
    """Return elapsed time as `07:46`, with hours in front where there are any."""
    minutes, seconds = divmod(int(elapsed_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes:02}:{seconds:02}"


def joined(texts: Sequence[str]) -> str:
    """Return texts one after the other, as `a and b`."""
    first, *others = texts or [""]
    for text in others:
        first = phrase("compare.and", first=first, second=text)
    return first


def capital(text: str) -> str:
    """Return the text with its first letter as a capital."""
    return text[:1].upper() + text[1:]


def mark_name(name: str) -> str:
    """Return what a mark is called."""
    return phrase(f"mark.{name}")


def next_lines(*commands: str) -> list[str]:
    """Return the commands to type next, one below the other."""
    codes = ["next", *["also"] * (len(commands) - 1)]
    return [
        phrase(f"summary.{code}", command=f"warmwatch {command}")
        for code, command in zip(codes, commands, strict=True)
    ]
