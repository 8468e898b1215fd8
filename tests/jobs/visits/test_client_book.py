"""The client book on calendars small enough to play through by hand."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from spraywindow.jobs.visits.book import Client, make_book, serve


def _client(name: str, days: list[str], *, owed: int = 1, gap: int = 1) -> Client:
    """One material; `days` is a row a winter, "x" for a usable day."""
    usable = np.array([[letter == "x" for letter in winter] for winter in days]).T[:, None, :]
    return Client(name, ("oil",), np.array([owed]), np.array([[gap]]), usable)


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
    usable = np.ones((3, 2, 1), dtype=bool)
    gaps = np.array([[5, 2], [2, 5]])
    client = Client("A", ("oil", "copper"), np.array([1, 1]), gaps, usable)
    (made,) = serve([client], 2)
    assert made[:, 0].tolist() == [1, 1]  # days 0 and 2
    short = Client("A", ("oil", "copper"), np.array([1, 1]), gaps, usable[:2])
    assert serve([short], 2)[0].sum() == 1


def test_shares_and_promises_are_counted() -> None:
    winters = ["x.x", "x.x", "x.x", "x.x", "x.."]
    book = make_book([_client("A", winters, owed=2)], tuple("abcde"), {}, visits_a_day=1)
    (promise,) = book.promises
    assert (promise.alone.share, promise.alone.n) == (0.8, 5)
    assert promise.sure == (2,)
    strict = make_book([_client("A", winters, owed=2)], tuple("abcde"), {}, promise=0.9)
    assert strict.promises[0].sure == (1,)


def test_the_one_who_stands_in_the_way_is_dropped_first() -> None:
    # two usable days for all, one visit a day: C wants both, A and B one each
    days = ["xx"] * 5
    clients = [_client("A", days), _client("B", days), _client("C", days, owed=2)]
    book = make_book(clients, tuple("abcde"), {}, visits_a_day=1)
    assert [drop.site for drop in book.drops] == ["C"]
    assert {left.site: left.share.share for left in book.drops[0].leaves} == {"A": 1.0, "B": 1.0}


def test_nobody_is_dropped_for_one_who_cannot_finish_alone() -> None:
    clients = [_client("A", ["xx"] * 5), _client("B", [".."] * 5)]
    book = make_book(clients, tuple("abcde"), {}, visits_a_day=1)
    assert book.drops == ()
    assert book.promises[1].alone.share == 0.0


def test_a_single_winter_is_replayed_too() -> None:
    made = serve([_client("A", ["xx"]), _client("B", ["xx"])], 1)
    assert [rounds[0, 0] for rounds in made] == [1, 1]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**20), st.integers(1, 3))
def test_what_is_served_was_open(seed: int, visits_a_day: int) -> None:
    rng = np.random.default_rng(seed)
    clients = [
        Client(str(n), ("oil", "copper"), rng.integers(0, 4, 2), np.array([[3, 1], [1, 4]]),
               rng.random((15, 2, 3)) < 0.4)
        for n in range(3)
    ]  # fmt: skip
    for number, made in enumerate(serve(clients, visits_a_day)):
        client = clients[number]
        assert np.all(made <= client.owed[:, None])
        assert np.all(made <= client.usable.sum(axis=0))
    total = sum(int(made.sum()) for made in serve(clients, visits_a_day))
    assert total <= 15 * 3 * visits_a_day


def test_most_urgent_first_shares_the_days_out() -> None:
    # three usable days a winter, six visits owed: one a day makes 3, two a day all 6 (the one
    # left out on the first day owes most on the second)
    days = ["x.x.x", "xx..x", "..xxx"]
    clients = [_client(name, days, owed=2) for name in "ABC"]
    totals = [sum(int(made.sum()) for made in serve(clients, k)) for k in (1, 2, 3)]
    assert totals == [9, 18, 18]
