"""The chance that a job holds: properties, its parts, and real evenings against what came.

Real evenings: hourly forecasts for New York and the analysis of the day after, October 2023 to
June 2025 (Open-Meteo.com, CC BY 4.0); the analysis is a model, so skill is overstated. The
coefficients are fitted on them, each winter judged by the rest in ``notebooks/fit_chance.py``:
here they are held against the bare verdict and the forecast's own chance of rain.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import brier_score_loss

from spraywindow.place import Place
from spraywindow.spray import COPPER, OIL, Material, Stretches, day_chances, score_hours
from spraywindow.spray.access import Access
from spraywindow.spray.chance import Jobs, Odds, came_true, fitted, most_lead_d
from spraywindow.spray.errors_by_lead import frost_chance
from spraywindow.spray.slots import find_slots, stretches
from tests.conftest import SHARED, needs_records
from tests.weeks import NOON, PLACE, fortnight, random_weather

MATERIALS = (OIL, COPPER)
DAYS = Access(8, 18)


def weighed(table: pd.DataFrame, material: Material, issued: int = 60) -> Stretches:
    """All stretches of a table that is forecast from a row on."""
    hours = score_hours(table, PLACE, material, forecast_from=table.index[issued])
    return stretches(hours, 2.0, access=DAYS)


def never_more(less: Stretches, more: Stretches) -> None:
    """No chance of the first is above that of the second; no figure counts as none."""
    assert np.array_equal(less.first, more.first)
    for one, two in ((less.chance, more.chance), (less.chance_dry, more.chance_dry)):
        assert (np.nan_to_num(one) <= np.nan_to_num(two) + 1e-12).all()


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.sampled_from(MATERIALS), st.floats(0.002, 0.2))
def test_less_knowledge_never_raises_a_chance(seed: int, material: Material, share: float) -> None:
    table = random_weather(seed)
    hidden = table.mask(np.random.default_rng(seed).random(table.shape) < share)
    hidden.attrs = table.attrs
    ahead = table.index >= table.index[60]  # of a record the chance is the verdict's
    hidden[~ahead] = table[~ahead]
    never_more(weighed(hidden, material), weighed(table, material))


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.sampled_from(MATERIALS), st.data())
def test_a_tighter_limit_never_raises_a_chance(
    seed: int, material: Material, data: st.DataObject
) -> None:
    hard = [limit for limit in material.limits if limit.kind == "hard"]
    limit = data.draw(st.sampled_from(hard))
    step = data.draw(st.floats(0.0, 1.0)) * (
        limit.width if limit.bound in ("at least", "above") else -min(limit.width, limit.value)
    )
    tight = material.with_limits(**{limit.name: replace(limit, value=limit.value + step)})
    table = random_weather(seed)
    issued = 0  # all of it forecast
    never_more(weighed(table, tight, issued), weighed(table, material, issued))


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.sampled_from(MATERIALS), st.integers(60, 239), st.floats(0.1, 20))
def test_more_forecast_rain_never_raises_a_chance(
    seed: int, material: Material, row: int, more_mm: float
) -> None:
    table = random_weather(seed)
    wetter = table.copy()
    wetter.iloc[row, table.columns.get_loc("rain_mm")] += more_mm
    never_more(weighed(wetter, material), weighed(table, material))


def test_no_figure_ranks_behind_every_figure() -> None:
    table = fortnight(wind_ms={row: 3.9 for row in range(NOON + 36, NOON + 60)})
    now = table.index[NOON - 60]
    slots = find_slots(score_hours(table, PLACE, OIL, now=now), now=now)
    figures = [slot.chance for slot in slots]
    told = [each for each in figures if each is not None]
    assert len(told) < len(figures)
    assert figures == sorted(told, reverse=True) + [None] * (len(figures) - len(told))
    lead = [(slot.best_start - now.tz_convert(slot.best_start.tz)).days for slot in slots]
    assert {days < most_lead_d() for days, each in zip(lead, figures, strict=True) if each} == {
        True
    }


def test_a_morning_is_the_likeliest_stretch_of_a_day_go_or_not() -> None:
    table = random_weather(3)
    hours = score_hours(table, PLACE, COPPER, now=table.index[60])
    found = stretches(hours, 2.0, access=DAYS, now=table.index[60])
    told = day_chances(hours, 2.0, DAYS, table.index[60])
    assert {"go", "no-go"} <= set(told["verdict"])
    for day, row in told.iterrows():
        own = found.chance[found.day == (day - pd.Timestamp(1970, 1, 1)).days]
        assert (np.isnan(own).all() and np.isnan(row["chance"])) or row["chance"] == pytest.approx(
            np.nan_to_num(own).max(), abs=1e-6
        )
        assert row["best_start"].tz_localize(None).normalize() == day


def test_jobs_side_by_side_equal_one_at_a_time() -> None:
    tables = [random_weather(seed, missing=0.002) for seed in (1, 2)]
    for table in tables:
        table.index = tables[0].index
    alone = [weighed(table, OIL, 0) for table in tables]
    hours = [score_hours(table, PLACE, OIL).attrs["background"].conditions for table in tables]
    both = type(hours[0])(
        {name: np.stack([e.columns[name] for e in hours], axis=1) for name in hours[0].columns},
        type(hours[0].sun)(*(part[:, None] for part in (
            hours[0].sun.elevation_deg, hours[0].sun.hours_from_rise_or_set, hours[0].sun.clear_wm2,
        ))),
        hours[0].setting, pressure_kpa=hours[0].pressure_kpa,
    )  # fmt: skip
    for column, one in enumerate(alone):
        first = one.first
        jobs = Jobs(first + np.arange(2)[:, None], (np.full(len(first), column),), first * 1.0)
        np.testing.assert_allclose(Odds(both, jobs).chances(OIL), one.chance, rtol=1e-12)


def test_frost_alone_is_the_measured_error_of_night_minima() -> None:
    # a logistic of 1.702 times the score is the normal distribution within 0.01: Johnson, Kotz,
    # Balakrishnan (1995), Continuous univariate distributions 2, section 23 (from memory)
    weight = fitted()["limits"]["frost"][0]
    for lowest_c in (-4.0, -1.0, 0.0, 1.0, 3.0, 6.0):
        wanted = float(frost_chance(lowest_c, 30.0))
        score = (lowest_c - 1.0) / 2.65
        assert 1.0 / (1.0 + np.exp(-weight * score)) == pytest.approx(wanted, abs=0.01)


def test_a_material_of_the_users_own_has_the_chance_of_its_limits() -> None:
    table = random_weather(11)
    own = replace(OIL, name="dormant wash", title="a wash", copper=True)
    one, two = weighed(table, own), weighed(table, OIL)
    np.testing.assert_array_equal(one.chance, two.chance)


def test_how_it_is_known_never_says_more_than_came() -> None:
    for day in range(1, most_lead_d() + 1):
        most = fitted()["most"][day - 1]
        above = [came_true(low / 10 + 0.05, day) for low in range(int(most * 10), 10)]
        cases, held = (sum(getattr(each, name) for each in above) for name in ("cases", "held"))
        assert cases == 0 or held / cases >= most - 0.1, day
    assert came_true(0.5, most_lead_d() + 1) is None


NEW_YORK = Place(40.78, -73.97, 40.0, "America/New_York")
EVERY = 4


def archive_table(raw: pd.DataFrame, *, chance: bool) -> pd.DataFrame:
    out = pd.DataFrame({
        "temp_c": raw.temp_c,
        "dew_point_c": np.minimum(raw.dew_point_c, raw.temp_c),
        "wind_ms": raw.wind_ms,
        "gust_ms": raw.gust_ms.clip(lower=0.0),
        "cloud": (raw.cloud_pct / 100.0).clip(0.0, 1.0),
        "rain_mm": raw.rain_mm.where(raw.rain_mm < 60) + raw.showers_mm.where(raw.showers_mm < 60)
        + raw.snowfall_cm / 0.7,
    }, dtype=float)  # fmt: skip
    if chance:
        out["rain_chance"] = raw.rain_chance_pct / 100.0
    return out


def real_mornings() -> pd.DataFrame:
    """Every fourth evening of October to April: chance, bare verdict, chance of rain, what came."""
    folder = SHARED / "data" / "forecast-archive"
    told = pd.read_parquet(folder / "evening_forecasts.parquet")
    after = pd.read_parquet(folder / "day_after_analysis.parquet")
    after.index = pd.DatetimeIndex(after.index).tz_localize("UTC")
    truth = archive_table(after[~after.index.duplicated()], chance=False).asfreq("h")
    came = {each.name: score_hours(truth, NEW_YORK, each)["verdict"] for each in MATERIALS}
    rows = []
    for number, (issued, raw) in enumerate(told.groupby("issued_utc")):
        now = pd.Timestamp(issued).tz_localize("UTC")
        if number % EVERY or 5 <= now.month <= 9:
            continue
        table = archive_table(raw.set_index(pd.DatetimeIndex(raw.valid_utc).tz_localize("UTC")),
                              chance=True)  # fmt: skip
        table = table[(table.index >= now.floor("h")) & (table.index < now + pd.Timedelta("9D"))]
        past = truth.loc[table.index[0] - pd.Timedelta("4D") : table.index[0] - pd.Timedelta("1h")]
        joint = pd.concat([past.assign(rain_chance=np.nan), table]).asfreq("h")
        joint.attrs = {"forecast_from": table.index[0]}
        for material in MATERIALS:
            days = day_chances(score_hours(joint, NEW_YORK, material), 2, now=now)
            for day, row in days.dropna(subset=["chance"]).iterrows():
                hours = pd.date_range(row["best_start"].tz_convert("UTC"), periods=2, freq="h")
                verdict = came[material.name].reindex(hours)
                lead = (day.date() - now.tz_convert(NEW_YORK.timezone).date()).days
                if lead < 1 or verdict.isna().any() or (verdict == "unknown").any():
                    continue
                rain = joint["rain_chance"].reindex(pd.date_range(hours[0], periods=24, freq="h"))
                rows.append((material.name, lead, row["chance"], row["verdict"] == "go",
                             1.0 - rain.max(), (verdict == "go").all()))  # fmt: skip
    return pd.DataFrame(rows, columns=["what", "lead", "chance", "bare", "dry", "held"])


@needs_records
def test_chances_of_real_evenings_came_true() -> None:
    mornings = real_mornings()
    assert len(mornings) > 700
    for what, cut in mornings.groupby("what"):
        for leads in ((1, 2), (3, 4)):
            own = cut[cut.lead.between(*leads)]
            base = np.full(len(own), own.held.mean())
            ours, usual, bare, dry = (
                brier_score_loss(own.held, each)
                for each in (own.chance, base, own.bare.astype(float), own.dry)
            )
            assert ours < min(usual, bare, dry), (what, leads)
            assert abs(own.chance.mean() - own.held.mean()) < 0.08, (what, leads)
    sure = mornings[mornings.chance >= 0.9]
    assert len(sure) > 10
    assert sure.held.mean() >= 0.85
