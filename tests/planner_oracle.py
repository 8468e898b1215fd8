"""The plan as OR-Tools CP-SAT finds it: one variable a day and material, levels solved in turn."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from spraywindow.program.program import Program


def best_levels(
    chances: pd.DataFrame,
    program: Program,
    nearness: pd.DataFrame | None = None,
    last_days: dict[str, Any] | None = None,
) -> tuple[int, int, int]:
    """Give rounds in hundredths of priority, nearness in 1e-3 and margins in 1e-5."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    names, days = program.materials, list(chances.index)
    span = range(len(days))
    steps = np.rint(chances[list(names)].to_numpy() * 1e5)
    near = np.zeros(steps.shape)
    if nearness is not None:
        near = np.rint(nearness[list(names)].to_numpy() * 1e3)
    passes, rounds = [], [[[] for _ in span] for _ in names]
    goals: list[list[Any]] = [[], [], []]
    mixes = [tuple(names.index(name) for name in mix) for mix in program.tank_mixes]
    for held in [(number,) for number in range(len(names))] + mixes:
        for day in span:
            if not (steps[day, list(held)] >= 0).all():
                continue
            made = model.new_bool_var("")
            passes.append((held, day, made))
            for number in held:
                rounds[number][day].append(made)
                goals[0].append(round(program.entries[number].priority * 100) * made)
                goals[1].append(int(near[day, number]) * made)
                goals[2].append(int(steps[day, list(held)].min()) * made)
    for number, entry in enumerate(program.entries):
        every = sum(made for day in rounds[number] for made in day)
        done = len(entry.done)
        model.add(every <= max(0, entry.rounds - done))
        if entry.season_maximum is not None:
            model.add(every + done <= entry.season_maximum)
        for held, day, made in passes:
            late = last_days is not None and days[day] > last_days.get(names[number], days[-1])
            if number in held and late:
                model.add(made == 0)
            for before in entry.done:
                for other in held:
                    gap = program.days_between(names[other], names[number])
                    if abs((days[day] - pd.Timestamp(before)).days) < gap:
                        model.add(made == 0)
    for (held, day, made), (others, other_day, other) in combinations(passes, 2):
        gap = max(program.days_between(names[a], names[b]) for a in held for b in others)
        if abs(other_day - day) < gap or (day == other_day and set(held) & set(others)):
            model.add_bool_or([made.negated(), other.negated()])
    if program.metallic_copper_maximum_kg_ha is not None:
        used = sum(
            round(entry.metallic_copper_per_round_kg_ha * 100)
            * (len(entry.done) + sum(made for day in rounds[number] for made in day))
            for number, entry in enumerate(program.entries)
        )
        model.add(used <= round(program.metallic_copper_maximum_kg_ha * 100))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    levels = []
    for goal in goals:
        total = sum(goal)
        model.maximize(total)
        assert solver.solve(model) == cp_model.OPTIMAL
        levels.append(round(solver.objective_value))
        model.add(total == levels[-1])
    return levels[0], levels[1], levels[2]
