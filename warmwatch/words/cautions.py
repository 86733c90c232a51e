"""The cautions for a job that declares holds against the brakes.

Nothing here recommends the method: it is timed, warned about and recorded.
"""

from warmwatch.core.job import Job
from warmwatch.words.events import temperature

USUAL_HOLD_S, USUAL_REST_S = 5.0, 60.0
"""Common practice, no source: holds no longer than 5 s, then at least 60 s at idle."""

NOT_ADVISED = (
    "warmwatch does not recommend holding an engine against the brakes: it times it, warns and "
    "records. Idling or a drive needs none of this."
)
CAUTIONS = (
    (
        "The vehicle can move: nobody in front of it or behind it, wheels chocked, parking brake "
        "and foot brake both on."
    ),
    "Never be under the vehicle meanwhile.",
    "Service information may forbid it: read it first; it comes before anything said here.",
    (
        "Heat is made faster than the sensor shows; the fluid at the converter is hotter than the "
        "reading."
    ),
    "Stop at once on slip, smell or an unusual noise.",
    "A running engine needs open air or extraction: carbon monoxide kills unnoticed.",
)


def loading_text(job: Job) -> str:
    """Return the cautions as they are shown, with the limits of the job."""
    fluid = temperature(job.fluid_ceiling_c, job.unit)
    coolant = temperature(job.coolant_ceiling_c, job.unit)
    times = (
        f"Let go by {job.hold_limit_s:g} s at the latest, then at least {job.rest_s:g} s at idle "
        "in neutral or park. Holds are timed only while engine speed and road speed are both read."
    )
    heat = f"Let it idle and cool at {fluid} of the fluid or {coolant} of the coolant."
    dangers = "\n".join(f"  - {line}" for line in (*CAUTIONS, times, heat))
    return f"CAUTION. The job declares the method {job.method!r}.\n{NOT_ADVISED}\n{dangers}"


def loosened_limits(job: Job) -> list[str]:
    """Return a sentence for each limit of the job that is looser than usual: never silently."""
    told = []
    if job.hold_limit_s > USUAL_HOLD_S:
        told.append(
            f"The job sets the hold limit to {job.hold_limit_s:g} s; common practice is "
            f"{USUAL_HOLD_S:g} s."
        )
    if job.rest_s < USUAL_REST_S:
        told.append(
            f"The job sets the rest between holds to {job.rest_s:g} s; common practice is "
            f"{USUAL_REST_S:g} s."
        )
    plain = Job(job.band)
    ceilings = (
        ("fluid", job.fluid_ceiling_c, plain.fluid_ceiling_c),
        ("coolant", job.coolant_ceiling_c, plain.coolant_ceiling_c),
    )
    told += [
        f"The job sets the ceiling of the {meant} to {temperature(set_c, job.unit)}; "
        f"{temperature(usual_c, job.unit)} is usual here."
        for meant, set_c, usual_c in ceilings
        if set_c > usual_c
    ]
    return told
