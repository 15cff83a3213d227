"""What is said: calls of the two invented sites, right and with one kind of fault each, with the truth per element.

Fleet, cables and wordings are read from the site's own files under `phrases/`, so labels follow the site. A kind edits a
right call and states the truth it makes; nothing here knows how a call is judged by the program.
"""

import tomllib
from pathlib import Path

LETTERS = dict(zip(
    "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
    "Alpha Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa Quebec Romeo "
    "Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu".split(), strict=True,
))
DIGITS = {
    "en": "zero one two three four five six seven eight nine".split(),
    "de": "null eins zwo drei vier fünf sechs sieben acht neun".split(),
}
TENS = {
    "en": ["", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"],
    "de": ["", "zehn", "zwanzig", "dreißig", "vierzig", "fünfzig", "sechzig", "siebzig", "achtzig", "neunzig"],
}
TEENS = {
    "en": "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split(),
    "de": "zehn elf zwölf dreizehn vierzehn fünfzehn sechzehn siebzehn achtzehn neunzehn".split(),
}
WORDS = {
    "en": {
        "uh": ["uh", "um", "er"],
        "this is": "this is",
        "hello": ["hello", "good morning"],
        "please": "please",
        "correction": "correction",
        "on": "on the",
        "aerotow": "aerotow",
        "not": ["not ready", "not yet ready", "not quite ready"],
        "lacks": ["east", "middle"],
    },
    "de": {
        "uh": ["äh", "ähm", "hm"],
        "this is": "hier ist",
        "hello": ["hallo", "guten Morgen"],
        "please": "bitte",
        "correction": "Korrektur",
        "on": "am",
        "aerotow": "F-Schlepp",
        "not": ["nicht startklar", "noch nicht startklar", "nicht abflugbereit"],
        "lacks": ["Nord", "Mitte"],
    },
}


class Place:
    """What a call may hold at one site."""

    def __init__(self, phrases, name):
        folder = Path(phrases) / name
        read = lambda file: tomllib.loads((folder / file).read_text(encoding="utf-8"))
        site, words, fleet = read("site.toml"), read("words.toml"), read("fleet.toml")
        self.name = name
        self.language = site["site"]["language"]
        self.fleet = {a["registration"]: a["seats"] for a in fleet["aircraft"]}
        self.links = {a["registration"]: a["weak_link"] for a in fleet["aircraft"]}
        self.colours = [v["id"] for v in words["element"]["link"]["value"]]
        self.elements = {s["id"]: s.get("elements", []) for s in read("steps.toml")["step"]}
        self.cables = {c["id"]: [c["taught"], *c["understood"]] for c in site["cable"]}
        self.addresses = [site["station"][0]["address"], *site["station"][0]["understood"]]
        self.crews = {int(v["id"]): [v["taught"], *v["understood"]] for v in words["element"]["crew"]["value"]}
        one = lambda element: words["element"][element]["value"][0]
        self.ready = [one("ready")["taught"], *one("ready")["understood"]]
        self.method = [one("method")["taught"], *one("method")["understood"]]
        self.short = {step: [one(step)["taught"], *one(step)["understood"]] for step in ("slack", "stop")}
        self.words = WORDS[self.language]
        self.half_method = words["element"]["method"]["incomplete"][0]
        # At larkmoor the cable's name goes before the method, at erlengrund after it.
        self.cable_first = self.language == "en"

    def callsign(self, characters, niner=False):
        """A callsign spoken a character at a time."""
        words = [LETTERS.get(c) or DIGITS[self.language][int(c)] for c in characters if c != "-"]
        if niner and self.language == "en":
            words = ["niner" if w == "nine" else w for w in words]
        return " ".join(words)

    def pairs(self, callsign):
        """Digits spoken as two numbers: "Delta forty-seven sixty-one"."""
        mark, digits = callsign.split("-")
        return " ".join([self.callsign(mark), *(self.number(int(digits[i : i + 2])) for i in (0, 2))])

    def number(self, n):
        tens, unit = divmod(n, 10)
        if tens == 1:
            return TEENS[self.language][unit]
        if unit == 0:
            return TENS[self.language][tens]
        if self.language == "en":
            return f"{TENS['en'][tens]}-{DIGITS['en'][unit]}"
        word = {1: "ein", 2: "zwei"}.get(unit, DIGITS["de"][unit])
        return f"{word}und{TENS['de'][tens]}"

    def rope(self, cable="", method="", on=False):
        """Cable and method in the site's order; either may be empty."""
        parts = [cable, method] if self.cable_first else [method, cable]
        return " ".join([*([self.words["on"]] if on else []), *(p for p in parts if p)])


ELEMENTS = ["address", "callsign", "crew", "cable", "method", "ready"]
SLOTS = ["address", "callsign", "crew", "rope", "ready"]


class Call:
    """One ready call: the words of each slot in order, the truth, the values as spoken."""

    def __init__(self, place, rng, callsign=None, crew=None, cable=None):
        self.place, self.rng = place, rng
        self.right = callsign or str(rng.choice(sorted(place.fleet)))
        self.crew = crew or (int(rng.integers(1, 3)) if place.fleet[self.right] == 2 else 1)
        self.cable = cable or str(rng.choice(sorted(place.cables)))
        self.say = {
            "address": place.addresses[0],
            "callsign": place.callsign(self.right, niner=rng.random() < 0.5),
            "crew": place.crews[self.crew][0],
            "rope": place.rope(place.cables[self.cable][0], place.method[0]),
            "ready": place.ready[0],
        }
        self.order = list(SLOTS)
        self.truth = dict.fromkeys(ELEMENTS, "said")
        self.spoken = {"callsign": self.right, "crew": self.crew, "cable": self.cable}
        self.broken_off = False

    def choose(self, options):
        return options[int(self.rng.integers(len(options)))]

    def set(self, element, truth, value=None):
        self.truth[element] = truth
        if element in self.spoken:
            self.spoken[element] = value

    def other_crew(self):
        return 3 - self.crew

    def other_cable(self):
        return next(c for c in sorted(self.place.cables) if c != self.cable)

    def cable_word(self, cable):
        return self.place.cables[cable][0]

    def drop(self, slot, *elements):
        self.order.remove(slot)
        for element in elements:
            self.set(element, "missing")

    def other_callsign(self, characters):
        self.say["callsign"] = self.place.callsign(characters, niner=self.rng.random() < 0.5)
        self.set("callsign", "wrong", characters)

    def text(self):
        words = ", ".join(self.say[slot] for slot in self.order if self.say[slot])
        # A call broken off keeps the comma: the voice does not fall.
        words = words + ("," if self.broken_off else ".")
        return words[0].upper() + words[1:]

    def row(self):
        return {
            "situation": {"callsign": self.right, "crew": self.crew, "cable": self.cable},
            "truth": dict(self.truth), "spoken": dict(self.spoken), "words": self.text(),
        }


# --- right calls: every critical element is said ----------------------------------------------------------------------

def none(c): pass

def alsoright(c):
    """ "on the north winch cable", "am Windenseil Wald"."""
    c.say["rope"] = c.place.rope(c.cable_word(c.cable), c.place.method[0], on=True)

def variant(c):
    """Another wording that the site understands, in one or two elements."""
    kinds = ["crew", "ready", "method", "cable", "address"]
    for kind in {c.choose(kinds), c.choose(kinds)}:
        place = c.place
        if kind == "crew":
            c.say["crew"] = c.choose(place.crews[c.crew][1:])
        elif kind == "ready":
            c.say["ready"] = c.choose(place.ready[1:])
        elif kind == "method":
            c.say["rope"] = c.say["rope"].replace(place.method[0], c.choose(place.method[1:]))
        elif kind == "cable":
            c.say["rope"] = c.say["rope"].replace(c.cable_word(c.cable), c.choose(place.cables[c.cable][1:]))
        else:
            c.say["address"] = c.choose(place.addresses[1:])

def order(c):
    """The same elements in another order; the address stays first in two of three."""
    head = [] if c.rng.random() < 1 / 3 else ["address"]
    rest = [s for s in SLOTS if s not in head]
    while c.order == SLOTS:
        c.order = head + [rest[i] for i in c.rng.permutation(len(rest))]

def filler(c):
    """Hesitations at one or two places."""
    for slot in {c.choose(SLOTS[1:]), c.choose(SLOTS[1:])}:
        c.say[slot] = f"{c.choose(c.place.words['uh'])}, {c.say[slot]}"

def chatter(c):
    """A greeting, "this is", "please"."""
    kind = int(c.rng.integers(3))
    words = c.place.words
    if kind == 0:
        c.say["address"] = f"{c.say['address']}, {c.choose(words['hello'])}"
    elif kind == 1:
        c.say["callsign"] = f"{words['this is']} {c.say['callsign']}"
    else:
        c.say["ready"] = f"{c.say['ready']}, {words['please']}"

def restart(c):
    """An element begun, broken off and begun again, or said twice."""
    kind = int(c.rng.integers(4))
    if kind <= 1:
        begun = c.say["callsign"].split()[: int(c.rng.integers(2, 4))]
        c.say["callsign"] = f"{' '.join(begun)}, {c.say['callsign']}"
    elif kind == 2:
        c.say["crew"] = f"{c.say['crew']}, {c.say['crew']}"
    else:
        c.say["address"] = f"{c.say['address']}, {c.say['address']}"

def wrong_then(c, first_right):
    """Two values with "correction" between them. Returns the element; the later value is the wrong one if asked."""
    place = c.place
    kind = c.choose(["callsign", "crew", "rope"])
    if kind == "callsign":
        other = c.choose([f for f in sorted(place.fleet) if f != c.right])
        wrong, right = place.callsign(other), c.say["callsign"]
        element, value = "callsign", other
    elif kind == "crew":
        wrong, right = place.crews[c.other_crew()][0], c.say["crew"]
        element, value = "crew", c.other_crew()
    else:
        wrong = place.rope(c.cable_word(c.other_cable()), place.method[0])
        right = c.say["rope"]
        element, value = "cable", c.other_cable()
    first, then = (right, wrong) if first_right else (wrong, right)
    c.say[kind] = f"{first}, {place.words['correction']}, {then}"
    if first_right:
        c.set(element, "wrong", value)

def correction(c):
    """A wrong value, "correction", the right one."""
    wrong_then(c, first_right=False)

def pairs(c):
    """ "Delta forty-seven sixty-one". Only for callsigns of digits."""
    if not c.right[2:].isdigit():
        c.__init__(c.place, c.rng, callsign=c.choose([f for f in sorted(c.place.fleet) if f[2:].isdigit()]))
    c.say["callsign"] = c.place.pairs(c.right)

def digitwords(c):
    """The other word for a digit: "zwei" for "zwo"; English "fower", "fife", "tree" as the tables of radiotelephony print them."""
    if not c.right[2:].isdigit():
        c.__init__(c.place, c.rng, callsign=c.choose([f for f in sorted(c.place.fleet) if f[2:].isdigit()]))
    table = {"zwo": "zwei"} if c.place.language == "de" else {"four": "fower", "five": "fife", "three": "tree", "nine": "niner"}
    c.say["callsign"] = " ".join(table.get(w, w) for w in c.say["callsign"].split())

RIGHT = [none, none, none, alsoright, variant, variant, order, filler, chatter, restart, correction, pairs, digitwords]


# --- faulty calls -----------------------------------------------------------------------------------------------------

def digit(c):
    """One character of the callsign is another."""
    at = int(c.rng.integers(2, len(c.right)))
    pool = "0123456789" if c.right[at].isdigit() else "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    new = c.choose([p for p in pool if p != c.right[at]])
    c.other_callsign(c.right[:at] + new + c.right[at + 1 :])

def swap(c):
    """Two neighbouring characters change places."""
    at = c.choose([i for i in range(2, len(c.right) - 1) if c.right[i] != c.right[i + 1]])
    r = c.right
    c.other_callsign(r[:at] + r[at + 1] + r[at] + r[at + 2 :])

def drop(c):
    """One character is left out."""
    at = int(c.rng.integers(2, len(c.right)))
    c.other_callsign(c.right[:at] + c.right[at + 1 :])

def extra(c):
    """One character too many: one said twice, or another at the end."""
    if c.rng.random() < 0.5:
        at = int(c.rng.integers(2, len(c.right)))
        c.other_callsign(c.right[:at] + c.right[at] + c.right[at:])
    else:
        c.other_callsign(c.right + c.choose("0123456789" if c.right[-1].isdigit() else "ABDEFHIKNOSTUVXZ"))

def similar(c):
    """The callsign of another aircraft of the fleet that is easily mixed up with it."""
    like = {}
    for a in c.place.fleet:
        like.setdefault(a[:1] + "".join(sorted(a[2:])), []).append(a)
    twins = [t for t in like.values() if len(t) > 1]
    one = c.choose(c.choose(twins))
    c.__init__(c.place, c.rng, callsign=one)
    c.other_callsign(next(a for t in twins if one in t for a in t if a != one))

def partial(c):
    """Only the end of the callsign, or only its beginning."""
    c.other_callsign(c.right[-2:] if c.rng.random() < 0.5 else c.right[:4])

def nocallsign(c): c.drop("callsign", "callsign")

def twocallsigns(c):
    """Two callsigns and no "correction": neither counts."""
    other = c.choose([f for f in sorted(c.place.fleet) if f != c.right])
    c.say["callsign"] += f", {c.place.callsign(other)}"
    c.set("callsign", "wrong")

def nocrew(c): c.drop("crew", "crew")

def wrongcrew(c):
    c.say["crew"] = c.choose(c.place.crews[c.other_crew()][:2])
    c.set("crew", "wrong", c.other_crew())

def twocrews(c):
    both = [c.say["crew"], c.place.crews[c.other_crew()][0]]
    c.say["crew"] = ", ".join(both if c.rng.random() < 0.5 else both[::-1])
    c.set("crew", "wrong")

def wrongcable(c):
    c.say["rope"] = c.place.rope(c.cable_word(c.other_cable()), c.place.method[0], on=c.rng.random() < 0.3)
    c.set("cable", "wrong", c.other_cable())

def othercable(c):
    """A cable that the site does not have."""
    c.say["rope"] = c.place.rope(c.choose(c.place.words["lacks"]), c.place.method[0])
    c.set("cable", "wrong")

def twocables(c):
    both = [c.say["rope"], c.place.rope(c.cable_word(c.other_cable()), c.place.method[0])]
    c.say["rope"] = ", ".join(both if c.rng.random() < 0.5 else both[::-1])
    c.set("cable", "wrong")

def nocable(c):
    c.say["rope"] = c.place.method[0]
    c.set("cable", "missing")

def nomethod(c):
    """ "north cable", "Seil Wald"."""
    c.say["rope"] = c.place.rope(c.cable_word(c.cable), c.place.half_method)
    c.set("method", "missing")

def aerotow(c):
    """Another launch method, with the cable's name or instead of it."""
    word = c.place.words["aerotow"]
    if c.rng.random() < 0.5:
        c.say["rope"] = word
        c.set("cable", "missing")
    else:
        c.say["rope"] = f"{c.place.rope(c.cable_word(c.cable), c.place.half_method)}, {word}"
    c.set("method", "wrong")

def noready(c): c.drop("ready", "ready")

def notready(c):
    c.say["ready"] = c.choose(c.place.words["not"])
    c.set("ready", "wrong")

def badcorrection(c):
    """The right value, "correction", a wrong one: the later counts."""
    wrong_then(c, first_right=True)

def noaddress(c): c.drop("address", "address")

def bare(c):
    """ "Winch, <callsign>, cable, ready": crew, cable and method are not in it."""
    c.drop("crew", "crew")
    c.say["rope"] = c.place.half_method if c.place.language == "en" else f"am {c.place.half_method}"
    c.set("cable", "missing")
    c.set("method", "missing")

def twomissing(c):
    slots = [c.choose(["callsign", "crew"]), c.choose(["rope", "ready"])]
    for slot in slots:
        c.drop(slot, *(["cable", "method"] if slot == "rope" else [slot]))

def twowrong(c):
    wrongcable(c)
    wrongcrew(c)

def cutoff(c):
    """The transmission ends in the middle: after an element, or within the callsign."""
    keep = int(c.rng.integers(1, 5))
    for slot in SLOTS[keep:]:
        c.drop(slot, *(["cable", "method"] if slot == "rope" else [slot]))
    if keep <= 2:
        # Something of the callsign was said: two or three characters.
        n = int(c.rng.integers(3, 5))
        c.order = ["address", "callsign"]
        c.other_callsign(c.right[:n])
    c.broken_off = True

FAULTY = [
    digit, digit, swap, swap, drop, extra, similar, similar, partial, nocallsign, twocallsigns, nocrew, nocrew, wrongcrew,
    wrongcrew, twocrews, wrongcable, wrongcable, othercable, twocables, nocable, nomethod, nomethod, aerotow, aerotow,
    noready, noready, notready, notready, badcorrection, noaddress, bare, twomissing, twowrong, cutoff, cutoff,
]


def ready_call(place, rng, kind, **situation):
    """A call of one kind; one faulty call in five is hesitant or in another order too."""
    call = Call(place, rng, **situation)
    kind(call)
    if kind in FAULTY and not call.broken_off and rng.random() < 0.2:
        # "Winch, cable" in another order would be the method's own words, so a bare call keeps its order.
        if kind is bare or rng.random() < 0.5:
            slot = call.choose(call.order)
            call.say[slot] = f"{call.choose(place.words['uh'])}, {call.say[slot]}"
        else:
            head, rest = call.order[:1], call.order[1:]
            call.order = head + [rest[i] for i in rng.permutation(len(rest))]
    return {"step": "ready", **call.row()}


# --- short calls ------------------------------------------------------------------------------------------------------

# Other words at that place: what the step asks for is missing.
OTHER_SHORT = {
    ("en", "slack"): ["Stop.", "Take up slack.", "Ready.", "Cable on.", "Wings level."],
    ("en", "stop"): ["Slack is out.", "All out.", "Ready.", "Take up slack.", "Say again."],
    ("de", "slack"): ["Halt.", "Startklar.", "Eingeklinkt.", "Wiederholen Sie."],
    ("de", "stop"): ["Windenseil straff.", "Startklar.", "Seil anziehen.", "Fläche ist oben."],
}
# More ways to say what the site understands.
MORE_SHORT = {
    ("en", "slack"): ["Winch, slack is out, winch cable tight", "All out, all out", "Slack out, winch cable tight"],
    ("en", "stop"): ["Stop! Stop! Stop", "Stop! Stop! Stop! Stop", "Stop", "Winch, stop, stop, stop"],
    ("de", "slack"): ["Winde, Windenseil straff", "Seil straff, Seil straff"],
    ("de", "stop"): ["Halt! Stopp", "Halt", "Stopp", "Halt! Stopp! Halt! Stopp", "Winde, Stopp"],
}


def short_call(place, rng, step, right, nth):
    """A stop or slack call; `nth` walks through the wordings."""
    table = place.short[step] + MORE_SHORT[place.language, step] if right else OTHER_SHORT[place.language, step]
    words = table[nth % len(table)]
    words = words[0].upper() + words[1:]
    call = Call(place, rng)
    return {
        "step": step, "situation": {"callsign": call.right, "crew": call.crew, "cable": call.cable},
        "truth": {step: "said" if right else "missing"}, "spoken": {"callsign": None, "crew": None, "cable": None},
        "words": words if words[-1] in ".!" else words + ".",
    }
