"""Reasons and conditions in words."""

from collections.abc import Iterable

from warmwatch.core.level.conditions import Condition, ConditionName
from warmwatch.core.reason import Reason, parse_reasons
from warmwatch.words.catalogue import clock, figure, has, mark_name, phrase

TAKEN_BACK = "taken-back-"
_AXES = {"lengthwise_deg": "lengthwise", "crosswise_deg": "crosswise", "tilt_deg": "tilt"}


def reason_text(reason: Reason, unit: str) -> str:
    """Return a reason in words; one that no catalogue knows is shown as it was recorded."""
    code = f"reason.{reason.code}"
    if reason.code.startswith(TAKEN_BACK):
        at = clock(reason.figures.get("at_s", 0.0))
        name = mark_name(reason.code.removeprefix(TAKEN_BACK))
        return phrase("reason.taken-back", mark=name, at=at)
    if not has(code):
        parts = parse_reasons(reason.code)  # a doubt may hold a code and what was read
        return reasons_words(parts, unit) if len(parts) > 1 else str(reason)
    shown = reason_values(reason, unit)
    tilts = [phrase(f"axis.{_AXES[name]}", deg=shown[name]) for name in _AXES if name in shown]
    try:
        return phrase(code, unit, **(shown | {"measured": ", ".join(tilts)}))
    except KeyError:  # recorded by another version, without a figure that the phrase asks for
        return str(reason)


def reason_values(reason: Reason, unit: str) -> dict[str, str]:
    """Return a reason's figures as texts, those of temperatures also by their short names."""
    shown = {name: figure(name, value, unit) for name, value in reason.figures.items()}
    return {name.removesuffix("_c"): text for name, text in shown.items()} | shown


def reasons_words(reasons: Iterable[Reason], unit: str) -> str:
    """Return several reasons in words, separated by semicolons."""
    return "; ".join(text for text in (reason_text(one, unit) for one in reasons) if text)


def doubt_text(recorded: str, unit: str) -> str:
    """Return what a recording or a link keeps of a doubt, in words."""
    return reasons_words(parse_reasons(recorded), unit)


def condition_name(name: ConditionName | str) -> str:
    """Return what a condition is called."""
    return phrase(f"condition.{name}")


def condition_detail(condition: Condition, unit: str) -> str:
    """Return why a condition stands as it does, to be shown beside its name."""
    code = f"detail.{condition.reason.code}"
    return phrase(code) if has(code) else reason_text(condition.reason, unit)


def condition_text(condition: Condition, unit: str) -> str:
    """Return `engine idling: 780 1/min`."""
    why = condition_detail(condition, unit)
    return f"{condition_name(condition.name)}{f': {why}' if why else ''}"
