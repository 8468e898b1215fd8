"""The site in the perfect fortnight: sun, still air, drift, frost hollow, wet and drying wood."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from spraywindow.place import Place
from spraywindow.spray.catalogue import COPPER, OIL
from spraywindow.spray.conditions import Setting
from spraywindow.spray.hours import score_hours
from tests.spray.test_conditions import conditions
from tests.weeks import NIGHT, NOON, PLACE, colder, dew_for, fortnight, hour

EQUATOR = Place(0.0, 23.0, 0.0, "Etc/GMT-2")


@pytest.mark.parametrize(
    ("temp", "humid", "cloud", "expected"),
    [(15.0, 60.0, 0.1, "go"), (15.01, 60.0, 0.79, "no-go"), (15.01, 60.0, 0.8, "go")],
)
def test_high_sun_counts_only_where_warm_and_open(
    temp: float, humid: float, cloud: float, expected: str
) -> None:
    # 45 degrees of elevation, above 15 degC, under 80 % of cloud: common practice, no source.
    scored = hour(fortnight(temp, humid, cloud=cloud), OIL, place=EQUATOR)
    assert scored["verdict"] == expected
    if expected == "no-go":
        assert scored["held_by"] == "high sun"


def test_once_dry_earlier_is_kinder_than_the_high_sun() -> None:
    # Common practice, no source: falling from 30 to 45 degrees of clear sun, in any warmth, and
    # never a stop. On the equator in January the sun is at 45 degrees some 3 h before noon.
    for temp in (8.0, 14.0):
        scored = score_hours(fortnight(temp, cloud=0.2), EQUATOR, OIL)
        day = scored["earlier sun"].iloc[NOON - 12 : NOON + 6]
        assert day.iloc[0] == 1.0
        assert (np.diff(day) <= 0.0).all()  # the sinking sun of the afternoon gains nothing back
        assert day.iloc[12:].eq(0.0).all()
        assert day.between(0.01, 0.99).any()
        assert not (scored["verdict"].eq("no-go") & scored["held_by"].eq("earlier sun")).any()
    cloudy = score_hours(fortnight(cloud=0.9), EQUATOR, OIL)
    assert cloudy["earlier sun"].eq(1.0).all()
    untold = hour(fortnight(cloud=None), OIL, place=EQUATOR)
    assert (untold["earlier sun"], untold["verdict"]) == (0.0, "go")  # it may be clear


def test_warmth_at_the_end_of_the_hour_counts_for_the_high_sun() -> None:
    table = colder({NOON + 1: 15.5}, temp_c=14.0, cloud=0.2)
    assert hour(table, OIL, place=EQUATOR)["held_by"] == "high sun"


def test_sun_on_wood_adds_a_kelvin_for_each_100_watts() -> None:
    # 0.010 K per W/m2, common practice: 22 degC under 740 W/m2 is 29.4 degC on the wood.
    for solar, verdict in ((740.0, "go"), (741.0, "no-go")):
        scored = hour(fortnight(22.0, cloud=0.9, solar_wm2=solar), OIL, place=EQUATOR)
        assert scored["verdict"] == verdict
        assert scored["sun on wood"] == pytest.approx((7.4 - 0.01 * solar) / 3.4, abs=1e-9)
        assert scored["held_by"] == "sun on wood"


def test_inversion_ends_about_an_hour_and_a_half_after_sunrise() -> None:
    # Extension: from 1-2 h before sunset to 1-2 h after sunrise. Sunrise is pvlib's.
    from pvlib.solarposition import get_solarposition, sun_rise_set_transit_spa

    still = fortnight(wind_ms=1.0, cloud=0.2)
    scored = score_hours(still, PLACE, COPPER)
    day = scored.loc["2021-01-15"]
    noon = pd.DatetimeIndex([pd.Timestamp("2021-01-15T12:00Z")])
    edges = sun_rise_set_transit_spa(noon, PLACE.latitude, PLACE.longitude).iloc[0]
    middle = day.index + pd.Timedelta(minutes=30)
    elevation = get_solarposition(middle, PLACE.latitude, PLACE.longitude)["elevation"].to_numpy()
    near = pd.Timedelta(hours=1.5)
    open_sky = (middle > edges.sunrise + near) & (middle < edges.sunset - near) & (elevation > 5)
    assert list(day["held_by"] != "inversion") == list(open_sky)
    assert 0 < open_sky.sum() < 9


@pytest.mark.parametrize(
    ("from_deg", "bearing", "verdict"),
    [
        (180.0, 45.0, "no-go"),  # the drift goes north; exactly 45 degrees off
        (180.0, 45.1, "go"),
        (180.0, 315.0, "no-go"),
        (200.0, 340.0, "no-go"),  # 20 and 340 lie 40 apart, over north
        (0.0, 0.0, "go"),  # the neighbour is upwind
        (90.0, 270.0, "no-go"),
        (np.nan, 90.0, "unknown"),
    ],
)
def test_drift_stops_within_45_degrees_downwind(
    from_deg: float, bearing: float, verdict: str
) -> None:
    # Common practice, no source.
    setting = Setting(neighbours_deg=(bearing,))
    for material in (OIL, COPPER):
        scored = hour(fortnight(wind_from_deg=from_deg), material, setting=setting)
        assert scored["verdict"] == verdict
        if verdict != "go":
            assert scored["held_by"] == "neighbours"


@pytest.mark.parametrize("from_deg", [0.0, 90.0, 360.0, np.nan])
def test_a_calm_drifts_any_way(from_deg: float) -> None:
    # WMO-No. 306: a calm is reported with direction 0; vanes start near 0.5 m/s (WMO-No. 8), and
    # the limit of 1 m/s is common practice
    setting = Setting(neighbours_deg=(0.0,))
    for row in (NOON, NOON + 1):  # at either end of the hour
        calm = fortnight(
            wind_from_deg=from_deg, wind_ms={**dict.fromkeys(range(336), 2.5), row: 0.9}
        )
        scored = hour(calm, COPPER, setting=setting)
        assert (scored["verdict"], scored["held_by"]) == ("no-go", "neighbours")
        assert scored["neighbours"] < 0.0
        assert hour(calm, COPPER)["verdict"] == "go"  # nobody is near


def test_a_wind_that_may_be_calm_may_drift_any_way() -> None:
    unknown = fortnight(wind_from_deg=0.0, wind_ms=np.nan)
    scored = hour(unknown, COPPER, setting=Setting(neighbours_deg=(0.0,)))
    assert np.isnan(scored["neighbours"])
    assert scored["verdict"] == "unknown"


def test_a_shelter_lowers_wind_and_gusts_and_makes_still_air_stiller() -> None:
    # Heisler and DeWalle (1988): 20 to 70 % of the open wind behind windbreaks
    windy, gusty = fortnight(wind_ms=7.0), fortnight(gust_ms=9.0)
    half = Setting(shelter=0.5)
    for open_, name in ((windy, "wind"), (gusty, "gusts")):
        assert hour(open_, COPPER)["held_by"] == name
        assert hour(open_, COPPER, setting=half)["verdict"] == "go"
    # 2.5 m/s break an inversion in the open, and have a direction
    dawn = fortnight(wind_ms=2.5, cloud=0.2)
    row = NOON - 4
    assert hour(dawn, COPPER, row)["inversion"] >= 0.0
    assert hour(dawn, COPPER, row, setting=half)["inversion"] < 0.0
    near = Setting(neighbours_deg=(0.0,), shelter=0.4)
    breeze = fortnight(wind_ms=2.0, wind_from_deg=0.0)
    assert hour(breeze, COPPER, setting=replace(near, shelter=1.0))["neighbours"] == 1.0
    assert hour(breeze, COPPER, setting=near)["neighbours"] < 0.0


def test_without_neighbours_the_direction_does_not_matter() -> None:
    scored = score_hours(fortnight(wind_from_deg=np.nan), PLACE, OIL)
    assert scored["go"].iloc[NOON]
    assert "neighbours" not in scored


def test_a_far_northern_noon_is_as_low_as_an_evening() -> None:
    # Common practice: sun under 5 degrees; at 64.5 N the January noon is at 4, hours from sunset.
    still = fortnight(wind_ms=1.0, cloud=0.2)
    north = Place(64.5, 23.0, 100.0, "Europe/Helsinki")
    assert hour(still, COPPER, place=north)["held_by"] == "inversion"
    assert hour(still, COPPER)["verdict"] == "go"


@pytest.mark.parametrize("temp", [12.0, 9.0])
def test_what_must_follow_a_spray_counts_from_when_it_is_dry(temp: float) -> None:
    dries = conditions(fortnight(temp)).drying_h
    first, last = int(dries.low[NOON]), int(dries.high[NOON])
    assert 1 <= first <= last <= 4
    # Copper wants 6 h without rain after it has dried, and no frost before: common practice
    for lead, verdict in ((first + 5, "no-go"), (last + 6, "go")):
        assert hour(fortnight(temp, rain_mm={NOON + lead: 0.254}), COPPER)["verdict"] == verdict
    for lead, verdict in ((first, "no-go"), (last + 1, "go")):
        assert hour(colder({NOON + lead: 0.0}, temp_c=temp), COPPER)["verdict"] == verdict
    # Oil must dry before rain or freeze: Kansas State, and common practice.
    gone = ("rain in 24 h", "dry spell", "frost in 24 h", "wet wood")
    loose = OIL.with_limits(**dict.fromkeys(gone))
    for lead, verdict in ((first - 1, "no-go"), (last, "go")):
        assert hour(fortnight(temp, rain_mm={NOON + lead: 0.254}), loose)["verdict"] == verdict


def test_wood_is_wet_two_hours_after_rain_and_longer_in_the_cold() -> None:
    # RH of 90 % and more is wet: Sentelhas 2008; 2 h after rain at 10 degC, 4 h below: practice.
    # A breeze in the sun dries the store sooner, so both rules agree on the rain's own hour only
    for temp, wait in ((10.0, 2), (9.9, 4)):
        table = fortnight(temp, 50.0, wind_ms=3.0, solar_wm2=400.0, rain_mm={NOON: 0.3})
        wet = score_hours(table, PLACE, OIL)["wet wood"].iloc[NOON - 1 : NOON + 8]
        # the hour before ends in the rain
        assert [margin >= 0 for margin in wet] == [row > wait for row in range(-1, 8)]
    damp = fortnight(cloud=None, dew_point_c={NOON: dew_for(12, 87.01)})
    assert hour(damp, OIL)["held_by"] == "wet wood"
    assert hour(damp, OIL, NOON - 1)["held_by"] == "wet wood"
    assert hour(fortnight(cloud=None, dew_point_c={NOON: dew_for(12, 86.9)}), OIL)["go"]


def test_when_wood_is_dry_likely_and_surely() -> None:
    # wet at 90 % by night; by day the humidity rule says dry at once, the balance has 0.3 mm to
    # take first: Sentelhas 2008 and 2006
    rows = {row: dew_for(12, 97) for row in range(NOON - 12, NOON - 3)}  # until 9:00 local time
    still = fortnight(cloud=0.0, wind_ms=1.6, dew_point_c=rows, rain_mm={NOON - 10: 2.0})
    day = pd.Timestamp("2021-01-15").date()

    def dry_from(table: pd.DataFrame, later: float = 0.0) -> list[int]:
        scored = score_hours(table, PLACE, OIL, setting=Setting(dew_off_h=later))
        found = scored.attrs["background"].dry_from(day)
        assert found is not None
        assert found[1] is not None
        surely = scored.tz_convert(PLACE.timezone)["wet wood"] >= 0
        assert surely.loc[found[1]]
        assert not surely.loc[found[1] - pd.Timedelta(hours=1)]
        return [time.hour for time in found]

    about, sure = dry_from(still)
    assert 9 <= about < sure < 14
    assert dry_from(still, 2.0) == [about + 2, sure + 2]
    background = score_hours(fortnight(), PLACE, OIL).attrs["background"]
    assert background.dry_from(day) is None  # dry from first light on
    soaked = fortnight(rh_pct=100.0, rain_mm=1.0)
    assert score_hours(soaked, PLACE, OIL).attrs["background"].dry_from(day) is None


def test_dew_off_moves_the_first_dry_hour() -> None:
    table = fortnight(rain_mm={NIGHT + 8: 1.0})  # by morning
    first = {}
    for later in (-1.0, 0.0, 2.0):
        scored = score_hours(table, PLACE, OIL, setting=Setting(dew_off_h=later))
        first[later] = np.flatnonzero(scored["go"].to_numpy()[NIGHT:])[0]
    assert first[2.0] == first[0.0] + 2
    assert first[-1.0] == first[0.0] - 1


@pytest.mark.parametrize(
    ("cloud", "wind", "row", "verdict"),
    [
        (0.29, 1.99, NIGHT, "no-go"),
        (0.30, 1.99, NIGHT, "go"),
        (0.29, 2.00, NIGHT, "go"),
        (0.29, 1.99, NOON + 24, "go"),  # by day the hollow is no colder
    ],
)
def test_a_frost_hollow_is_colder_on_clear_calm_nights(
    cloud: float, wind: float, row: int, verdict: str
) -> None:
    # Common practice, no source.
    table = colder({row: 3.0}, cloud={row: cloud}, wind_ms={row: wind})
    assert hour(table, OIL, setting=Setting(frost_hollow_c=3.0))["verdict"] == verdict
    assert hour(table, OIL)["verdict"] == "go"
