"""Season plans by an outside solver: HiGHS through scipy.optimize.milp.

Reads a list of problems as JSON and prints, for each, the value of every goal, the doses
and the seconds that it took. The model is written down here once more from the meaning of
the goals, without any of the shortcuts of the program that it checks:

    least relative shortage, then least relative excess, then least cost of packs,
    then fewest products, then least mass; each goal kept while the next is settled.

Leaves with status 3 where scipy is not installed.
"""

import json
import multiprocessing
import os
import sys
import time

try:
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_matrix
except ImportError:
    print("scipy is not installed", file=sys.stderr)
    sys.exit(3)

KG_PER_HA = 0.1  # g/m2


def first(value, fallback):
    return fallback if value is None else value


class Model:
    def __init__(self):
        self.lower, self.upper, self.whole = [], [], []
        self.at, self.least, self.most = [], [], []

    def column(self, lower, upper, whole=False):
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.lower) - 1

    def row(self, terms, least, most):
        row = len(self.least)
        self.at += [(row, column, value) for column, value in terms if value != 0.0]
        self.least.append(least)
        self.most.append(most)

    def minimise(self, terms, gap, seconds):
        cost = np.zeros(len(self.lower))
        for column, value in terms:
            cost[column] += value
        rows, columns, values = zip(*self.at)
        matrix = coo_matrix((values, (rows, columns)), shape=(len(self.least), len(self.lower))).tocsr()
        found = milp(
            cost,
            integrality=np.array(self.whole),
            bounds=Bounds(self.lower, self.upper),
            constraints=LinearConstraint(matrix, self.least, self.most),
            options={"mip_rel_gap": gap, "time_limit": seconds},
        )
        return found


def solve(problem):
    begun = time.perf_counter()
    plots, products = problem["plots"], problem["products"]
    area = sum(plot["area_m2"] for plot in plots)
    model = Model()
    dose, short, over, mass = {}, [], [], []
    for b, plot in enumerate(plots):
        share = plot["area_m2"] / area
        for p, product in enumerate(products):
            dose[b, p] = model.column(0.0, first(product["rate_max_g_per_m2"], 1e4))
            mass.append((dose[b, p], plot["area_m2"]))
        for element, need in plot["need_kg_per_ha"].items():
            scale = max(need, problem["excess_ref_kg_per_ha"].get(element, 1.0)) * KG_PER_HA
            supply = [
                (dose[b, p], q["content"].get(element, 0.0) * q["availability"].get(element, 1.0) / scale)
                for p, q in enumerate(products)
            ]
            column = model.column(0.0, np.inf)
            over.append((column, share))
            supply.append((column, -1.0))
            if need > 0.0:
                column = model.column(0.0, 1.0)
                short.append((column, share))
                supply.append((column, need * KG_PER_HA / scale))
            model.row(supply, need * KG_PER_HA / scale, need * KG_PER_HA / scale)
        for element, left in plot["caps_left_kg_per_ha"].items():
            left = max(left, 0.0) * KG_PER_HA
            unit = left if left > 0.0 else 1.0
            counted = [(dose[b, p], q["content"].get(element, 0.0) / unit) for p, q in enumerate(products)]
            model.row(counted, -np.inf, left / unit)
    cost, used = [], []
    for p, product in enumerate(products):
        unit = product["packs"][0]["mass_g"] if product["packs"] else 1000.0
        supply = [(dose[b, p], plot["area_m2"] / unit) for b, plot in enumerate(plots)]
        for pack in product["packs"]:
            column = model.column(0.0, 10_000.0, product["whole_packs"])
            cost.append((column, float(pack["price_minor"])))
            supply.append((column, -pack["mass_g"] / unit))
        model.row(supply, -np.inf, product["stock_g"] / unit)
        column = model.column(0.0, 1.0, True)
        used.append((column, 1.0))
        # More than meets every need in full is never part of a best plan.
        for b, plot in enumerate(plots):
            useful = 0.0
            for element, need in plot["need_kg_per_ha"].items():
                content = product["content"].get(element, 0.0) * product["availability"].get(element, 1.0)
                if content > 0.0:
                    useful = max(useful, need * KG_PER_HA / content)
            most = min(useful, first(product["rate_max_g_per_m2"], 1e4))
            model.upper[dose[b, p]] = most
            if most > 0.0:
                model.row([(dose[b, p], 1.0 / most), (column, -1.0)], -np.inf, 0.0)
    if problem["budget_minor"] is not None:
        model.row(cost, -np.inf, problem["budget_minor"])
    if problem["max_products"] is not None:
        model.row(used, -np.inf, problem["max_products"])

    goals = problem["goals"]
    values, kept, doses, cheapest, stopped = [], [], None, None, []
    for goal, terms in list(zip(["shortage", "excess", "cost", "products", "mass"], [short, over, cost, used, mass]))[:goals]:
        # Whole packs and whole products matter from the cost on, or where something is shared.
        gap = problem["pack_gap"] if goal == "cost" else 0.0
        found = model.minimise(terms, gap, problem["seconds"])
        for keep in 1e-7, 1e-6:
            # Kept to more digits than it holds rows to, an earlier goal can be out of its own reach.
            # The goals after the cost are then too fine to compare.
            if found.x is None and goal in ("excess", "cost"):
                for row, value in kept:
                    model.most[row] = value + keep * (1.0 + abs(value))
                found = model.minimise(terms, gap, problem["seconds"])
        if found.status == 1:
            stopped.append(goal)
        if found.x is None:
            doses = cheapest or doses
            seconds = time.perf_counter() - begun
            return {"values": values, "doses_g": doses, "failed": goal, "stopped": stopped, "seconds": seconds}
        value = float(sum(found.x[column] * weight for column, weight in terms))
        if goal == "products":
            value = float(round(value))
        values.append(value)
        kept.append((len(model.least), value))
        model.row(terms, -np.inf, value + problem["keep"] * (1.0 + abs(value)))
        doses = [[float(found.x[dose[b, p]]) * plot["area_m2"] for p in range(len(products))] for b, plot in enumerate(plots)]
        if goal == "cost":
            cheapest = doses
    bound = found.mip_dual_bound if goals == 3 else None
    seconds = time.perf_counter() - begun
    return {"values": values, "doses_g": cheapest or doses, "bound": bound, "stopped": stopped, "seconds": seconds}


if __name__ == "__main__":
    # The solver's own chatter goes to stdout: it is sent elsewhere.
    answer = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    problems = json.load(sys.stdin)
    if len(problems) == 1:
        answers = [solve(problems[0])]
    else:
        with multiprocessing.Pool(2) as pool:
            answers = pool.map(solve, problems, chunksize=4)
    json.dump(answers, answer)
    answer.close()
