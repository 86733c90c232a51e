"""Whether the label of a method speaks of holds against the brakes."""

LOADING_WORDS = ("load", "stall", "brake", "hold", "torque")


def declares_loading(method: str) -> bool:
    """Return whether a method's label speaks of holds against the brakes.

    >>> declares_loading("Loaded, 3 holds"), declares_loading("drive")
    (True, False)
    """
    return any(word in method.casefold() for word in LOADING_WORDS)
