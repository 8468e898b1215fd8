"""The client book on calendars small enough to play through by hand.

No outside source: the values of small cases are arithmetic, larger ones are played once more in
plain loops.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.jobs.visits.answer import served_share
from spraywindow.jobs.visits.book import Book, Client, Counts, Crew, make_book
from spraywindow.program.evenings import Decided, decide_evenings
from spraywindow.program.program import Program
from spraywindow.program.worth import Terms, program_moves

FIRST = dt.date(2025, 12, 1)


def _decided(program: Program, chances: np.ndarray, served: float = 1.0, **terms: Any) -> Decided:
    """What evenings decide that know tomorrow alone; chances are [day, material, winter]."""
    days, materials, winters = chances.shape
    ends = np.full((materials, winters), days - 1.0)
    counted = replace(Terms.of(program, **terms), served=served)
    moves = program_moves(program, days, counted)
    then = np.broadcast_to(ends, (days, materials, winters))
    return decide_evenings(chances[:, None], ends, then, moves, counted)


def _of(
    name: str,
    program: Program,
    chances: np.ndarray,
    lost: np.ndarray | None = None,
    first: dt.date = FIRST,
    **terms: Any,
) -> Client:
    winters = tuple(f"w{number}" for number in range(chances.shape[2]))
    gone = np.zeros(chances.shape, dtype=bool) if lost is None else lost
    usable = np.isfinite(chances).sum(axis=0)
    decided = [_decided(program, chances, **terms)]
    return Client.of(
        name, program, decided, gone, usable, first=first, winters=winters, left_out={}
    )


def _calendar(days: list[str]) -> np.ndarray:
    """One material; a row a winter, "x" for a day that surely holds, "o" for one as like as not."""
    chance = {"x": 1.0, "o": 0.5, ".": np.nan}
    return np.array([[chance[letter] for letter in winter] for winter in days]).T[:, None, :]


def _client(name: str, days: list[str], *, owed: int = 1, gap: int = 1, **more: Any) -> Client:
    return _of(name, Program.of(oil=(owed, gap)), _calendar(days), **more)


def serve(clients: list[Client], visits_a_day: int) -> list[Counts]:
    return Crew(clients, visits_a_day).rounds(range(len(clients)))


def book_of(*clients: Client, **more: Any) -> Book:
    return make_book(clients, **more)


def test_the_one_with_fewer_chances_left_goes_first() -> None:
    # both want day 0; B has no other day in either winter, A has three more
    many, few = _client("A", ["xxxx", "xxxx"]), _client("B", ["x...", "x..."])
    made = serve([many, few], 1)
    assert [rounds[0].tolist() for rounds in made] == [[1, 1], [1, 1]]


def test_there_is_no_hindsight() -> None:
    # winter 0: B's later days fail, but the other winter held them: A and B look alike, and the
    # order of the book decides, though hindsight would serve B first and A the day after
    first = _client("A", ["xx..", "xx.."])
    second = _client("B", ["x...", "xx.."])
    made = serve([first, second], 1)
    assert made[0][0].tolist() == [1, 1]
    assert made[1][0].tolist() == [0, 1]


def test_visits_a_day_and_gaps_are_kept() -> None:
    clients = [_client(name, ["xxx", "xxx"], owed=2, gap=2) for name in "ABC"]
    two = serve(clients, 2)
    # day 0: A, B; day 1: C; day 2: A, B again; C would need day 3
    assert [rounds[0, 0] for rounds in two] == [2, 2, 1]
    assert [rounds[0, 0] for rounds in serve(clients, 3)] == [2, 2, 2]


def test_different_materials_keep_their_days_apart() -> None:
    program = Program.of(oil=(1, 5), copper=(1, 5), between=2)
    (made,) = serve([_of("A", program, np.ones((3, 2, 1)))], 2)
    assert made[:, 0].tolist() == [1, 1]  # days 0 and 2
    assert serve([_of("A", program, np.ones((2, 2, 1)))], 2)[0].sum() == 1


def test_a_better_morning_is_not_waited_for_where_the_crew_will_not_come() -> None:
    # half a round for sure today, or a whole one tomorrow: with the crew on two mornings in five
    # that is 0.4 of a round
    days = ["ox", "ox"]
    waits = _client("A", days, rained_on=0.0)
    assert np.flatnonzero(waits.prizes[:, 0, 0]).tolist() == [1]
    goes = _client("A", days, rained_on=0.0, served=served_share(2, 5))
    assert goes.prizes[0, 0, 0] == np.float32(0.5 - 0.4)
    fewer = _client("A", days, rained_on=0.0, served=served_share(2, 10))
    assert fewer.prizes[0, 0, 0] == np.float32(0.5 - 0.2)


def test_a_round_washed_off_is_owed_again() -> None:
    calendar = _calendar(["xxx", "xxx"])
    lost = np.zeros(calendar.shape, dtype=bool)
    lost[0, 0, 1] = True
    again = {"lost": lost, "owed_again": 0.5}
    (made,) = serve([_of("A", Program.of(oil=(1, 1)), calendar, **again)], 1)
    assert made[0].tolist() == [1, 1]
    # the crew came twice: on the second day nobody else was served
    pair = [_of("A", Program.of(oil=(1, 1)), calendar, **again), _client("B", [".xx", ".x."])]
    assert [rounds[0].tolist() for rounds in serve(pair, 1)] == [[1, 1], [1, 0]]


def test_each_begins_at_its_own_leaf_fall() -> None:
    early, late = _client("A", ["x", "x"]), _client("B", ["x", "x"], first=FIRST.replace(day=3))
    assert [rounds[0].tolist() for rounds in serve([late, early], 1)] == [[1, 1], [1, 1]]


def test_shares_and_promises_are_counted() -> None:
    winters = ["x.x", "x.x", "x.x", "x.x", "x.."]
    book = book_of(_client("A", winters, owed=2), visits_a_day=1)
    (promise,) = book.promises
    assert (promise.alone.share, promise.alone.n) == (0.8, 5)
    assert promise.sure == (2,)
    strict = book_of(_client("A", winters, owed=2), promise=0.9)
    assert strict.promises[0].sure == (1,)


def test_the_one_who_stands_in_the_way_is_dropped_first() -> None:
    # two usable days for all, one visit a day: C wants both, A and B one each
    days = ["xx"] * 5
    clients = [_client("A", days), _client("B", days), _client("C", days, owed=2)]
    book = book_of(*clients, visits_a_day=1)
    assert [drop.site for drop in book.drops] == ["C"]
    assert {left.site: left.share.share for left in book.drops[0].leaves} == {"A": 1.0, "B": 1.0}


def test_nobody_is_dropped_for_one_who_cannot_finish_alone() -> None:
    book = book_of(_client("A", ["xx"] * 5), _client("B", [".."] * 5), visits_a_day=1)
    assert book.drops == ()
    assert book.promises[1].alone.share == 0.0


def test_a_single_winter_is_replayed_too() -> None:
    made = serve([_client("A", ["xx"]), _client("B", ["xx"])], 1)
    assert [rounds[0, 0] for rounds in made] == [1, 1]


def test_the_one_left_out_goes_next() -> None:
    # three usable days a winter, six visits owed: one a day makes 3, two a day all 6: the one left
    # out on the first day loses most on the second, since it still needs two of the mornings that
    # the crew may come
    days = ["x.x.x", "xx..x", "..xxx"]
    totals = []
    for most in (1, 2, 3):
        share = served_share(most, 3)
        clients = [_client(name, days, owed=2, served=share) for name in "ABC"]
        totals.append(sum(int(made.sum()) for made in serve(clients, most)))
    assert totals == [9, 18, 18]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**20), st.integers(1, 3))
def test_teams_side_by_side_are_each_played_by_itself(seed: int, visits_a_day: int) -> None:
    rng = np.random.default_rng(seed)
    clients = []
    for number in range(4):
        oil, copper = rng.integers(1, 4, 2).tolist()
        program = Program.of(oil=(oil, 3), copper=(copper, 4), between=1)
        chances = np.where(rng.random((12, 2, 3)) < 0.4, rng.random((12, 2, 3)), np.nan)
        lost = rng.random((12, 2, 3)) < 0.2
        first = FIRST + dt.timedelta(days=int(rng.integers(0, 3)))
        clients.append(_of(str(number), program, chances, lost, first, owed_again=(0.3, 0.6)))
    crew = Crew(clients, visits_a_day)
    teams = [[1, 2, 3], [0, 2, 3], [0, 1, 3], [0, 1, 2]]
    for team, ends, whole in zip(teams, crew.serve(teams), crew.whole(teams), strict=True):
        for winter in range(3):
            played = _played([clients[number] for number in team], winter, visits_a_day)
            for place, number in enumerate(team):
                client = clients[number]
                made = client.made[:, ends[place, winter]]
                assert made.tolist() == client.made[:, played[place]].tolist()
                assert np.all(made <= client.owed)
                assert whole[place, winter] == np.all(made == client.owed)


def _played(clients: list[Client], winter: int, visits_a_day: int) -> list[int]:
    """States at the end of one winter, one client after the other."""
    day0 = min(client.first for client in clients)
    states = [0] * len(clients)
    for day in range(20):
        wanted = []
        for number, client in enumerate(clients):
            own = day - (client.first - day0).days
            if 0 <= own < len(client.prizes):
                prize = client.prizes[own, states[number], winter]
                after = int(client.after[own, states[number], winter])
                if prize > 0:
                    wanted.append((-float(prize), number, after))
                states[number] = int(client.rest[states[number]])
        for _, number, after in sorted(wanted)[:visits_a_day]:
            states[number] = after
    return states
