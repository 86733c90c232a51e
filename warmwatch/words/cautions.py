"""The cautions for a job that declares holds against the brakes.

Nothing here recommends the method: it is timed, warned about and recorded.
"""

from warmwatch.core.job import Job
from warmwatch.words.catalogue import phrase, temperature

USUAL_HOLD_S, USUAL_REST_S = 5.0, 60.0
"""Common practice, no source: holds no longer than 5 s, then at least 60 s at idle."""

DANGERS = ("may-move", "not-under", "service", "heat", "stop", "gas")


def loading_cautions() -> tuple[str, ...]:
    """Return that it is not recommended, and the dangers."""
    return tuple(phrase(f"loading.{code}") for code in ("not-advised", *DANGERS))


def loading_text(job: Job) -> str:
    """Return the cautions as they are shown, with the limits of the job."""
    fluid = temperature(job.fluid_ceiling_c, job.unit)
    coolant = temperature(job.coolant_ceiling_c, job.unit)
    not_advised, *dangers = loading_cautions()
    times = phrase("loading.times", limit=job.hold_limit_s, rest=f"{job.rest_s:g}")
    heat = phrase("loading.cool", fluid=fluid, coolant=coolant)
    head = phrase("loading.head", method=repr(job.method))
    return "\n".join([head, not_advised, *(f"  - {line}" for line in (*dangers, times, heat))])


def loosened_limits(job: Job) -> list[str]:
    """Return a sentence for each limit of the job that is looser than usual: never silently."""
    plain, unit = Job(job.band), job.unit
    told = []
    if job.hold_limit_s > USUAL_HOLD_S:
        told.append(phrase("loading.loose-hold", set=job.hold_limit_s, usual=USUAL_HOLD_S))
    if job.rest_s < USUAL_REST_S:
        told.append(phrase("loading.loose-rest", set=job.rest_s, usual=USUAL_REST_S))
    ceilings = (
        ("fluid", job.fluid_ceiling_c, plain.fluid_ceiling_c),
        ("coolant", job.coolant_ceiling_c, plain.coolant_ceiling_c),
    )
    told += [
        phrase(
            f"loading.loose-{meant}", set=temperature(set_c, unit), usual=temperature(usual_c, unit)
        )
        for meant, set_c, usual_c in ceilings
        if set_c > usual_c
    ]
    return told
