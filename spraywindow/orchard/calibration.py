"""What a sprayer really puts out, from a timed catch, and what it should.

All are one identity: flow = rate per area x speed x width. The trade's US forms are the same
with its units: gal/min = gal/acre x mph x row feet / 495; gal/acre = 5940 x gal/min / (mph x in).
"""

from __future__ import annotations

from dataclasses import dataclass

from spraywindow.orchard.checks import number_problem, refuse

UNEVEN_SHARE = 0.10
"""A nozzle further than this from the mean is worn or blocked; P: common practice."""
M2_PER_HA = 10_000.0


def flow_from_catch_l_per_min(caught_l: float, time_s: float) -> float:
    """Flow of a nozzle or a gun [L/min] from the volume [L] that it gave in a time [s]."""
    refuse((number_problem("caught", caught_l, "L"), number_problem("time", time_s, "s")))
    return caught_l / time_s * 60


def speed_from_run_ms(distance_m: float, time_s: float) -> float:
    """Working speed [m/s] from a timed run over a measured distance."""
    refuse((number_problem("distance", distance_m, "m"), number_problem("time", time_s, "s")))
    return distance_m / time_s


def flow_needed_l_per_min(rate_l_per_ha: float, speed_ms: float, width_m: float) -> float:
    """Flow that gives a rate at a speed, for the width that one pass serves [L/min].

    Parameters
    ----------
    rate_l_per_ha : float
        Wanted spray per area [L/ha].
    speed_ms : float
        Working speed [m/s], at most 10.
    width_m : float
        Row spacing, when both sides of the sprayer work one row middle [m].
    """
    _refuse_speed_and_width(("rate", rate_l_per_ha, "L/ha"), speed_ms, width_m)
    return rate_l_per_ha / M2_PER_HA * speed_ms * width_m * 60


def rate_given_l_per_ha(flow_l_per_min: float, speed_ms: float, width_m: float) -> float:
    """Spray per area that a flow gives at a speed and width [L/ha]."""
    _refuse_speed_and_width(("flow", flow_l_per_min, "L/min"), speed_ms, width_m)
    return flow_l_per_min / 60 / (speed_ms * width_m) * M2_PER_HA


def row_given_l_per_m(flow_l_per_min: float, speed_ms: float) -> float:
    """Spray per length of row [L/m] that a flow gives at a speed, one pass a row."""
    return rate_given_l_per_ha(flow_l_per_min, speed_ms, 1.0) / M2_PER_HA


def rate_from_plot_l_per_ha(caught_l: float, plot_m2: float) -> float:
    """Spray per area [L/ha] from what is used on a measured plot.

    On 1/128 acre (31.6 m2) the fluid ounces used are the US gallons per acre.
    """
    refuse((number_problem("caught", caught_l, "L"), number_problem("plot", plot_m2, "m2")))
    return caught_l / plot_m2 * M2_PER_HA


@dataclass(frozen=True)
class NozzleCheck:
    """Flows of all nozzles: their mean and sum [L/min], and the numbers (from 1) of uneven ones."""

    mean_l_per_min: float
    total_l_per_min: float
    uneven: tuple[int, ...]


def check_nozzles(flows_l_per_min: tuple[float, ...]) -> NozzleCheck:
    """Compare nozzles with each other.

    Raises
    ------
    InputError
        If there is none, or a flow is not positive; all of them at once.
    """
    refuse([number_problem("number of nozzles", len(flows_l_per_min), "")])
    refuse(
        number_problem(f"nozzle {number}", flow, "L/min")
        for number, flow in enumerate(flows_l_per_min, start=1)
    )
    total = sum(flows_l_per_min)
    mean = total / len(flows_l_per_min)
    uneven = tuple(
        number
        for number, flow in enumerate(flows_l_per_min, start=1)
        if abs(flow - mean) > UNEVEN_SHARE * mean
    )
    return NozzleCheck(mean, total, uneven)


def _refuse_speed_and_width(first: tuple[str, float, str], speed_ms: float, width_m: float) -> None:
    refuse(
        (
            number_problem(*first),
            number_problem("speed", speed_ms, "m/s", high=10),
            number_problem("width", width_m, "m"),
        )
    )
