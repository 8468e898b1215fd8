"""What a site's own answers teach of its chances, beside other fits and on a real archive."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.special import expit, logit

from spraywindow.place import Place
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.chance import most_chance
from spraywindow.spray.hours import score_hours
from spraywindow.spray.learned import CASES, FEWEST, GENERAL, Learned, information, learn
from spraywindow.spray.slots import day_chances, find_slots, slots_and_days
from spraywindow.weather.intervals import Array
from tests.conftest import SHARED, needs_records
from tests.weeks import NOON, PLACE, fortnight

TOMORROW_H = 12.0
chances = st.floats(0.0, 1.0)


def simulated(shift: float, slope: float, cases: int, seed: int = 11) -> tuple[Array, Array]:
    """Chances said at a site whose truth is shifted and stretched, and what held."""
    rng = np.random.default_rng(seed)
    said = rng.beta(0.8, 1.0, cases).clip(0.01, 0.99)
    return said, (rng.random(cases) < expit(shift + slope * logit(said))).astype(float)


def by_another(said: Array, held: Array, prior_cases: float) -> Array:
    """The same by a general minimiser under the bound."""
    usual, prior = np.array([0.0, 1.0]), prior_cases * information()
    terms = sm.add_constant(logit(said))

    def loss(b: Array) -> float:
        chance = expit(terms @ b)
        likely = -(np.log(np.where(held > 0, chance, 1 - chance))).sum()
        return float(likely + (b - usual) @ prior @ (b - usual) / 2)

    found = minimize(loss, usual, method="L-BFGS-B", bounds=[(None, None), (0.0, None)],
                     options={"ftol": 1e-15, "gtol": 1e-9})  # fmt: skip
    return np.asarray(found.x)


@pytest.mark.parametrize("prior_cases", [CASES, 3.0])
@pytest.mark.parametrize(
    ("shift", "slope", "cases"), [(0.0, 1.0, 12), (-1.5, 0.5, 60), (1.0, 2.0, 150), (0.0, -2.0, 90)]
)
def test_the_fit_is_that_of_a_general_minimiser(
    shift: float, slope: float, cases: int, prior_cases: float
) -> None:
    said, held = simulated(shift, slope, cases)
    found = learn(said, held, prior_cases=prior_cases)
    assert [found.shift, found.slope] == pytest.approx(
        by_another(said, held, prior_cases), abs=1e-4
    )
    assert (found.slope >= 0.0, found.cases) == (True, cases)


def test_without_its_prior_it_is_a_plain_logistic_regression() -> None:
    said, held = simulated(-0.7, 1.3, 500)
    plain = sm.Logit(held, sm.add_constant(logit(said))).fit(disp=0)
    found = learn(said, held, prior_cases=1e-9)
    assert [found.shift, found.slope] == pytest.approx(plain.params, abs=1e-6)


def test_a_known_shift_is_found_within_its_error() -> None:
    said, held = simulated(-0.9, 1.4, 4000)
    errors = sm.Logit(held, sm.add_constant(logit(said))).fit(disp=0).bse
    found = learn(said, held)
    assert abs(found.shift + 0.9) < 3 * errors[0]
    assert abs(found.slope - 1.4) < 3 * errors[1]


def test_as_many_cases_as_the_prior_weighs_go_half_the_way() -> None:
    # normal theory: equal information of prior and data puts the mean of both in the middle
    at_40 = np.mean([learn(*simulated(0.4, 1.0, CASES, seed)).shift for seed in range(400)])
    assert at_40 == pytest.approx(0.2, abs=0.05)
    assert Learned(cases=CASES).weight == 0.5


def test_below_ten_cases_nothing_is_shifted() -> None:
    said = np.linspace(0.1, 0.9, FEWEST - 1)
    few = learn(said, np.zeros(FEWEST - 1))
    assert (few.shift, few.slope, few.cases, few.weight) == (0.0, 1.0, FEWEST - 1, 0.0)
    assert few.in_use == "general"
    assert few.chance(said, np.full(len(said), TOMORROW_H)) is said
    enough = learn(np.append(said, 0.95), np.zeros(FEWEST))
    assert enough.in_use == "own"
    assert enough.shift < 0.0


def test_one_surprise_does_not_outweigh_the_rest() -> None:
    said, held = simulated(0.0, 1.0, 100)
    calm = learn(said, held)
    struck = learn(np.append(said, 1e-5), np.append(held, 1.0))
    assert struck.chance(np.array([0.3, 0.8]), np.full(2, TOMORROW_H)) == pytest.approx(
        calm.chance(np.array([0.3, 0.8]), np.full(2, TOMORROW_H)), abs=0.15
    )


@pytest.mark.parametrize(("said", "held"), [([0.1] * 12, [1.0] * 11), ([np.nan] * 12, [1.0] * 12)])
def test_what_is_no_pair_is_refused(said: list[float], held: list[float]) -> None:
    with pytest.raises(ValueError, match=r"shapes differ|unknown"):
        learn(said, held)


@given(
    st.lists(st.tuples(chances, st.booleans()), min_size=1, max_size=60),
    st.lists(chances, min_size=2, max_size=20),
    st.floats(0.0, 200.0),
)
def test_what_is_likelier_stays_so_and_nothing_passes_what_is_earned(
    cases: list[tuple[float, bool]], said: list[float], lead_h: float
) -> None:
    general = np.sort(said)
    lead = np.full(len(general), lead_h)
    found = learn([case[0] for case in cases], [case[1] for case in cases])
    own = found.chance(np.minimum(general, most_chance(lead)), lead)
    assert (np.diff(own) >= 0.0).all()
    assert (own <= most_chance(lead)).all()
    assert (own >= 0.0).all()


def test_slots_and_days_follow_the_site() -> None:
    table = fortnight()
    now = table.attrs["forecast_from"] = table.index[NOON - 24]
    hours = score_hours(table, PLACE, OIL)
    wet = Learned(-1.0, 1.0, 60)
    general, own = (day_chances(hours, now=now, learned=each) for each in (GENERAL, wet))
    ahead = general["chance"].between(0.0, 0.999)
    assert ahead.sum() >= 3
    for column in ("chance", "chance_dry"):
        assert own[column][ahead].to_numpy() == pytest.approx(
            expit(logit(general[column][ahead]) - 1.0)
        )
    # what is beyond the leads that earn a figure has none at this site either
    assert own["chance"].isna().tolist() == general["chance"].isna().tolist()
    (first, *_) = find_slots(hours, now=now, learned=wet)
    day = next(
        d for d in slots_and_days(hours, now=now, learned=wet)[1] if d.date == first.start.date()
    )
    assert day.chance == first.chance
    assert day.general is not None
    assert first.chance == pytest.approx(expit(logit(day.general) - 1.0))


ARCHIVE = SHARED / "data" / "forecast-archive"


@pytest.fixture(scope="module")
def winters() -> tuple[Array, Array]:
    """What evening forecasts said of copper the morning after, two cold halves, and what held.

    Data from Open-Meteo.com (CC BY 4.0); what came is the same service's analysis.
    """
    place = Place(40.78, -73.97, 40.0, "America/New_York")

    def table(raw: pd.DataFrame) -> pd.DataFrame:
        index = pd.DatetimeIndex(raw.index).tz_localize("UTC").rename("time")
        out = pd.DataFrame({
            "temp_c": raw.temp_c, "dew_point_c": np.minimum(raw.dew_point_c, raw.temp_c),
            "wind_ms": raw.wind_ms, "gust_ms": raw.gust_ms.clip(lower=0.0),
            "cloud": (raw.cloud_pct / 100).clip(0, 1),
            # single impossible amounts, and the service's ratio of snow to water
            "rain_mm": raw.rain_mm.where(raw.rain_mm < 60)
            + raw.showers_mm.where(raw.showers_mm < 60) + raw.snowfall_cm / 0.7,
            "rain_chance": raw.get("rain_chance_pct", np.nan) / 100,
        })  # fmt: skip
        return out.set_axis(index)[~index.duplicated()].asfreq("h")

    after = table(pd.read_parquet(ARCHIVE / "day_after_analysis.parquet"))
    came = score_hours(after.drop(columns="rain_chance"), place, COPPER)["verdict"].astype(str)
    day = pd.Timedelta("1D")
    said, held = [], []
    evenings = pd.read_parquet(ARCHIVE / "evening_forecasts.parquet").groupby("issued_utc")
    for issued, raw in evenings:
        now = pd.Timestamp(str(issued)).tz_localize("UTC").floor("h")
        if now.month in range(5, 10):
            continue
        ahead = table(raw.set_index("valid_utc")).loc[now : now + 4 * day]
        joint = pd.concat([after.loc[now - 3 * day : now - day / 24], ahead]).asfreq("h")
        joint.attrs = {"forecast_from": now}
        found = day_chances(score_hours(joint, place, COPPER), now=now)
        row = found.loc[now.tz_convert(place.timezone).tz_localize(None).normalize() + day]
        verdicts = came.reindex(
            pd.date_range(pd.Timestamp(row["best_start"]), periods=2, freq="h")
        ).tolist()
        if "no-go" in verdicts or set(verdicts) == {"go"}:
            said.append(row["chance"])
            held.append(set(verdicts) == {"go"})
    return np.array(said), np.array(held, dtype=float)


def skill(chance: Array, held: Array) -> float:
    return float(1 - ((chance - held) ** 2).mean() / (held.mean() * (1 - held.mean())))


@needs_records
@pytest.mark.parametrize(("shift", "slope"), [(1.2, 1.0), (-1.2, 1.0), (1.0, 0.6), (-1.0, 0.6)])
def test_a_season_of_answers_mends_chances_that_are_biased_at_a_site(
    winters: tuple[Array, Array], shift: float, slope: float
) -> None:
    general, held = winters
    assert len(held) > 380
    biased = expit(shift + slope * logit(general.clip(1e-3, 1 - 1e-3)))
    gains = []
    for first in (40, 150):
        found = learn(biased[:first], held[:first])
        own = found.chance(biased[first:], np.full(len(held) - first, TOMORROW_H))
        gains.append(skill(own, held[first:]) - skill(biased[first:], held[first:]))
    lost = skill(general[150:], held[150:]) - skill(biased[150:], held[150:])
    assert gains[0] > 0.0
    assert gains[1] > gains[0]
    assert gains[1] > 0.75 * lost  # most of what the bias took away


@needs_records
def test_where_nothing_is_biased_little_is_lost(winters: tuple[Array, Array]) -> None:
    general, held = winters
    lead = np.full(len(held), TOMORROW_H)
    for first, most in ((20, 0.03), (40, 0.04), (150, 0.02)):
        own = learn(general[:first], held[:first]).chance(general, lead)
        assert skill(own[first:], held[first:]) > skill(general[first:], held[first:]) - most
