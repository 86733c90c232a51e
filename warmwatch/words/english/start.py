"""What is said before a watch, about the shop's book, and the cautions for loading."""

GREETING = {
    "watching": "Watching {address} for {band}.",
    "recording": "Recording to {path}",
    "not-recorded": "Not recorded.",
    "keys": "Keys: {keys}.",
    "caution": (
        "Caution: fluid and metal in the band burn at a touch; keep clear of moving parts; run "
        "the engine in open air or with extraction; secure the vehicle against moving and falling. "
        "Service information comes first."
    ),
}
NOTICES = {
    "ended": "The readings ended: the temperature is not known now.",
    "stalled": (
        "The disk does not answer: the recording is kept in memory until it does. The watch goes "
        "on; do not switch off before the recording has reached the disk."
    ),
    "answers": "The disk answers again: nothing of the recording is missing.",
    "times-differ": "Times from now on differ: {why}.",
}
LOADING = {
    "head": "CAUTION. The job declares the method {method}.",
    "not-advised": (
        "warmwatch does not recommend holding an engine against the brakes: it times it, warns "
        "and records. Idling or a drive needs none of this."
    ),
    "may-move": (
        "The vehicle can move: nobody in front of it or behind it, wheels chocked, parking brake "
        "and foot brake both on."
    ),
    "not-under": "Never be under the vehicle meanwhile.",
    "service": (
        "Service information may forbid it: read it first; it comes before anything said here."
    ),
    "heat": (
        "Heat is made faster than the sensor shows; the fluid at the converter is hotter than the "
        "reading."
    ),
    "stop": "Stop at once on slip, smell or an unusual noise.",
    "gas": "A running engine needs open air or extraction: carbon monoxide kills unnoticed.",
    "times": (
        "Let go by {limit} s at the latest, then at least {rest} s at idle in neutral or park. "
        "Holds are timed only while engine speed and road speed are both read."
    ),
    "cool": "Let it idle and cool at {fluid} of the fluid or {coolant} of the coolant.",
    "loose-hold": "The job sets the hold limit to {set} s; common practice is {usual} s.",
    "loose-rest": "The job sets the rest between holds to {set} s; common practice is {usual} s.",
    "loose-fluid": "The job sets the ceiling of the fluid to {set}; {usual} is usual here.",
    "loose-coolant": "The job sets the ceiling of the coolant to {set}; {usual} is usual here.",
}
BOOK = {
    "empty": "The book is empty: {path}",
    "empty-start": (
        "Next: warmwatch start                      # it asks, and writes into the book"
    ),
    "empty-set": (
        '      warmwatch book set "white van" band=LOW:HIGH band_source="service information"'
    ),
    "path": "The book: {path}",
    "vehicles": "Vehicles",
    "adapters": "Adapters",
    "shop": "Shop",
    "no-band": "no band",
    "band": "{band} ({source})",
    "nothing": "  nothing yet",
    "yes": "yes",
    "no": "no",
    "trouble": "! {where}{text}",
    "removed": "Removed {label}.",
    "still-named": "Still named as the link of: {labels}.",
    "works": "All of it works here ({count} labels).",
}
GROUPS = {"greeting": GREETING, "notice": NOTICES, "loading": LOADING, "book": BOOK}
