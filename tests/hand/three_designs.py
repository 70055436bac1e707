#!/usr/bin/env python3
"""Three battery installations worked out by hand: a house in the UK, one in Germany, one in the United States.

Reads nothing: neither the program's code nor its output nor its design files. What is given stands at the end of this file, what is
worked out goes into the tables of domain/tests/golden/designs, and domain/tests/designs_by_hand.rs compares every line with the program.
Where each formula comes from stands in README.md beside this file.

    python3 tests/hand/three_designs.py           writes the tables
    python3 tests/hand/three_designs.py --check   says whether they are what this script writes
"""

import sys
from decimal import Decimal, getcontext
from fractions import Fraction
from pathlib import Path

getcontext().prec = 50
TABLES = Path(__file__).resolve().parents[2] / "domain" / "tests" / "golden" / "designs"


# ---------------------------------------------------------------------------------------------------------------- numbers


def rounded(value):
    """To the millionth, half away from zero."""
    scaled = abs(value) * 10**6
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Fraction(whole if value >= 0 else -whole, 10**6)


class Number:
    """A figure twice: as somebody has it who goes on from what was written down, and without any rounding on the way."""

    def __init__(self, written, exact=None):
        self.written = Fraction(written)
        self.exact = self.written if exact is None else Fraction(exact)

    def _with(self, other, how):
        other = other if isinstance(other, Number) else Number(other)
        return Number(how(self.written, other.written), how(self.exact, other.exact))

    def __add__(self, other):
        return self._with(other, lambda a, b: a + b)

    def __sub__(self, other):
        return self._with(other, lambda a, b: a - b)

    def __mul__(self, other):
        return self._with(other, lambda a, b: a * b)

    def __truediv__(self, other):
        return self._with(other, lambda a, b: a / b)

    def __rmul__(self, other):
        return self * other

    def __radd__(self, other):
        return self + other

    def __rtruediv__(self, other):
        return Number(other) / self

    def __le__(self, other):
        return self.written <= (other.written if isinstance(other, Number) else other)

    def __gt__(self, other):
        return not self <= other

    def __lt__(self, other):
        return self.written < (other.written if isinstance(other, Number) else other)

    def __ge__(self, other):
        return not self < other

    def __str__(self):
        kept = rounded(self.written)
        # What was rounded on the way may move the last digit shown by a little and nothing more.
        slack = max(Fraction(3, 10**6), abs(self.exact) / 10**6)
        if abs(kept - self.exact) > slack:
            raise ArithmeticError(f"{float(kept)} is too far from {float(self.exact)}")
        sign, digits = ("-" if kept < 0 else ""), str(abs(kept.numerator * (10**6 // kept.denominator))).rjust(7, "0")
        return f"{sign}{digits[:-6]}.{digits[-6:]}".rstrip("0").rstrip(".")


def n(text):
    return Number(Fraction(text))


def note(value):
    """Writes a figure down: from here on it has six digits behind the point."""
    return Number(rounded(value.written), value.exact)


def by_decimal(value, function):
    """A root or a logarithm to fifty digits."""

    def of(fraction):
        return Fraction(function(Decimal(fraction.numerator) / Decimal(fraction.denominator)))

    return Number(of(value.written), of(value.exact))


def greatest(*values):
    return max(values, key=lambda value: value.written)


def least(*values):
    return min(values, key=lambda value: value.written)


def total(values):
    result = n("0")
    for value in values:
        result = result + value
    return result


# ------------------------------------------------------------------------------------------------- tables of the standards

# Greatest resistance of plain copper at 20 °C, Ω/km: solid and stranded, flexible (IEC 60228).
COPPER = {
    "6": ("3.08", "3.30"),
    "10": ("1.83", "1.91"),
}
COPPER_ALPHA = "0.00393"
WORKING_TEMPERATURE = "70"
# Ratings of fuses and breakers in A.
IEC_RATINGS = [10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250]
NEC_RATINGS = [15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250]
# Cross-sections that are sold, in mm².
SECTIONS = ["1.5", "2.5", "4", "6", "10", "16", "25", "35", "50", "70", "95", "120"]
# Device up to so many A, equipment ground of copper by gauge (NEC 250.122).
EQUIPMENT_GROUND = [(15, 14), (20, 12), (60, 10), (100, 8), (200, 6)]
# Instantaneous trip of a breaker by its characteristic, times its rating.
TRIP = {"B": 5, "C": 10, "D": 20}
# k of copper: separate with PVC, core of a cable with PVC.
HEAT_FACTOR = {"separate": 143, "core": 115}


def next_of(sizes, value):
    return next(n(str(size)) for size in sizes if n(str(size)) >= value)


def gauge(awg):
    """Cross-section of a gauge in mm², to the hundredth as tables have it: (π/4)·(0.127·92^((36−n)/39))²."""
    pi = Decimal("3.14159265358979323846264338327950288")
    diameter = Decimal("0.127") * (Decimal(36 - awg) / 39 * Decimal(92).ln()).exp()
    return n(str((pi / 4 * diameter * diameter).quantize(Decimal("0.01"))))


# ------------------------------------------------------------------------------------------------------------- the tables


class Table:
    """Lines of a design: what it is called, the formula with its numbers, what comes out, its limit, the verdict, a remark."""

    def __init__(self, title):
        self.rows = []
        self.title = title

    def add(self, name, formula, figures, limit, verdict, remark="-"):
        told = "; ".join(f"{what} = {value}" for what, value in figures) or "-"
        self.rows.append(" | ".join([name, formula, told, limit, verdict, remark]))

    def text(self):
        head = [f"# {self.title}", "# line | formula | figures | limit | verdict | remark"]
        return "\n".join(head + self.rows) + "\n"


def at_most(value, unit):
    return f"at most {value} {unit}"


def at_least(value, unit):
    return f"at least {value} {unit}"


def between(low, high, unit):
    return f"{low} {unit} to {high} {unit}"


def judged(good, why):
    return "pass" if good else f"fail: {why}"


MEASURE = "to be measured"


# ------------------------------------------------------------------------------------------------------- the direct side


def stack(t, g):
    """Cells in series: the voltage of one times their number. Returns the least and the greatest."""
    modules, cells = n(g["modules in series"]), n(g["cells per module"])
    low, high = modules * cells * n(g["cell empty"]), modules * cells * n(g["cell full"])
    window_low, window_high = n(g["window"][0]), n(g["window"][1])
    rating = n(g["DC devices rated"])
    limit = between(window_low, least(window_high, rating), "V")
    good = low >= window_low and high <= window_high and high <= rating
    formula = f"U = {modules} · {cells} · ({g['cell empty']} to {g['cell full']})"
    figures = [("least voltage", f"{low} V"), ("greatest voltage", f"{high} V")]
    t.add("stack in the inverter's window", formula, figures, limit, judged(good, "outside the window"))
    return low, high


def short_circuit(g, high):
    """Ohm: the greatest voltage over every resistance of one string and its way to the fault."""
    path = n(g["modules in series"]) * n(g["module resistance"]) + n(g["path resistance"])
    return high / path


def battery_current(t, g, low, high):
    """What the battery gives when it is nearly empty, and the fuse for it. Returns the current of one string."""
    strings = int(g.get("strings", "1"))
    power, efficiency = n(g["inverter power"]), n(g["efficiency"]) / 100
    drawn = note(power / (efficiency * low))
    drawn = greatest(drawn, n(g["charge current"]))
    own = note(drawn / strings)
    wanted = note(n("1.25") * own)
    ratings = NEC_RATINGS if g["place"] == "US" else IEC_RATINGS
    # A fault in one of several strings is fed by the others; beyond them each fuse meets what its own string gives.
    one = note(short_circuit(g, high))
    fault = note(one * max(strings - 1, 1))
    fuse, cable, maker = n(g["DC fuse"]), n(g["DC cable rated"]), n(g["DC fuse by maker"])
    good = wanted <= fuse <= least(cable, maker) and high <= n(g["DC devices rated"]) and fault <= n(g["DC breaking"])
    shared = f" / {strings}" if strings > 1 else ""
    formula = f"I = {power} / ({efficiency} · {low}){shared} = {own} A; 1.25 · I; I_k = U_max / ΣR"
    figures = [
        ("greatest current", f"{own} A"),
        ("least rating", f"{wanted} A"),
        ("next size", f"{next_of(ratings, wanted)} A"),
        ("fault current", f"{fault} A"),
    ]
    t.add("DC fuse", formula, figures, between(wanted, least(cable, maker), "A"), judged(good, "unsuitable fuse"))
    return own, one * strings


def warm(per_km, temperature):
    """Resistance of copper at a temperature, Ω/km."""
    return note(per_km * (n("1") + n(COPPER_ALPHA) * (n(temperature) - n("20"))))


def flexible(g):
    return n(g["DC cable Ω/km"]) if "DC cable Ω/km" in g else n(COPPER[g["DC cable"]][1])


def direct_drop(t, g, current, low):
    per_km = warm(flexible(g), WORKING_TEMPERATURE)
    length = n(g["DC cable length"])
    drop = note(2 * current * length * per_km / 1000)
    share = note(drop / low * 100)
    loss = note(drop * current)
    formula = f"ΔU = 2 · {current} · {length} · {per_km} / 1000; u = ΔU / {low}"
    figures = [("drop", f"{drop} V"), ("share", f"{share} %"), ("loss", f"{loss} W")]
    t.add("drop on the DC cable", formula, figures, at_most("1", "%"), judged(share <= 1, "drop too large (house figure)"))


# -------------------------------------------------------------------------------------------------- the alternating side


def line_current(g, power):
    """Of a three-phase unit a third flows in each line; across a split phase there is the whole voltage."""
    lines = 3 if g["inverter on"] == "three phases" else 1
    return note(n(power) / (lines * n(g["nominal voltage"])))


def alternating_device(t, g, current):
    american = g["place"] == "US"
    factor = n("1.25") if american else n("1")
    wanted = note(factor * current)
    device, cable = n(g["AC breaker"]), n(g["AC cable rated"])
    size = next_of(NEC_RATINGS if american else IEC_RATINGS, wanted)
    figures = [("least rating", f"{wanted} A"), ("next size", f"{size} A")]
    good = wanted <= device <= cable
    verdict = judged(good, "unsuitable breaker")
    t.add("AC breaker", f"{factor} · {current} A ≤ I_n ≤ I_z", figures, between(wanted, cable, "A"), verdict)
    fault, breaking = n(g["supply fault current"]), n(g["AC breaking"])
    verdict = judged(breaking >= fault, "breaking capacity")
    t.add("breaking capacity of the AC breaker", f"I_cn = {breaking} A ≥ I_k", [], at_least(fault, "A"), verdict)


def alternating_drop(t, g, current):
    """Annex G at cos φ = 1: b·ρ1·L/S·I with b = 2 for a single phase and 1 for three, line to neutral."""
    per_km = note(n("1000") * n("0.0225") / n(g["AC cable"]))
    ways = 1 if g["inverter on"] == "three phases" else 2
    length, nominal = n(g["AC cable length"]), n(g["nominal voltage"])
    drop = note(ways * current * length * per_km / 1000)
    share = note(drop / nominal * 100)
    most, house = g["AC drop limit"], " (house figure)" if g["AC drop limit is house"] else ""
    formula = f"ΔU = {ways} · {current} · {length} · {per_km} / 1000; u = ΔU / {nominal}"
    figures = [("drop", f"{drop} V"), ("share", f"{share} %")]
    verdict = judged(share <= n(most), f"drop too large{house}")
    t.add("drop or rise on the AC cable", formula, figures, at_most(most, "%"), verdict)


def section_by_line(line):
    """Table 54.2: as the line conductor up to 16 mm², 16 mm² up to 35 mm², then half of it."""
    if line <= 16:
        return line
    return n("16") if line <= 35 else line / 2


def protective(t, name, wanted, floor, there, formula):
    """A protective conductor: what heat or table ask for, and what a separate one has at least."""
    used = greatest(wanted, floor)
    figures = [
        ("least size", f"{wanted} mm²"),
        ("next size", f"{next_of(SECTIONS, wanted)} mm²"),
        ("size to use", f"{next_of(SECTIONS, used)} mm²"),
    ]
    t.add(name, formula, figures, at_least(used, "mm²"), judged(there >= used, "conductor too small"))


def protective_conductors(t, g):
    battery, inverter = "battery's protective conductor", "inverter's protective conductor"
    if g["place"] == "US":
        for name, device, there in [(battery, g["DC fuse"], g["battery PE"]), (inverter, g["AC breaker"], g["AC PE"])]:
            awg = next(gauge_ for most, gauge_ in EQUIPMENT_GROUND if int(device) <= most)
            size = gauge(awg)
            figures = [("least size", f"{size} mm²"), ("size to use", f"{size} mm²")]
            verdict = judged(n(there) >= size, "conductor too small")
            t.add(name, f"{device} A → {awg} AWG", figures, at_least(size, "mm²"), verdict)
        return
    # Separate and laid where nothing damages it.
    line = n(g["DC cable"])
    protective(t, battery, section_by_line(line), n("2.5"), n(g["battery PE"]), f"S by the DC conductor of {line} mm²")
    there = n(g["AC PE"])
    if "clearing time" in g:
        fault, time, k = n(g["supply fault current"]), n(g["clearing time"]), HEAT_FACTOR["core"]
        wanted = note(by_decimal(fault * fault * time, Decimal.sqrt) / k)
        protective(t, inverter, wanted, n("0"), there, f"S = √({fault}² · {time}) / {k}")
        return
    line = n(g["AC cable"])
    protective(t, inverter, section_by_line(line), n("0"), there, f"S by the AC conductor of {line} mm²")


def loop_limit(g):
    """Tripping current of the breaker and the loop through which just that flows. In the UK the voltage may be 0.95 of nominal."""
    trip = TRIP[g["AC breaker type"]] * n(g["AC breaker"])
    return trip, note(n(g["nominal voltage"]) * n(g["voltage factor"]) / trip)


def planned_loop(t, g):
    """The supply's loop and both conductors of the cable, warm: in TN only, for a TT house disconnects by its residual-current device."""
    trip, most = loop_limit(g)
    per_km = n(COPPER[g["AC cable"]][0])
    warmth = n("1") + n(COPPER_ALPHA) * (n(WORKING_TEMPERATURE) - n("20"))
    conductor = note(per_km * n(g["AC cable length"]) / 1000 * warmth)
    loop = n(g["supply loop"]) + 2 * conductor
    formula = f"{g['supply loop']} + 2 · {conductor} = {loop} Ω; U0 / I_a = {g['nominal voltage']} / {trip}"
    figures = [
        ("there", f"{loop} Ω"),
        ("tripping current", f"{trip} A"),
        ("greatest loop", f"{most} Ω"),
        ("greatest loop cold", f"{most} Ω"),
    ]
    t.add("loop as planned", formula, figures, at_most(most, "Ω"), judged(loop <= most, "loop too high"))


def disconnection(t, g):
    time = n(g["clearing time"])
    figures = [("there", f"{time} s")]
    verdict = judged(time <= n("0.4"), "too slow")
    t.add("disconnection time", "a final circuit in TN", figures, at_most("0.4", "s"), verdict)


def residual_type(t, g):
    """Type B, or A where the inverter's maker rules out a smooth direct fault current."""
    order = ["AC", "A", "F", "B"]
    wanted = "A" if g["no smooth DC"] else "B"
    good = order.index(g["RCD type"]) >= order.index(wanted)
    figures = [("least type", f"type {wanted}")]
    t.add("type of the RCD", f"type {g['RCD type']} chosen", figures, f"at least type {wanted}", judged(good, "type"))


def board(t, g, current):
    busbar, main, breaker = n(g["board"]), n(g["main fuse"]), n(g["AC breaker"])
    if g["place"] != "US":
        sources = breaker + n(g.get("breaker of the PV inverter", "0"))
        load = main + sources
        figures = [("load of the board", f"{load} A")]
        formula = f"{main} + {sources} A ≤ I_nA"
        t.add("board", formula, figures, at_most(busbar, "A"), judged(load <= busbar, "board overloaded"))
        return
    # 705.12(B): main and 125 % of the source against 120 % of the busbar, or all breakers but the main against the busbar.
    source = note(n("1.25") * current)
    load = main + source
    stretched = n("1.2") * busbar
    largest = note((stretched - main) / n("1.25"))
    breakers = n(g["load breakers"]) + greatest(breaker, source)
    by_stretch = load <= stretched and g["source at the far end"]
    good = breaker >= source and (load <= busbar or breakers <= busbar or by_stretch)
    formula = f"{main} + 1.25 · {current} ≤ 1.2 · {busbar}; or {g['load breakers']} + {breaker} ≤ {busbar}"
    figures = [
        ("load of the board", f"{load} A"),
        ("least source breaker", f"{source} A"),
        ("greatest inverter current", f"{largest} A"),
        ("sum of the breakers", f"{breakers} A"),
    ]
    t.add("board", formula, figures, at_most(stretched, "A"), judged(good, "board overloaded"))


def supply(t, g):
    """House and charging battery at once; a limit of the import holds back the battery and never the house."""
    house, charge, fuse = n(g["house demand"]), line_current(g, g["power drawn"]), n(g["main fuse"])
    both = house + charge
    formula = f"{house} + {charge} = {both} A"
    drawn = both
    if "import limit" in g:
        limit = n(g["import limit"])
        drawn = both if both <= limit else greatest(house, limit)
        formula += f", held to {limit} A"
    name = "house and charging battery on the supply fuse"
    t.add(name, formula, [("import", f"{drawn} A")], at_most(fuse, "A"), judged(drawn <= fuse, "overloaded"))


# ---------------------------------------------------------------------------------------------------------------- backup


def changeover(t, g, current):
    if not g["backup"]:
        t.add("changeover unit", "nothing is fed while the grid is away", [], "-", "does not apply: no backup")
        return
    before, there = n(g["main fuse"]), n(g["changeover"])
    wanted = greatest(before, current)
    formula = f"{before} A before it, {current} A from the inverter"
    verdict = judged(there >= wanted, "overloaded")
    t.add("changeover unit", formula, [("least rating", f"{wanted} A")], at_least(wanted, "A"), verdict)


def island(t, g, current):
    """Half as much again as the rated current flows into a fault; a breaker wants five or ten times its own."""
    fault = note(n("1.5") * current)
    kind, rating = g["backup breaker"]
    trip = TRIP[kind] * n(rating)
    formula = f"1.5 · {current} A against {TRIP[kind]} · {rating} A"
    figures = [("island fault current", f"{fault} A"), ("tripping current", f"{trip} A")]
    # The 1.5 are nobody's promise: only a residual-current device passes by it.
    verdict = "pass" if g["RCD in every backup circuit"] else "fail: no RCD"
    remark = "the breaker does not trip, the RCD must" if fault < trip else "-"
    t.add("fault while islanded", formula, figures, "-", verdict, remark)


def running(t, g):
    """Usable energy over the mean power; all loads at once within the inverter, the hardest start within its peak."""
    share = (n(g["reserve"]) - n(g["floor"])) / 100
    health, efficiency = n(g["health"]) / 100, n(g["efficiency"]) / 100
    usable = note(n(g["energy"]) * health * share * efficiency)
    mean = total(note(n(power) * n(duty) / 100) for power, duty, _ in g["loads"])
    at_once = total(n(power) for power, _, _ in g["loads"])
    hardest = greatest(n("0"), *(n(start) - n(power) for power, _, start in g["loads"] if start))
    bears = at_once <= n(g["inverter power"]) and at_once + hardest <= n(g["inverter peak"])
    time = note(3600 * usable / (mean + n(g["standby"])))
    formula = f"E = {g['energy']} · {health} · {share} · {efficiency}; t = 3600 · E / ({mean} + {g['standby']})"
    figures = [("usable energy", f"{usable} Wh"), ("average power", f"{mean} W"), ("runtime", f"{time} s")]
    wanted = g.get("runtime wanted")
    good = bears and (wanted is None or time >= n(wanted))
    t.add("how long the loads run", formula, figures, at_least(wanted, "s") if wanted else "-", judged(good, "too short"))


# -------------------------------------------------------------------------------------------------------------- the place


def energy(t, g):
    """Nameplate energy of the place and of its largest unit, against what the place's rules say."""
    units = [n(unit) for unit in g["units"]]
    here, largest = total(units), greatest(*units)
    most, kind = g["energy limit"]
    if "unit limit" in g:
        assert largest <= n(g["unit limit"])
    verdict = "pass" if here <= n(most) else ("open: further demand" if kind == "demand" else "fail: too much energy")
    formula = " + ".join(str(unit) for unit in units) + " Wh"
    figures = [("energy here", f"{here} Wh"), ("largest unit", f"{largest} Wh")]
    t.add("energy of the place", formula, figures, at_most(most, "Wh"), verdict)


def distance(t, name, there, *asked):
    """The larger of what the rule and the maker ask for."""
    wanted = greatest(*(n(one) for one in asked))
    figures = [("there", f"{there} m"), ("least distance", f"{wanted} m")]
    t.add(name, "d ≥ rule and maker", figures, at_least(wanted, "m"), judged(n(there) >= wanted, "too close"))


def by_the_maker(t, g):
    for side, name in [("left", "left of"), ("right", "right of"), ("above", "above"), ("front", "in front of")]:
        there, maker = g["around"][side]
        distance(t, f"{name} the stack, by its maker", there, maker)


def answers(t, forbidden, demanded):
    for name in forbidden:
        t.add(name, "answered: no", [], "-", "pass")
    for name in demanded:
        t.add(name, "answered: yes", [], "-", "pass")


def working_depth(t, g, high):
    """NEC 110.26(A)(1): up to 150 V to ground 0.914 m; above it by what stands opposite."""
    by_opposite = {"clear": "0.914", "grounded": "1.067", "live": "1.219"}
    rule = "0.914" if high <= 150 else by_opposite[g["opposite"]]
    there, maker = g["around"]["front"]
    distance(t, "depth of the working space", there, rule, maker)


def standing(t, g):
    """Moments about the front edge, and the weight over the foot."""
    mass, height = n(g["stack mass"]), n(g["stack height"]) / 2
    depth, width, bracket, push = n(g["depth"]), n(g["width"]), n(g["bracket height"]), n(g["push"])
    weight = note(n("9.81") * mass)
    turning = note(weight * (push * height - depth / 2) / bracket)
    tips = note(depth / (2 * height))
    force = greatest(turning, n("0"))
    formula = f"W = 9.81 · {mass}; T = W · ({push} · {height} − {depth} / 2) / {bracket}"
    figures = [
        ("weight", f"{weight} N"),
        ("bracket force", f"{force} N"),
        ("turning force", f"{turning} N"),
        ("tipping factor", f"{tips}"),
    ]
    remark = "tips without its bracket" if push > tips else "-"
    capacity = n(g["bracket bears"])
    verdict = judged(force <= capacity, "overloaded")
    t.add("bracket of the stack", formula, figures, at_most(capacity, "N"), verdict, remark)
    pressure, bears = note(n("9.81") * mass / (width * depth)), n(g["floor bears"])
    formula = f"9.81 · {mass} / ({width} · {depth})"
    verdict = judged(pressure <= bears, "overloaded")
    t.add("pressure on the floor", formula, [("pressure", f"{pressure} Pa")], at_most(bears, "Pa"), verdict)


def hanging(t, g):
    """The couple of weight and wall pulls the upper half of the anchors, the weight shears all; by ACI 318 with 1.4."""
    wall = g["wall"]
    count = n(wall["anchors"])
    weight = note(n("9.81") * n(wall["mass"]))
    top = note(weight * n(wall["gravity"]) / n(wall["lever"]))
    pull, shear = note(n("1.4") * top / (count / 2)), note(n("1.4") * weight / count)
    by_pull, by_shear = note(pull / n(wall["pull bears"])), note(shear / n(wall["shear bears"]))
    together = by_pull + by_shear
    # Full resistance needs 1.5 times the embedment to the edge and 3 times it between two.
    stands = n(wall["edge"]) >= n("1.5") * n(wall["embedment"]) and n(wall["spacing"]) >= 3 * n(wall["embedment"])
    assert stands
    good = by_pull <= 1 and by_shear <= 1 and together <= n("1.2")
    couple = f"{wall['gravity']} / {wall['lever']}"
    formula = f"W = 9.81 · {wall['mass']}; N = 1.4 · W · {couple} / {count / 2}; V = 1.4 · W / {count}"
    figures = [("weight", f"{weight} N"), ("pull", f"{pull} N"), ("shear", f"{shear} N"), ("both shares", f"{together}")]
    t.add("wall anchors", formula, figures, "at most 1.2", judged(good, "overloaded"))


# --------------------------------------------------------------------------------------------------------------- the work


def arc(t, g, high, bolted):
    """0.01 · U · (I/2) · t / D², at 45 cm; two seconds where nobody knows the clearing time."""
    time, known = (n(g["arc time"]), True) if "arc time" in g else (n("2"), False)
    heat = note(n("0.01") * high * (bolted / 2) * time / (45 * n("45")))
    verdict = "open: arc-rated protection" if heat >= n("1.2") else "pass"
    formula = f"0.01 · {high} · ({note(bolted)} / 2) · {time} / 45²"
    t.add("heat of an arc", formula, [("heat", f"{heat} cal/cm²")], "below 1.2 cal/cm²", verdict, "-" if known else "2 s taken")


def gloves(t, g, high):
    most = n({"00": "750", "0": "1500"}[g["gloves"]])
    t.add("class of the gloves", f"{high} V DC, class {g['gloves']}", [], at_most(most, "V"), judged(high <= most, "voltage"))


def road(t, g):
    if g["place"] == "US":
        t.add("mass on the road", "the European agreement holds no law here", [], "-", "does not apply: no rule here")
        return
    count, mass = int(g["modules carried"]), n(g["module mass"])
    carried = count * mass
    points = 3 * carried
    figures = [("mass", f"{carried} kg"), ("points", f"{points}")]
    verdict = "pass" if carried <= 333 and points <= 1000 else "open: further demand"
    t.add("mass on the road", f"{count} · {mass} kg; 3 points a kilogram", figures, at_most("333", "kg"), verdict)


# --------------------------------------------------------------------------------------------------------------- the grid


def route(t, g, current):
    """The line that carries most of all inverters together."""
    worst = current
    if "PV inverter" in g:
        # A third of the three-phase one, and the whole of the one beside it.
        worst = note((n(g["inverter power"]) / 3 + n(g["PV inverter"])) / n(g["nominal voltage"]))
    most = g.get("notice up to")
    if g["consent"]:
        verdict = "pass"
    elif most and worst <= n(most) and g["type tested"]:
        verdict = "pass"
    else:
        verdict = "fail: consent first" if g["notice planned"] else "open: consent first"
    limit = at_most(most, "A") if most else "-"
    figures = [("current on the worst line", f"{worst} A")]
    t.add("route with the network operator", "ΣP / U on the worst line", figures, limit, verdict)


def german_grid(t, g):
    single = n(g["PV inverter"])
    limit = n("4600")
    good = single <= limit
    formula = f"single-phase units on L2: {single} VA"
    figures = [("single-phase power", f"{single} W")]
    t.add("unbalance between the phases", formula, figures, at_most(limit, "W"), judged(good, "unbalanced"))
    drawn = n(g["power drawn"])
    verdict = "pass" if drawn <= 4200 else "open: further demand"
    t.add("controllable by the operator", f"{drawn} W", [("drawn power", f"{drawn} W")], at_most("4200", "W"), verdict)


# ------------------------------------------------------------------------------------------- limits of what is measured


def band(t, g):
    low, high = g["band"]
    nominal = n(g["nominal voltage"])
    ends = [nominal * (n("100") + n(part)) / 100 for part in (low, high)]
    t.add("supply voltage", f"{nominal} V {low} / +{high} %", [], between(ends[0], ends[1], "V"), MEASURE)


def continuity(t, g):
    """What it should measure on the day, a tenth more, 10 mΩ a joint, 20 mΩ for the instrument; and never above a local cap."""
    per_km = n(g["battery PE Ω/km"]) if "battery PE Ω/km" in g else n(COPPER[g["battery PE"]][0])
    length, joints = n(g["battery PE length"]), int(g["battery PE joints"])
    warmth = n("1") + n(COPPER_ALPHA) * (n(g["ambient"]) - n("20"))
    expected = note(per_km * length / 1000 * warmth)
    most = note(n("1.1") * expected) + joints * n("0.01") + n("0.02")
    if "continuity cap" in g:
        most = least(most, n(g["continuity cap"]))
    formula = f"{per_km} · {length} / 1000 at {g['ambient']} °C; 1.1 · R + {joints} · 0.01 + 0.02"
    name = "continuity of the battery's protective conductor"
    t.add(name, formula, [("expected", f"{expected} Ω")], at_most(most, "Ω"), MEASURE)


def electrode(t, g):
    residual = n(g["RCD current"])
    most = note(n("50") / residual)
    t.add("earth electrode", f"50 / {residual}", [("greatest electrode", f"{most} Ω")], at_most(most, "Ω"), MEASURE)


def loop_cold(t, g):
    trip, most = loop_limit(g)
    cold = note(most * 2 / 3)
    figures = [("tripping current", f"{trip} A"), ("greatest loop", f"{most} Ω"), ("greatest loop cold", f"{cold} Ω")]
    t.add("loop, measured cold", f"2/3 · {g['nominal voltage']} / {trip}", figures, at_most(cold, "Ω"), MEASURE)


def trip_times(t, times):
    for multiple, most in times:
        t.add(f"trip time at {multiple} × the rated residual current", "general type", [], at_most(most, "s"), MEASURE)


def insulation(t, g, high):
    for name, volts in [("insulation of the DC cable", high), ("insulation of the AC cable", n(g["nominal voltage"]))]:
        test = "500" if volts <= 500 else "1000"
        t.add(name, f"{volts} V", [("test voltage", f"{test} V")], at_least("1000000", "Ω"), MEASURE)
    t.add("insulation of the data line", "extra-low voltage", [("test voltage", "250 V")], at_least("500000", "Ω"), MEASURE)


def termination(t):
    both = 1 / (1 / n("120") + 1 / n("120"))
    band_ = between(n("0.9") * both, n("1.1") * both, "Ω")
    t.add("termination of the data line", "120 Ω beside 120 Ω, ±10 %", [("expected", f"{both} Ω")], band_, MEASURE)


def discharge(t, g, high):
    """R·C·ln(U/10): until the reading that proves it dead can be had; the maker's time counts where it is longer."""
    resistance, capacitance = n(g["bleeder"]), n(g["capacitance"])
    time = note(resistance * capacitance * by_decimal(high / 10, Decimal.ln))
    stored = note(capacitance * high * high / 2)
    wait = greatest(time, n(g["wait by maker"]))
    formula = f"{resistance} · {capacitance} · ln({high} / 10); C · U² / 2"
    figures = [("time", f"{time} s"), ("stored energy", f"{stored} J"), ("wait", f"{wait} s")]
    t.add("wait before touching terminals", formula, figures, at_least(wait, "s"), MEASURE)


def papers(t, all_of_them):
    for name, when in all_of_them:
        t.add(f"paper: {name}", "-", [], when, "-")


# ------------------------------------------------------------------------------------------------------------ the designs


def electrical(t, g):
    low, high = stack(t, g)
    current, bolted = battery_current(t, g, low, high)
    direct_drop(t, g, current, low)
    own = line_current(g, g["inverter power"])
    alternating_device(t, g, own)
    alternating_drop(t, g, own)
    protective_conductors(t, g)
    return high, bolted, own


def united_kingdom():
    g = UK
    t = Table("By hand (a): UK, TT, one phase, 5 kW with backup, 10.24 kWh at an outdoor wall")
    high, bolted, own = electrical(t, g)
    residual_type(t, g)
    board(t, g, own)
    supply(t, g)
    energy(t, g)
    by_the_maker(t, g)
    sleeping = ["not in a room for sleeping", "not in a cupboard of a room for sleeping"]
    answers(t, [*sleeping, "not in an escape route", "not in a loft or void"], [])
    distance(t, "distance to doors and windows", g["to openings"], "1")
    distance(t, "distance to exits", g["to exits"], "1")
    distance(t, "distance to flammable goods", g["to flammable goods"], "2")
    answers(t, [], ["statement of conformity", "devices for both directions", "earthing while islanded"])
    standing(t, g)
    arc(t, g, high, bolted)
    gloves(t, g, high)
    road(t, g)
    changeover(t, g, own)
    island(t, g, own)
    running(t, g)
    route(t, g, own)
    band(t, g)
    continuity(t, g)
    electrode(t, g)
    trip_times(t, [("1", "0.3")])
    insulation(t, g, high)
    termination(t)
    discharge(t, g, high)
    papers(t, [("G99 application", "before"), ("G99 commissioning form", "28 days"), ("Part P notification", "30 days")])
    return t


def germany():
    g = DE
    t = Table("By hand (b): DE, TN-C-S, three phases, 10 kW, two stacks of 7.68 kWh in parallel, PV inverter of 4.6 kVA on L2")
    high, bolted, own = electrical(t, g)
    planned_loop(t, g)
    disconnection(t, g)
    residual_type(t, g)
    board(t, g, own)
    supply(t, g)
    energy(t, g)
    by_the_maker(t, g)
    answers(t, ["not in an escape route"], ["dry and ventilated", "devices for both directions"])
    standing(t, g)
    arc(t, g, high, bolted)
    gloves(t, g, high)
    road(t, g)
    changeover(t, g, own)
    route(t, g, own)
    german_grid(t, g)
    band(t, g)
    continuity(t, g)
    loop_cold(t, g)
    trip_times(t, [("1", "0.3"), ("2", "0.15"), ("5", "0.04")])
    insulation(t, g, high)
    termination(t)
    papers(
        t,
        [
            ("E.1 application with E.2 and E.3", "before"),
            ("E.8 commissioning protocol", "0 days"),
            ("MaStR entry, battery apart", "1 month"),
        ],
    )
    return t


def united_states():
    g = US
    t = Table("By hand (c): US, split phase 120/240 V, 11.4 kW across both lines, 15.36 kWh on an outdoor wall, 200 A panel")
    high, bolted, own = electrical(t, g)
    board(t, g, own)
    supply(t, g)
    energy(t, g)
    by_the_maker(t, g)
    distance(t, "distance to doors and windows", g["to openings"], "0.914")
    distance(t, "width of the working space", g["working width"], "0.762")
    distance(t, "height of the working space", g["working height"], "1.981")
    answers(
        t,
        ["not in a habitable room", "not in a room for sleeping", "not in a cupboard of a room for sleeping"],
        ["listed", "emergency shutdown outside"],
    )
    working_depth(t, g, high)
    hanging(t, g)
    arc(t, g, high, bolted)
    gloves(t, g, high)
    road(t, g)
    changeover(t, g, own)
    running(t, g)
    route(t, g, own)
    band(t, g)
    continuity(t, g)
    insulation(t, g, high)
    termination(t)
    papers(t, [("interconnection and permission to operate", "before"), ("permit and inspection", "before")])
    return t


UK = {
    "place": "UK",
    "modules in series": "4",
    "cells per module": "16",
    "cell empty": "2.8",
    "cell full": "3.6",
    "window": ("120", "500"),
    "DC devices rated": "600",
    "module resistance": "0.01",
    "path resistance": "0.02",
    "inverter power": "5000",
    "inverter peak": "7500",
    "inverter on": "one phase",
    "efficiency": "96",
    "charge current": "25",
    "power drawn": "5000",
    "standby": "40",
    "DC fuse": "40",
    "DC fuse by maker": "50",
    "DC cable rated": "57",
    "DC breaking": "10000",
    "DC cable": "6",
    "DC cable length": "3",
    "nominal voltage": "230",
    "AC breaker": "25",
    "AC cable rated": "40",
    "AC breaking": "6000",
    "supply fault current": "3000",
    "AC cable": "6",
    "AC cable length": "18",
    "AC drop limit": "1",
    "AC drop limit is house": True,
    "AC PE": "6",
    "battery PE": "6",
    "battery PE length": "12",
    "battery PE joints": "2",
    "ambient": "20",
    "no smooth DC": True,
    "RCD type": "A",
    "RCD current": "0.03",
    "board": "100",
    "main fuse": "80",
    "house demand": "45",
    "units": ["10240"],
    "energy limit": ("80000", "location"),
    "around": {"left": ("0.4", "0.2"), "right": ("0.5", "0.2"), "above": ("0.8", "0.3"), "front": ("1", "0.8")},
    "to openings": "1.2",
    "to exits": "2.5",
    "to flammable goods": "3",
    # Four modules and the control unit; base, modules and control unit one on the other.
    "stack mass": "128",
    "stack height": "0.88",
    "width": "0.6",
    "depth": "0.18",
    "bracket height": "0.7",
    "push": "0.1",
    "bracket bears": "1200",
    "floor bears": "20000",
    "arc time": "0.1",
    "gloves": "00",
    "modules carried": "4",
    "module mass": "28",
    "backup": True,
    "changeover": "100",
    "backup breaker": ("B", "25"),
    "RCD in every backup circuit": True,
    "energy": "10240",
    "health": "100",
    "reserve": "100",
    "floor": "5",
    "runtime wanted": "28800",
    # Power, share of the time in %, power at its start.
    "loads": [("300", "100", None), ("500", "40", "2000")],
    "notice up to": "16",
    "notice planned": True,
    "type tested": True,
    "consent": False,
    "band": ("-6", "10"),
    "bleeder": "20000",
    "capacitance": "0.0011",
    "wait by maker": "300",
}

DE = {
    "place": "DE",
    "modules in series": "3",
    "strings": "2",
    "cells per module": "16",
    "cell empty": "2.8",
    "cell full": "3.6",
    "window": ("120", "500"),
    "DC devices rated": "500",
    "module resistance": "0.01",
    "path resistance": "0.02",
    "inverter power": "10000",
    "inverter on": "three phases",
    "efficiency": "97",
    "charge current": "50",
    "power drawn": "10000",
    "DC fuse": "50",
    "DC fuse by maker": "63",
    "DC cable rated": "70",
    "DC breaking": "6000",
    "DC cable": "10",
    "DC cable length": "4",
    "nominal voltage": "230",
    "AC breaker": "16",
    "AC breaker type": "B",
    "AC cable rated": "40",
    "AC breaking": "6000",
    "supply fault current": "1800",
    "clearing time": "0.1",
    "AC cable": "6",
    "AC cable length": "15",
    "AC drop limit": "3",
    "AC drop limit is house": False,
    "AC PE": "6",
    "supply loop": "0.35",
    "voltage factor": "1",
    "battery PE": "10",
    "battery PE length": "6",
    "battery PE joints": "2",
    "ambient": "30",
    "no smooth DC": True,
    "RCD type": "A",
    "board": "80",
    "main fuse": "35",
    "breaker of the PV inverter": "25",
    "PV inverter": "4600",
    "house demand": "25",
    "import limit": "35",
    "units": ["7680", "7680"],
    "energy limit": ("20000", "demand"),
    "around": {"left": ("0.4", "0.3"), "right": ("0.4", "0.3"), "above": ("1.1", "0.5"), "front": ("1", "0.8")},
    # Each stack: three modules and a control unit.
    "stack mass": "100",
    "stack height": "0.73",
    "width": "0.6",
    "depth": "0.18",
    "bracket height": "0.6",
    "push": "0.3",
    "bracket bears": "1200",
    "floor bears": "15000",
    "gloves": "00",
    "modules carried": "6",
    "module mass": "28",
    "backup": False,
    "consent": True,
    "band": ("-10", "10"),
}

US = {
    "place": "US",
    "modules in series": "6",
    "cells per module": "16",
    "cell empty": "2.8",
    "cell full": "3.6",
    "window": ("120", "500"),
    "DC devices rated": "600",
    "module resistance": "0.01",
    "path resistance": "0.02",
    "inverter power": "11400",
    "inverter peak": "15000",
    "inverter on": "split phase",
    "efficiency": "97",
    "charge current": "40",
    "power drawn": "9600",
    "standby": "50",
    "DC fuse": "60",
    "DC fuse by maker": "80",
    "DC cable rated": "65",
    "DC breaking": "10000",
    # 6 AWG, by the cable's maker.
    "DC cable Ω/km": "1.32",
    "DC cable length": "5",
    "nominal voltage": "240",
    "AC breaker": "60",
    "AC cable rated": "70",
    "AC breaking": "10000",
    "supply fault current": "8000",
    # 4 AWG.
    "AC cable": "21.15",
    "AC cable length": "12",
    "AC drop limit": "3",
    "AC drop limit is house": False,
    "AC PE": "5.26",
    # 10 AWG, by the cable's maker.
    "battery PE": "5.26",
    "battery PE Ω/km": "3.41",
    "battery PE length": "8",
    "battery PE joints": "2",
    "continuity cap": "0.5",
    "ambient": "25",
    "board": "200",
    "main fuse": "200",
    "load breakers": "320",
    "source at the far end": True,
    "house demand": "110",
    "units": ["15360"],
    "unit limit": "20000",
    "energy limit": ("80000", "location"),
    "around": {"left": ("0.5", "0.15"), "right": ("0.8", "0.15"), "above": ("1", "0.5"), "front": ("1", "0.9")},
    "to openings": "1",
    "working width": "0.8",
    "working height": "2.1",
    # A brick wall counts as grounded.
    "opposite": "grounded",
    "wall": {
        "mass": "200",
        "gravity": "0.12",
        "lever": "0.6",
        "anchors": "8",
        "pull bears": "600",
        "shear bears": "900",
        "embedment": "0.06",
        "edge": "0.09",
        "spacing": "0.18",
    },
    "gloves": "0",
    "backup": True,
    "changeover": "200",
    "energy": "15360",
    "health": "90",
    "reserve": "40",
    "floor": "10",
    "loads": [("200", "35", "1500"), ("3500", "40", "9000")],
    "notice planned": False,
    "type tested": True,
    "consent": False,
    "band": ("-5", "5"),
}


def main():
    checked = "--check" in sys.argv[1:]
    stale = []
    for name, table in [("hand-uk", united_kingdom()), ("hand-de", germany()), ("hand-us", united_states())]:
        path, text = TABLES / f"{name}.lines.txt", table.text()
        if not checked:
            path.write_text(text, encoding="utf-8")
            print(f"{path.name}: {len(table.rows)} lines")
        elif not path.is_file() or path.read_text(encoding="utf-8") != text:
            stale.append(path.name)
    if stale:
        sys.exit("not what this script writes: " + ", ".join(stale))


if __name__ == "__main__":
    main()
