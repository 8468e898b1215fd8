"""What a sprayer really puts out, from a timed catch, and what it should.

All are one identity: flow = rate per area x speed x width. The trade's US forms are the same
with its units: gal/min = gal/acre x mph x row feet / 495; gal/acre = 5940 x gal/min / (mph x in).
"""

from __future__ import annotations

from spraywindow.handbook.numbers import number_problem, refuse

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


def rate_given_l_per_ha(flow_l_per_min: float, speed_ms: float, width_m: float) -> float:
    """Spray per area that a flow gives at a speed and width [L/ha]."""
    _refuse_speed_and_width(("flow", flow_l_per_min, "L/min"), speed_ms, width_m)
    return flow_l_per_min / 60 / (speed_ms * width_m) * M2_PER_HA


def row_given_l_per_m(flow_l_per_min: float, speed_ms: float) -> float:
    """Spray per length of row [L/m] that a flow gives at a speed, one pass a row."""
    return rate_given_l_per_ha(flow_l_per_min, speed_ms, 1.0) / M2_PER_HA


def uneven_nozzles(flows_l_per_min: tuple[float, ...]) -> tuple[int, ...]:
    """Numbers, from 1, of the nozzles whose flow is far from the mean of all.

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
    mean = sum(flows_l_per_min) / len(flows_l_per_min)
    return tuple(
        number
        for number, flow in enumerate(flows_l_per_min, start=1)
        if abs(flow - mean) > UNEVEN_SHARE * mean
    )


def _refuse_speed_and_width(first: tuple[str, float, str], speed_ms: float, width_m: float) -> None:
    refuse(
        (
            number_problem(*first),
            number_problem("speed", speed_ms, "m/s", high=10),
            number_problem("width", width_m, "m"),
        )
    )
