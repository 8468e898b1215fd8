"""Oil and copper, as data. The label of the product in hand overrides every value.

"P" marks common practice without a source. Sources, short names: UC IPM: University of California
Statewide IPM Program, *Applying dormant or delayed-dormant treatments* (2017), *Oil burn* (2017);
UC Napa: UC Master Gardeners of Napa County (2013); WSU: Washington State University, *Horticultural
spray oil* (2022); USU: Utah State University tree-fruit advisory (2016); Kansas State extension;
Ontario: Ontario agriculture ministry, notice of 2006, *How weather conditions affect spray
applications*, *Rainfastness of fungicides* (2020); 3 CCR 6960: California Code of Regulations.
"""

from __future__ import annotations

from types import MappingProxyType

from spraywindow.spray.material import Limit, Material, Rainfast
from spraywindow.weather import MEASURABLE_MM

MPH = 0.44704

_SHARED = (
    Limit("wind", "wind_at_top", "at most", 10 * MPH, 2 * MPH, "m/s", "hard", "too windy",
          "spray drifts", "3 CCR 6960: 3-10 mph; extension: 3-8 mph comfortable"),
    Limit("calm", "wind_at_top", "at least", 0.0, 3 * MPH, "m/s", "soft", "dead calm",
          "droplets hang in still air", "3 CCR 6960: at least 3 mph"),
    Limit("gusts", "gust", "at most", 15 * MPH, 5 * MPH, "m/s", "hard", "too gusty",
          "spray drifts", "P"),
    Limit("inversion", "inversion", "below", 0.5, 0.5, "flag", "hard", "inversion",
          "cold still air carries droplets to neighbours",
          "extension: 1-2 h before sunset to 1-2 h after sunrise; the hourly flag is P"),
    Limit("neighbours", "degrees_off_downwind", "above", 45.0, 30.0, "deg", "hard",
          "wind is toward a neighbour", "what lies downwind must not be drifted on",
          "P; below 1 m/s any way: vanes and calms, WMO-No. 8 and 306"),
    Limit("hot dry air", "hot_dry_air", "at least", 0.0, 10.0, "points", "hard",
          "air too hot and dry", "droplets dry before they land",
          "Ontario: not when below 40 % humidity and above 25 °C"),
    Limit("wet-bulb gap", "wet_bulb_depression", "at most", 10.0, 2.0, "K", "soft",
          "droplets shrink", "fine droplets evaporate on the way",
          "Australian spray guidance: 2-8 K preferred, caution above 10"),
)  # fmt: skip

OIL = Material(
    name="oil",
    title="horticultural oil",
    limits=(
        Limit("cold", "temp", "at least", 4.4, 5.6, "degC", "hard", "too cold",
              "oil spreads and dries poorly, and freezes on the wood",
              "Kansas State: 40 °F; WSU: damage possible below 50 °F; USU: ideal from 50 °F"),
        Limit("heat", "temp", "at most", 29.4, 3.4, "degC", "hard", "too hot",
              "oil burns", "WSU: above 85 °F may damage"),
        Limit("sun on wood", "sun_temp", "at most", 29.4, 3.4, "degC", "hard",
              "sun too hot on the wood", "the sun warms the bark above the air",
              "P: air + 0.010 K per W/m2"),
        Limit("high sun", "warm_sun_elevation", "at most", 45.0, 15.0, "deg", "hard",
              "sun too high", "strong sun on fresh oil burns",
              "P: where warmer than 15 °C and cloud under 80 %"),
        Limit("earlier sun", "clear_sun_so_far", "at most", 45.0, 15.0, "deg", "soft",
              "late for the sun", "once the wood is dry, earlier is kinder than the high sun",
              "P: from 30 to 45 degrees in whatever warmth, cloud under 80 %"),
        Limit("frost in 24 h", "lowest_temp", "above", 0.0, 4.4, "degC", "hard", "frost too near",
              "oil before frost injures buds", "USU: above 32 °F, ideally 40 °F, for 24 h", 24),
        Limit("frost in 48 h", "lowest_temp_next_day", "above", 0.0, 4.4, "degC", "soft",
              "frost on the second day", "oil before frost injures buds",
              "Ontario 2006: not within 48 h of freezing", 24),
        Limit("heat in 48 h", "highest_temp", "below", 32.2, 2.8, "degC", "hard", "heat too near",
              "oil before heat burns", "UC IPM: not before weather above 90 °F", 48),
        Limit("humid", "humidity", "below", 95.0, 10.0, "%", "hard", "too humid",
              "the spray does not dry", "P"),
        Limit("wet wood", "hours_dry", "at least", 0.0, 2.0, "h", "hard", "wet wood",
              "oil does not hold on wet bark", "P; comfortable when 2 h dry"),
        Limit("drying", "hours_dry_before_trouble", "at least", 0.0, 4.0, "h", "hard",
              "too late to dry", "must dry before sunset, rain or freeze", "Kansas State; P"),
        Limit("rain in 24 h", "rain_ahead", "below", MEASURABLE_MM, MEASURABLE_MM, "mm", "hard",
              "rain within 24 h", "rain washes it off", "P: 24 h is the printed minimum", 24),
        Limit("dry spell", "rain_ahead", "at most", 2.0, 2.0, "mm", "hard",
              "rain too soon", "growers wait for 3-4 dry days",
              "P: 72 h wanted, a drizzle of 2 mm does no harm", 72),
        Limit("rain chance 24 h", "highest_rain_chance", "at most", 0.30, 0.30, "fraction", "hard",
              "chance of rain within 24 h", "rain washes it off", "P", 24),
        Limit("rain chance later", "highest_rain_chance", "at most", 0.40, 0.40, "fraction",
              "soft", "chance of rain later", "growers wait for 3-4 dry days", "P", 72),
        *_SHARED,
        Limit("very dry air", "very_dry_air", "at least", 0.0, 10.0, "points", "caution",
              "very dry warm air", "predisposes to oil burn", "P: below 30 % above 25 °C"),
        Limit("green and frost", "lowest_temp_either_side", "at least", 0.0, 2.0, "degC", "hard",
              "frost near green tissue", "green tissue is hurt by oil near frost",
              "Cornell extension 2021: several days either side of frost", 72),
    ),
    last_stage=53,
    least_days=5,
    rounds=3,
    usual_rate=0.02,
    highest_rate=0.03,
    days_apart=MappingProxyType({"sulfur": 30, "captan": 14}),
    rainfast=Rainfast(24, "P"),
    burns_thirsty=True,  # UC IPM Oil burn
    targets=(51,),  # late in dormancy, before bud burst: UC IPM
    cautions=(
        "Oil: not near freezing, in heat, on thirsty trees, or within 30 days of sulfur.",
        "Oil: not after bud burst unless the label allows it; never on open flowers.",
    ),
    source="UC IPM 2017, WSU 2022, USU 2016; rounds and gap are common practice",
)  # fmt: skip

COPPER = Material(
    name="copper",
    title="fixed copper",
    limits=(
        Limit("cold", "lowest_temp_until_dry", "above", 0.0, 4.0, "degC", "hard",
              "frost before it dries", "must dry before it freezes", "P: soft below 4 °C"),
        Limit("rain after drying", "rain_after_drying", "below", MEASURABLE_MM, MEASURABLE_MM, "mm",
              "hard", "rain soon after it dries", "rain within hours takes it off again",
              "Ontario 2020: rain within 2 h means assume lost; P: 6 h", 6),
        Limit("rain in 24 h", "rain_ahead", "below", MEASURABLE_MM, MEASURABLE_MM, "mm", "soft",
              "rain within 24 h", "24 h without rain are wanted", "P", 24),
        *_SHARED,
        Limit("damp bark", "hours_dry", "at least", 0.0, 2.0, "h", "caution", "damp bark",
              "copper takes damp bark, not dripping", "P"),
        Limit("green and frost", "lowest_temp", "at least", 0.0, 2.0, "degC", "hard",
              "frost after it on green tissue", "copper just before frost hurts green tissue",
              "Cornell extension 2021", 24),
    ),
    last_stage=59,
    least_days=5,
    rounds=5,
    copper=True,
    rainfast=Rainfast(2, "Ontario 2020: rain within 2 h means assume lost"),
    targets=(97, 51),  # just after leaf fall and just before bud swell: UC Napa
    cautions=(
        "Copper: toxic to water life, builds up in soil; no drains, ponds, streams or runoff rain; "
        "add up the year's copper. It can damage eyes for good.",
        "Copper on trees in leaf is risky for peach, plum and apricot.",
    ),
    source="UC Napa 2013, Ontario 2020; gap and rounds are common practice, the label decides",
)  # fmt: skip

CATALOGUE = MappingProxyType({material.name: material for material in (OIL, COPPER)})


def general_material(name: str) -> Material:
    """Give limits for a material that the catalogue does not know: those of copper, no facts.

    The user's own fields go over it; its cautions say that the label decides.
    """
    return Material(
        name=name,
        title=name,
        limits=COPPER.limits,
        last_stage=COPPER.last_stage,
        least_days=COPPER.least_days,
        rounds=1,
        cautions=(f"{name}: the limits are general ones; the label decides.",),
        source="P",
    )
