"""Natural sentence forms of the calls: read from `forms/`, filled in for a site, with the truth per element.

A form is a sentence with places for callsign, crew, cable and link; its `truth` names what is not said in it ("open":
the rules leave it unsure). Nothing here knows how a call is judged by the program.
"""

import re
import tomllib
from itertools import islice
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "forms"
HALVES = ["a", "b"]
SPOKEN = ["callsign", "crew", "cable"]


def read(language, half=None, steps=()):
    """The forms of a language: of one half or both, of some steps or all."""
    forms = []
    for name in ("ready", "steps"):
        text = (FOLDER / f"{name}.{language}.toml").read_text(encoding="utf-8")
        forms += [{"step": "ready", "truth": {}, **form} for form in tomllib.loads(text)["form"]]
    return [f for f in forms if half in (None, f["half"]) and (not steps or f["step"] in steps)]


def choose(rng, options):
    return options[int(rng.integers(len(options)))]


def similar(place, rng, right):
    """Another aircraft of the fleet: half the time the one that is easily mixed up with it, if there is one."""
    others = [a for a in sorted(place.fleet) if a != right]
    twins = [a for a in others if sorted(a) == sorted(right)]
    return choose(rng, twins if twins and rng.random() < 0.5 else others)


def deal(place, rng, form):
    """A situation for the form, and the value of each of its places."""
    right = choose(rng, [a for a in sorted(place.fleet) if place.fleet[a] >= form.get("crew", 1)])
    crew = form.get("crew") or (int(rng.integers(1, 3)) if place.fleet[right] == 2 else 1)
    cable = choose(rng, sorted(place.cables))
    link = place.links[right]
    values = {
        "callsign": right, "callsign_other": similar(place, rng, right), "callsign_short": right[-2:],
        "crew": crew, "crew_other": 3 - crew,
        "cable": cable, "cable_other": choose(rng, [c for c in sorted(place.cables) if c != cable]),
        "link": link, "link_other": choose(rng, [c for c in place.colours if c != link]),
    }
    situation = {element: values[element] for element in SPOKEN}
    # The speed call is dealt too: what the airspeed is like, in the words of the site.
    if "speed" in form:
        situation["speed"] = form["speed"]
    return situation, values


def wording(place, rng, place_name, value):
    """How the value of a place is spoken."""
    element = place_name.split("_")[0]
    if element == "callsign":
        return place.callsign(value, niner=rng.random() < 0.5)
    if element == "crew":
        return place.crews[value][0]
    if element == "cable":
        return place.cables[value][0]
    return value


def sentence(place, rng, form, values):
    words = re.sub(r"\{(\w+)\}", lambda m: wording(place, rng, m[1], values[m[1]]), form["words"])
    return re.sub(r"(^|[.!?] )(\w)", lambda m: m[1] + m[2].upper(), words)


def spoken(place, form, element, values):
    """The value of an element as spoken; None where there is none, or where the words do not stand for one."""
    truth = form["truth"].get(element, "said")
    if element not in place.elements[form["step"]] or truth in ("missing", "open"):
        return None
    if truth == "said":
        return values[element]
    if form["kind"] != "faulty":
        return None
    # Of two values the last one counts, and only after "correction".
    found = list(re.finditer(r"\{(" + element + r"(?:_\w+)?)\}", form["words"]))
    if not found or found[-1][1] == element:
        return None
    if len(found) > 1 and place.words["correction"] not in form["words"][found[-2].end() : found[-1].start()]:
        return None
    return values[found[-1][1]]


def fill(place, rng, form):
    """One call in the words of a form, as `calls.ready_call` gives it, with the form's id and kind."""
    situation, values = deal(place, rng, form)
    return {
        "step": form["step"], "situation": situation,
        "truth": {e: form["truth"].get(e, "said") for e in place.elements[form["step"]]},
        "spoken": {element: spoken(place, form, element, values) for element in SPOKEN},
        "words": sentence(place, rng, form, values), "form": form["id"], "kind": form["kind"],
    }


def endless(rng, cards):
    """Every card once before any comes again."""
    while True:
        for i in rng.permutation(len(cards)):
            yield cards[i]


def rows(place, rng, count, half=None, steps=()):
    """`count` calls in the words of the forms."""
    cards = read(place.language, half, steps)
    if not cards:
        raise ValueError(f"no forms for {place.language}, half {half}, steps {', '.join(steps)}")
    for form in islice(endless(rng, cards), count):
        yield fill(place, rng, form)
