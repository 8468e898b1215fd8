"""An evening's answer in growers' words."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd

from spraywindow.days import day_words
from spraywindow.jobs.slots.advice import CLOSE, Decision
from spraywindow.jobs.slots.answer import SPACING, DayAnswer, Evening
from spraywindow.show import (
    EARLY,
    LABEL,
    SPRAYING,
    System,
    Words,
    can_show,
    clock,
    hours_words,
    reason_words,
    shown,
)
from spraywindow.site import LEAVES_ON, BlockState, Doubt, Site
from spraywindow.spray import (
    CATALOGUE,
    FAR_END,
    FEWEST,
    FORECAST_FROST_C,
    NO_ACCESS,
    NO_WORK,
    OF_FROST,
    STAGE,
    Limit,
    Material,
    Slot,
    background_of,
    most_lead_d,
    open_hours,
)
from spraywindow.trees import stage_words
from spraywindow.weather import COLUMNS, Hole

_HOUR = pd.Timedelta(hours=1)
_OWN_WORDS = {
    NO_ACCESS: "outside working hours",
    FAR_END: EARLY,
    STAGE: "growth stage",
    SPACING: "too soon after the last spray",
}
_SIDES = {
    "at least": "at least",
    "above": "more than",
    "at most": "at most",
    "below": "less than",
}
NOTHING_NEAR = "nothing near its limit"


THIRSTY = "trees may be thirsty: drought predisposes to oil burn, water first"
RISKY = 1 / 3
"""A go less likely to hold than this is called risky; P."""


def advice_word(evening: Evening) -> str:
    """The advice of an evening's first answer, else its verdict."""
    decision = evening.first.decision
    return evening.first.verdict if decision is None else decision.word


def limit_words(name: str, material: Material) -> str:
    """Growers' words for what holds an hour: a limit, the working hours, the end of the data."""
    return _OWN_WORDS.get(name) or material.limit(name).words


def reason(answer: DayAnswer, evening: Evening) -> str:
    """Why a day is as it is: the limit nearest to letting it go, with the value and the limit."""
    material = evening.material
    if answer.why:
        why = reason_words(answer.why, evening.site.units)
        return f"{EARLY}: {why}" if answer.early else why + if_open_words(answer, evening)
    if answer.verdict == "go" and answer.slot is not None:
        slot = answer.slot
        if slot.margin >= 1.0:
            return NOTHING_NEAR
        return f"nearest to its limit: {limit_words(slot.tightest, material)}"
    if answer.held_by == NO_ACCESS:
        return _no_access_words(answer.date, evening)
    words = limit_words(answer.held_by, material)
    if answer.verdict == "unknown":
        how = "cannot tell, weather is missing" if evening.holes else "cannot tell"
        how = EARLY if answer.early else how
        return untold_must(evening) or f"{how}; not ruled out: {words}"
    limit = material.limit(answer.held_by)
    if course := course_words(answer.date, evening):
        return course
    return words + _found_and_wanted(limit, answer.margin, evening)


PERHAPS = "?"
"""Before the limit of an hour that may be fit, and may not."""
MOST_TURNS = 4
"""Turns of a day that are told; P: one with more is said by the limit nearest to letting it go."""


def course_words(date: dt.date, evening: Evening) -> str:
    """How a day without a slot goes: "wet wood until 11:00; from 13:00 too windy".

    Empty where one limit holds it throughout, or it turns too often to be told.
    """
    turns = _turns(date, evening)
    if not 1 < len(turns) <= MOST_TURNS:
        return ""
    said = []
    for number, (name, start, end) in enumerate(turns):
        if not name:
            said.append(f"fit {hours_words(start, end)}")
            continue
        words = limit_words(name.removeprefix(PERHAPS), evening.material)
        words = f"perhaps {words}" if name.startswith(PERHAPS) else words
        if number == 0:
            said.append(f"{words} until {clock(end)}")
        elif number == len(turns) - 1:
            said.append(f"from {clock(start)} {words}")
        else:
            said.append(f"{hours_words(start, end)} {words}")
    return "; ".join(said)


def _turns(date: dt.date, evening: Evening) -> list[tuple[str, pd.Timestamp, pd.Timestamp]]:
    """Runs of a day's working hours, each with the limit that stops it ("" where none does).

    A limit is told as long as it stops, whichever other one comes to it.
    """
    ahead = evening.hours_ahead
    of_day = ahead[open_hours(ahead, evening.site.access)]
    of_day = of_day[pd.DatetimeIndex(of_day.index).date == date]
    turns: list[tuple[str, pd.Timestamp, pd.Timestamp]] = []
    for time, row in zip(of_day.index, of_day.to_dict("records"), strict=True):
        name = "" if row["verdict"] == "go" else str(row["held_by"])
        name = PERHAPS * (row["verdict"] == "unknown") + name
        if turns and turns[-1][2] == time:
            last, start, _ = turns[-1]
            if last == name or (name and row.get(last, 0.0) < 0.0):
                turns[-1] = last, start, time + _HOUR
                continue
        turns.append((name, time, time + _HOUR))
    return turns


def if_open_words(answer: DayAnswer, evening: Evening) -> str:
    """What the weather offers a drive to look: "; if the buds are still closed: go 12:00-16:00".

    Empty where the trees are not in question.
    """
    found = answer.if_open
    if found is None:
        return ""
    falling = any(state.open is None and state.block.stage in LEAVES_ON for state in evening.blocks)
    offer = f"; if the {'leaves are all down' if falling else 'buds are still closed'}: "
    if found.slot is None:
        return f"{offer}{found.verdict}, {reason(found, evening)}"
    return f"{offer}go {hours_words(found.slot.start, found.slot.end)}"


def _found_and_wanted(limit: Limit, margin: float, evening: Evening) -> str:
    """The value that stops a day beside the one that is wanted; empty where it has no unit."""
    found, system = found_value(limit, margin), evening.site.units
    if math.isnan(found) or not can_show(limit.unit) or limit.quantity.startswith("hours_dry"):
        return ""
    have, wanted = shown(found, limit.unit, system), shown(limit.value, limit.unit, system)
    if limit.quantity in OF_FROST:
        have += f" with {_taken_off(evening)} taken off for a forecast's error"
    if have == wanted:  # the rounded value would seem to fit
        return f" ({have}, just past the limit)"
    return f" ({have}; {_SIDES[limit.bound]} {wanted} wanted)"


def _taken_off(evening: Evening) -> str:
    """What a forecast's frost is judged less by: "1.5 °C", by night what nights taught as well."""
    seen = evening.site.setting.night_colder_c
    up_to = "up to " if seen else ""
    return f"{up_to}{shown(FORECAST_FROST_C + seen, 'K', evening.site.units)}"


def found_value(limit: Limit, margin: float) -> float:
    """The quantity that gave a margin, in the limit's unit; NaN where the cap of 1 hides it."""
    if math.isnan(margin) or math.isinf(margin) or margin >= 1.0:
        return math.nan
    away = margin * limit.width
    return limit.value + (away if limit.bound in ("at least", "above") else -away)


def _no_access_words(date: dt.date, evening: Evening) -> str:
    access, job_h = evening.site.access, evening.site.job_h
    if not access.works_on(date):
        return str(NO_WORK)
    left = " left" if date == evening.now.date() else ""
    return f"less than {job_h:g} h of working time{left}"


def opens_words(slot: Slot, evening: Evening) -> str:
    """What held the hour before a slot: a limit, the working hours, or nothing ("now")."""
    if slot.opens != NO_ACCESS:
        return limit_words(slot.opens, evening.material)
    if slot.start - _HOUR < evening.now:
        return "now"
    return "daylight" if evening.site.access.start_h is None else "working hours"


def closes_words(slot: Slot, evening: Evening) -> str:
    """What stops the hour after a slot: a limit, the working hours, or the end of the data."""
    if slot.closes == NO_ACCESS:
        return "dusk" if evening.site.access.end_h is None else "working hours"
    words = limit_words(slot.closes, evening.material)
    unknown = slot.closes != FAR_END and evening.hours["verdict"].get(slot.end) == "unknown"
    return f"{words} not ruled out" if unknown else words


def opening_and_closing(slot: Slot, evening: Evening) -> str:
    """What opens and what closes a slot, as a half sentence."""
    before, after = opens_words(slot, evening), closes_words(slot, evening)
    if slot.opens != NO_ACCESS:
        before = f"opens after: {before}"
    else:
        before = "open now" if before == "now" else f"opens with {before}"
    if slot.closes == NO_ACCESS:
        after = "closes at dusk" if after == "dusk" else f"closes with {after}"
    else:
        after = f"closes when: {after}" if slot.closes != FAR_END else f"after that {EARLY}"
    return f"{before}; {after}"


def headline(evening: Evening, answer: DayAnswer | None = None) -> str:
    """An answer in one line: the advice, else the verdict; hours, day, material, what closes it.

    `answer` is the evening's first by default.
    """
    answer = answer or evening.first
    decision = answer.decision
    when = "today" if answer.date == evening.now.date() else "tomorrow"
    day = f"{when} ({day_words(answer.date)})"
    slot = answer.slot
    if answer.verdict != "go" or slot is None:
        line = f"{answer.verdict} {day}, {evening.material.name}: {reason(answer, evening)}"
        aim = "" if decision is None or untold_must(evening) else next_chance(decision, evening)
        return f"{line}; {aim}" if aim else line
    hours = hours_words(slot.start, slot.end)
    hold = chance_words(slot).replace("\u00a0", " ")
    told = (
        f"{hours} {day}, {hold}; {opening_and_closing(slot, evening)}{weaker_words(evening, slot)}"
    )
    if decision is None or decision.advice is None:
        return f"go {hours} {day}, {evening.material.name}, {hold}; " + (
            f"{opening_and_closing(slot, evening)}{weaker_words(evening, slot)}"
        )
    what = " and ".join(decision.materials)
    if decision.advice == "spray":
        return f"spray {what} {told}"
    if decision.advice == "either":
        return f"either: {what} {told}; or {later_words(decision)}, worth about as much"
    return f"wait: {wait_words(decision)}; {what} could go {told}"


def wait_words(decision: Decision) -> str:
    """What is waited for, and how much more it is worth."""
    if decision.wait_for is not None:
        return f"{later_words(decision)}, {more_words(decision)}"
    if _nothing_later(decision):
        return "it is not worth its trip, and no later morning is likely to be"
    return f"a better morning is likely {BEYOND}, {more_words(decision)}"


BEYOND = "beyond the forecast's days"


def _nothing_later(decision: Decision) -> bool:
    """Whether hardly anything is to be expected of later mornings."""
    return decision.worth_waiting is None or decision.worth_waiting < CLOSE


def untold_must(evening: Evening) -> str:
    """Why no hour can be answered: the weather tells nothing of a required limit; else empty."""
    hours = evening.hours
    names = [n for n in evening.site.required if n in hours and hours[n].isna().all()]
    return f"required, but the weather does not tell: {', '.join(names)}" if names else ""


def weaker_words(evening: Evening, slot: Slot) -> str:
    """What makes a go a weaker one; empty without.

    Hard limits that the weather does not tell; of two forecasts asked for, one that tells alone.
    """
    told = evening.forecasts
    untils = [each.view.known_until for each in told]
    left = [
        each
        for each, until in zip(told, untils, strict=True)
        if until is not None and until >= slot.best_start
    ]
    alone = f"; by {left[0].source.name} alone, not by two" if len(left) == 1 else ""
    names = [
        limit_words(name, evening.material)
        for name in evening.not_judged
        if name != STAGE and evening.material.limit(name).kind == "hard"
    ]
    return (f"; unknown whether: {', '.join(names)}" if names else "") + alone


def later_words(decision: Decision) -> str:
    """What waiting aims at: "copper on Thu 15 Jan 09:00-12:00 (80 %)", or later mornings."""
    aim = decision.wait_for
    if aim is None:
        return "none of the later mornings" if _nothing_later(decision) else f"a morning {BEYOND}"
    words = f"{aim.material} on {day_words(aim.date)}"
    if aim.start is not None and aim.end is not None:
        words += f" {hours_words(aim.start, aim.end)}"
    return words if aim.chance is None else f"{words} ({100 * aim.chance:.0f} %)"


def more_words(decision: Decision) -> str:
    """What waiting is worth more than going: "worth 0.3 of a round more"."""
    if decision.worth_now is None or decision.worth_waiting is None:
        return ""
    more = decision.worth_waiting - decision.worth_now
    return f"worth {rounds_words(more)} more"


def rounds_words(rounds: float) -> str:
    """An amount of rounds: "0.30 of a round", "1.20 rounds"."""
    return f"{rounds:.2f} of a round" if rounds < 0.995 else f"{rounds:.2f} rounds"


def next_chance(decision: Decision, evening: Evening) -> str:
    """The next chance after a morning on which nothing goes; empty where none is to be expected.

    What waiting aims at, else the first slot of the week, else a morning that no forecast tells.
    """
    if decision.wait_for:
        return f"next chance: {later_words(decision)}"
    ahead = [slot for slot in evening.slots if slot.start.date() > decision.date]
    if not decision.owed:
        return ""
    if not ahead:
        return "" if _nothing_later(decision) else f"next chance: {BEYOND}"
    slot = min(ahead, key=lambda each: each.start)
    hours = hours_words(slot.start, slot.end)
    return f"next chance: {slot.material} on {day_words(slot.start.date())} {hours}"


def decision_line(evening: Evening) -> str:
    """What it costs to let the first morning pass, and what that goes by; empty where nothing is.

    The mornings left are those that are usable for any material asked for, as expected.
    """
    decision = evening.first.decision
    if decision is None or not decision.owed:
        return ""
    left = f"about {decision.left} usable mornings are left after it, by {decision.basis}"
    skip = decision.skip
    if skip is None or decision.advice is None:
        return left[:1].upper() + left[1:]
    cost = f"Letting it pass costs {rounds_words(skip.rounds)}"
    if skip.rounds < 0.005:
        cost = "Letting it pass costs nothing"
    told = skip.finish_now is not None and skip.finish_waiting is not None
    if told and decision.advice == "spray":  # of rounds made: no reason to go on a poor chance
        cost += (f"; all rounds are made in {100 * (skip.finish_now or 0.0):.0f} % of the winters "
                 f"with it, in {100 * (skip.finish_waiting or 0.0):.0f} % without")  # fmt: skip
    return f"{cost}; {left}"


def blocks_line(blocks: list[BlockState]) -> str:
    """Which blocks the answer is for, and which not, with the reason."""
    unseen = " (no stage noted, taken as dormant)"
    ready = [s.block.name + unseen * (s.block.stage is None) for s in blocks if s.open]
    parts = [f"For {', '.join(ready)}"] if ready else ["No block is ready"]
    for state in blocks:
        if not state.open:
            sure = "" if not ready else "not " if state.open is False else "not yet "
            parts.append(f"{sure}{state.block.name}: {state.why}")
    return "; ".join(parts)


def rounds_line(evening: Evening) -> str:
    """How far the program has come with the material; empty where it is not in the program."""
    name, program = evening.material.name, evening.site.program
    if name not in program.materials:
        return ""
    number = program.materials.index(name)
    entry = program.entries[number]
    done = f"{round(entry.rounds_done, 2):g} of {entry.rounds} rounds of {name} done"
    if entry.days_done:
        done += f", the last on {day_words(entry.days_done[-1])}"
    if entry.days_unfinished:
        return f"{done}; the next visit finishes the round begun, on the trees left out"
    return done if program.visits_allowed[number] else f"{done}: no round is owed"


def doubt_words(doubt: Doubt, system: System) -> str:
    """Which round is in doubt, why, and how to say what became of it."""
    round_ = f"{doubt.material} of {day_words(doubt.date)} (entry {doubt.entry})"
    return f"in doubt: {round_}, {reason_words(doubt.reason, system)}; {doubt_cure(doubt)}"


def doubt_lines(site: Site) -> list[str]:
    """The site's rounds in doubt, a sentence each."""
    return [f"I{doubt_words(each, site.units)[1:]}" for each in site.in_doubt]


def doubt_cure(doubt: Doubt) -> str:
    """How a round comes out of doubt."""
    command = f"`spraywindow log failed {doubt.entry}`"
    return f"it counts as made; mark it: {command}, or with --held"


def cautions(evening: Evening) -> list[str]:
    """The cautions of this answer: what the hours of its slot say, the material's, the usual."""
    lines = []
    slot = evening.first.slot
    if slot is not None:
        inside = evening.hours.loc[slot.start : slot.end - _HOUR]
        for limit in evening.material.limits:
            if limit.name not in inside or limit.kind == "hard":
                continue
            # a soft limit never stops: at 0 it speaks like a caution that is not met
            unmet = inside[limit.name] < 0 if limit.kind == "caution" else inside[limit.name] == 0
            if unmet.any():
                lines.append(f"{limit.words}: {limit.reason}")
        if evening.thirsty:
            lines.append(THIRSTY)
    material = evening.material
    usual = CATALOGUE.get(material.based_on or material.name, material)
    lines += [
        f"{state.block.name}: {stage_words(state.block.stage)} is past the usual last stage; only "
        "this label allows it, and it may burn"
        for state in evening.blocks
        if state.open and state.block.stage is not None and usual.stops(state.block.stage)
    ]
    return list(dict.fromkeys([*lines, *evening.material.cautions, *SPRAYING, LABEL]))


EVENING_WORDS: Words = {
    (Slot, "opens"): opens_words,
    (Slot, "closes"): closes_words,
    (DayAnswer, "reason"): reason,
    (Evening, "cautions"): lambda evening, _: cautions(evening),
}
"""What the JSON of an evening says in words."""


def opening_words(slot: Slot, evening: Evening) -> str:
    """What opens a slot: "before: wet wood", "from the start of work"."""
    words = opens_words(slot, evening)
    if slot.opens == NO_ACCESS:
        return "from the start of work" if words == "working hours" else f"from {words}"
    return f"before: {words}"


def closing_words(slot: Slot, evening: Evening) -> str:
    """What closes a slot: "after: too windy", "until the end of work"."""
    words = closes_words(slot, evening)
    if slot.closes == NO_ACCESS:
        return "until the end of work" if words == "working hours" else f"until {words}"
    return f"after: {words}"


NO_FIGURE = "too early to put a number on it"
DRY_APART = 0.05
"""Chances that differ by less are said as one."""


def chance_words(slot: Slot) -> str:
    """How likely a slot is to hold: "48 % likely to hold", with "risky" where it hardly will.

    Where the dry hours that are wanted after it are less likely, that chance stands behind it.
    """
    if slot.chance is None:
        return NO_FIGURE
    words = f"{chance_figure(slot.chance)} likely to hold"
    if slot.chance_dry is not None and slot.chance - slot.chance_dry >= DRY_APART:
        words += f" ({100 * slot.chance_dry:.0f}\u00a0% with the dry hours wanted after it)"
    return words


def chance_figure(chance: float | None) -> str:
    """A chance for a column of that name: "48 %", "risky, 20 %", "no number yet"."""
    if chance is None:
        return "no number yet"
    risky = "risky, " if chance < RISKY else ""
    return f"{risky}{100 * chance:.0f}\u00a0%"


def how_known(evening: Evening) -> str:
    """How the chance of the first answer is known, and where chances end."""
    known = evening.chance_known
    over = f"no number is put on mornings more than {most_lead_d()} days ahead"
    if known is None:
        return f"Chances: {over}{_own_words(evening)}"
    said = f"{100 * known.low:.0f}-{100 * known.high:.0f} %"
    came = f"{known.held} of {known.cases} jobs held" if known.cases else "no job was judged"
    return (f"Chances: where {said} was said so far ahead, {came} ({known.over}; "
            f"{known.mornings} mornings in all){_own_words(evening)}; {over}")  # fmt: skip


def _own_words(evening: Evening) -> str:
    """What the site's own answers have to do with it, once there are any."""
    learned = evening.site.learned
    if not learned.cases:
        return ""
    if not learned.weight:
        return (f"; {learned.cases} of this site's own answers judged so far, they count from "
                f"{FEWEST} on")  # fmt: skip
    return (f"; drawn to this site's own {learned.cases} answers, which weigh "
            f"{100 * learned.weight:.0f} %")  # fmt: skip


def held_words(answer: DayAnswer, evening: Evening) -> str:
    """What holds a day without a slot, in a word or two."""
    if not answer.held_by:
        return EARLY
    if answer.held_by == NO_ACCESS:
        return reason(answer, evening)
    if answer.held_by == STAGE and answer.verdict == "unknown":
        return "look at the buds first"
    words = limit_words(answer.held_by, evening.material)
    return f"not ruled out: {words}" if answer.verdict == "unknown" else words


def dew_line(evening: Evening) -> str:
    """When the wood dries on the first day: "dry from about 10:00, sure from 12:00".

    Empty where it is dry from first light on, or in no hour, or the material does not ask.
    """
    if all(limit.quantity != "hours_dry" for limit in evening.material.limits):
        return ""
    day = evening.first.date
    dry_from = background_of(evening.hours).dry_from(day)
    if dry_from is None:
        return ""
    about, sure = dry_from
    words = f"dry from {clock(about)}"
    if about != sure:
        words = f"dry from about {clock(about)}, "
        words += "never surely" if sure is None else f"sure from {clock(sure)}"
    return f"The wood on {day_words(day)}: {words}"


MOST_HOLES = 4
"""Holes that one line names."""


def untold_lines(evening: Evening) -> list[str]:
    """What the weather does not tell: hours that are missing, limits that are not judged."""
    lines = []
    if evening.holes:
        lines.append(f"Missing in the weather: {'; '.join(map(_hole_words, _widest(evening)))}")
    names = [limit_words(name, evening.material) for name in evening.hours.attrs["not_judged"]]
    if names:
        lines.append(f"Look on site, this weather does not tell whether: {', '.join(names)}")
    return lines


def _widest(evening: Evening) -> list[Hole]:
    """The longest holes, as many as one line holds, in order of time."""
    longest = sorted(evening.holes, key=lambda hole: hole.start - hole.end)[:MOST_HOLES]
    return sorted(longest, key=lambda hole: hole.start)


def _hole_words(hole: Hole) -> str:
    same = hole.start.date() == (hole.end - pd.Timedelta(hours=1)).date()
    until = "24:00" if same and clock(hole.end) == "00:00" else clock(hole.end)
    last = until if same else f"{day_words(hole.end.date())} {until}"
    return f"{COLUMNS[hole.column].name} {day_words(hole.start.date())} {clock(hole.start)}-{last}"
