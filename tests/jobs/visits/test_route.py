"""The route of a morning, against every order tried out; distances against closed forms."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.errors import InputError
from spraywindow.jobs.visits.driving import (
    EARTH_RADIUS_KM,
    driving_minutes,
    great_circle_km,
    with_minutes_table,
)
from spraywindow.jobs.visits.route import CrewDay, Job, Route, exchanged_routes, route_of


def _best(
    jobs: list[Job], minutes: np.ndarray, home: int | None = None, ready_min: float = -math.inf
) -> Route:
    return route_of(CrewDay(tuple(jobs), minutes, home, ready_min))


def _tried_out(jobs: list[Job], minutes: np.ndarray, home: int | None, ready: float) -> tuple:
    """Best (worth, driving) by trying every subset in every order: the oracle."""
    best = (0.0, 0.0)
    for size in range(1, len(jobs) + 1):
        for order in itertools.permutations(jobs, size):
            if len({job.site for job in order}) < size:
                continue
            time, drive, last = ready, 0.0, home
            for job in order:
                way = 0.0 if last is None else float(minutes[last, job.site])
                time = max(time + way, job.opens_min) + job.work_min
                drive, last = drive + way, job.site
                if time > job.closes_min:
                    break
            else:
                if home is not None:
                    drive += float(minutes[last, home])
                worth = sum(job.worth for job in order)
                if (round(worth, 6), -round(drive, 6)) > (round(best[0], 6), -round(best[1], 6)):
                    best = (worth, drive)
    return best


_jobs = st.lists(
    st.builds(
        lambda site, opens, length, work, worth: Job(
            site, "oil", opens, opens + length, work, worth
        ),
        st.integers(0, 3),
        st.sampled_from([480, 540, 600, 660]),
        st.sampled_from([60, 120, 180, 300]),
        st.sampled_from([60, 120]),
        st.sampled_from([0.1, 0.25, 0.25, 0.6, 1.0]),
    ),
    min_size=2,
    max_size=5,
)
_minutes = st.lists(st.integers(0, 90), min_size=25, max_size=25)


@settings(max_examples=100, deadline=None)
@given(_jobs, _minutes, st.booleans(), st.sampled_from([-math.inf, 500.0, 640.0]))
def test_no_order_is_better(
    jobs: list[Job], numbers: list[int], at_home: bool, ready: float
) -> None:
    minutes = np.array(numbers, dtype=float).reshape(5, 5)  # not symmetric, not metric
    home = 4 if at_home else None
    route = _best(jobs, minutes, home=home, ready_min=ready)
    worth, drive = _tried_out(jobs, minutes, home, ready)
    assert route.worth == pytest.approx(worth)
    assert route.drive_min == pytest.approx(drive)
    assert route.proven
    _keeps_to_the_hours(route, minutes, home, ready)


def _keeps_to_the_hours(route: Route, minutes: np.ndarray, home: int | None, ready: float) -> None:
    time, last, driving = ready, home, 0.0
    for stop in route.stops:
        assert stop.drive_min == (0.0 if last is None else minutes[last, stop.job.site])
        assert stop.leave_min >= time - 1e-9
        assert stop.arrive_min == stop.leave_min + stop.drive_min
        assert stop.start_min >= max(stop.arrive_min, stop.job.opens_min) - 1e-9
        assert stop.end_min == pytest.approx(stop.start_min + stop.job.work_min)
        assert stop.end_min <= stop.job.closes_min + 1e-9
        time, last, driving = stop.end_min, stop.job.site, driving + stop.drive_min
    sites = [job.site for job in route.jobs]
    assert len(set(sites)) == len(sites)
    assert route.worth == pytest.approx(sum(job.worth for job in route.jobs))
    driving += 0.0 if home is None or not sites else minutes[last, home]
    assert route.drive_min == pytest.approx(driving)


def _random_day(seed: int, sites: int, work_min: float, materials: int) -> CrewDay:
    rng = np.random.default_rng(seed)
    place = rng.uniform(0, 60, (sites + 1, 2))
    minutes = 1.5 * np.hypot(*(place[:, None] - place).transpose(2, 0, 1))
    jobs = [
        Job(site, f"material {number}", opens, opens + work_min + 60 * rng.integers(0, 8), work_min,
            float(rng.uniform(0.1, 1.0)))
        for site in range(sites)
        for number in range(materials)
        for opens in [480 + 60 * int(rng.integers(0, 4))]
    ]  # fmt: skip
    return CrewDay(tuple(jobs), minutes, sites, 420.0)


NEAR_SHARE, MEAN_SHARE = 0.9, 0.99
"""What the search without a proof reaches of the best worth: on every day, and in the mean."""


def test_the_search_without_a_proof_comes_near_the_best() -> None:
    """Held against the exact search, itself held against every order above."""
    shares = []
    for seed in range(60):
        day = _random_day(seed, 3 + seed % 8, (30, 60, 90)[seed % 3], 1 + seed % 2)
        best = route_of(day)
        assert best.proven
        near = route_of(day, most=0, widest=60)  # so narrow that it must leave labels behind
        _keeps_to_the_hours(near, day.minutes, day.home, day.ready_min)
        assert near.rank >= best.rank
        if not near.proven:
            shares.append(near.worth / best.worth)
    assert len(shares) >= 20
    assert min(shares) >= NEAR_SHARE
    assert np.mean(shares) >= MEAN_SHARE


@pytest.mark.parametrize("widest", [1, 50])
def test_more_sites_than_can_be_told_exactly_are_planned_all_the_same(widest: int) -> None:
    day = _random_day(1, 24, 45, 1)
    route, again = (route_of(day, most=3000, widest=widest) for _ in range(2))
    assert route == again
    assert (route.proven, route.way) == (False, "label search")
    _keeps_to_the_hours(route, day.minutes, day.home, day.ready_min)
    assert len(route.stops) >= 6
    left = set(range(24)) - {job.site for job in route.jobs}
    others = [other for site in left for _, other in exchanged_routes(day, route, site)]
    assert others
    assert all(route.rank <= other.rank for other in others)
    for other in others:
        _keeps_to_the_hours(other, day.minutes, day.home, day.ready_min)


def test_a_full_book_of_open_sites_is_told_exactly() -> None:
    """Two-hour jobs, as most are: few fit into a day, however many sites are open."""
    day = _random_day(7, 30, 120, 2)
    assert route_of(day).proven


def test_no_sites_no_route() -> None:
    assert _best([], np.zeros((1, 1)), home=0).stops == ()
    assert _best([], np.zeros((0, 0))).proven


def test_the_crew_leaves_home_as_late_as_it_may() -> None:
    minutes = np.array([[0.0, 20.0], [20.0, 0.0]])
    (stop,) = _best([Job(0, "oil", 600, 720, 60, 1.0)], minutes, home=1).stops
    assert (stop.leave_min, stop.arrive_min, stop.start_min) == (580, 600, 600)


def test_great_circle_closed_forms() -> None:
    # pole to equator is a quarter of the circumference; a degree of the equator, 1/360 of it
    lat, lon = np.array([90.0, 0.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0, 180.0])
    km = great_circle_km(lat, lon)
    assert km[0, 1] == pytest.approx(math.pi / 2 * EARTH_RADIUS_KM)
    assert km[1, 2] == pytest.approx(2 * math.pi * EARTH_RADIUS_KM / 360)
    assert km[1, 3] == pytest.approx(math.pi * EARTH_RADIUS_KM)
    assert np.allclose(km, km.T)
    assert np.all(np.diag(km) == 0)


def test_a_nautical_mile_is_a_minute_of_arc() -> None:
    # 1852 m, the mean minute of latitude, to 0.1 %
    km = great_circle_km(np.array([45.0, 45.0 + 1 / 60]), np.zeros(2))
    assert km[0, 1] == pytest.approx(1.852, rel=1e-3)


def test_minutes_follow_speed_and_road() -> None:
    lat, lon = np.array([0.0, 0.0]), np.array([0.0, 1.0])
    # 111.195 km x 1.3 at 50 km/h
    assert driving_minutes(lat, lon)[0, 1] == pytest.approx(111.195 * 1.3 / 50 * 60, rel=1e-4)
    with pytest.raises(InputError, match=r"speed out of range.*road factor out of range"):
        driving_minutes(lat, lon, speed_kmh=0, road_factor=0.5)


def test_a_table_of_minutes_stands_over_the_estimate(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("from,to,minutes\nA,B,12\nB,home,7\nhome,B,9\n")
    out, left = with_minutes_table(np.full((3, 3), 30.0), ["A", "B", "home"], table)
    assert (out[0, 1], out[1, 0]) == (12, 12)  # both ways
    assert (out[1, 2], out[2, 1]) == (7, 9)  # unless given both ways
    assert (out[0, 2], left) == (30, 1)


def test_a_bad_table_tells_every_problem(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("from,to,minutes\nA,Nowhere,12\nA,B,soon\nA,B,-1\n")
    with pytest.raises(
        InputError, match=r"line 2: unknown place.*line 3: not min.*line 4: not min"
    ):
        with_minutes_table(np.zeros((2, 2)), ["A", "B"], table)
    with pytest.raises(InputError, match="cannot read the table"):
        with_minutes_table(np.zeros((2, 2)), ["A", "B"], tmp_path / "none.csv")


def test_a_table_may_name_places_that_are_not_planned(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("from,to,minutes\nA,Elsewhere,12\nA,B,14\n")
    out, left = with_minutes_table(np.zeros((2, 2)), ["A", "B"], table, others=True)
    assert (out[0, 1], left) == (14, 0)
    table.write_text("from,to,minutes\nA,Elsewhere,soon\n")
    with pytest.raises(InputError, match="not minutes"):
        with_minutes_table(np.zeros((2, 2)), ["A", "B"], table, others=True)


def test_of_equal_routes_the_one_with_the_least_driving() -> None:
    # sites at 10, 0 and 20 min along a road; the last opens so late that every order ends alike
    at = np.array([10.0, 0.0, 20.0])
    minutes = np.abs(at[:, None] - at)
    jobs = [Job(n, "oil", 0, 500, 60, 1.0) for n in (0, 1)] + [Job(2, "oil", 600, 660, 60, 1.0)]
    route = _best(jobs, minutes, ready_min=0)
    assert [stop.job.site for stop in route.stops] == [1, 0, 2]
    assert route.drive_min == 20


def test_an_earlier_end_is_kept_for_what_comes_after() -> None:
    # the first site is open late and early; only the early hours leave time for the second
    late, early = Job(0, "oil", 600, 720, 60, 1.0), Job(0, "oil", 480, 540, 60, 1.0)
    route = _best([late, early, Job(1, "oil", 540, 630, 60, 1.0)], np.zeros((2, 2)))
    assert route.worth == 2.0


def test_a_worthier_material_at_the_same_site_is_taken() -> None:
    jobs = [Job(0, "copper", 480, 720, 60, 0.2), Job(0, "oil", 600, 720, 60, 0.3)]
    (stop,) = _best(jobs, np.zeros((1, 1))).stops
    assert stop.job.material == "oil"
