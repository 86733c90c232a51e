"""What the vehicle is doing, from engine speed and road speed."""

from enum import StrEnum


class Phase(StrEnum):
    """What the vehicle is doing; `loaded` is standing with the engine held well above idle."""

    OFF = "off"
    IDLE = "idle"
    LOADED = "loaded"
    DRIVING = "driving"
    UNKNOWN = "unknown"
