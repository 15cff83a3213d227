"""Speaks labelled calls and writes them with their manifest: clips (16 kHz, mono, FLAC 16 bit) and `manifest.jsonl`.

    scripts/speech/prepare FOLDER
    FOLDER/venv/bin/python scripts/speech/make_calls.py --tools FOLDER --out DIR --set ready|short|forms|nospeech|rows \
        --site larkmoor|erlengrund --voices NAME,NAME,... --count N [--right 0.4] [--clear 0.5] [--seed 1] \
        [--half a|b] [--steps ready,slack,...]      (both for `--set forms` only)

The same options give the same calls; the sound is the same with the same versions of the engines. Kinds of call, voices
and conditions are dealt from shuffled decks, so each comes about as often as the next and none is tied to another.
Rates run from 0.8 to 1.25 times the voice's own pace. How each condition and each sound without speech is made stands at
the head of conditions.py, what each kind of call is in calls.py, the voices' names in voices.py. `--dry` only prints.
The set `forms` speaks the sentences of `forms/` as they stand, whatever `--right` says; `fault` is then kind and id of the
form, and what a form leaves open stands as wrong in the manifest: it must not count as said.
The set `rows` speaks lines that were written elsewhere (`calls_to_be_spoken` in tests/meaning.rs), each with each voice.
A run that was ended goes on where it stopped when it is begun again with the same options.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np
import soundfile

import calls
import conditions
import forms
from voices import RATE, Voices

REPOSITORY = Path(__file__).resolve().parents[2]
# Voices of the crowd in the condition "voices" and in the distant babble. They are heard backwards only, so quick ones do.
CROWD = ["flite_rms", "flite_kal16", "pico_us", "flite_awb"]


class Deck:
    """Deals every card once before any comes again."""

    def __init__(self, rng, cards):
        self.rng, self.cards, self.hand = rng, list(cards), []

    def deal(self):
        if not self.hand:
            self.hand = [self.cards[i] for i in self.rng.permutation(len(self.cards))]
        return self.hand.pop()


def shares(rng, count, share):
    """`count` booleans, `share` of them true, shuffled."""
    flags = np.arange(count) < round(count * share)
    return rng.permutation(flags)


def speak_crowd(voices, rng, place, count):
    """Sounds of some voices of the crowd, each with a call of its own."""
    names = [CROWD[i] for i in rng.permutation(len(CROWD))[:count]]
    return [voices.speak(name, calls.ready_call(place, rng, calls.none)["words"]) for name in names]


def speak_clip(voices, rng, place, row, voice, condition, rate):
    """Sound of a row in a condition."""
    speech = voices.speak(voice, row["words"], rate)
    crowd = speak_crowd(voices, rng, place, 2) if condition == "voices" else ()
    return conditions.with_condition(rng, speech, condition, crowd, tight_end=row["words"].endswith(","))


def clip_path(name):
    return f"clips/{name}.flac"


def write_clip(folder, name, sound):
    (folder / "clips").mkdir(parents=True, exist_ok=True)
    path = clip_path(name)
    soundfile.write(folder / path, sound, RATE, subtype="PCM_16", format="FLAC")
    return path


def finished(row, audio, site, voice, fault, condition):
    """A manifest line with its fields in the order the others have them."""
    return {
        "audio": audio, "site": site, "step": row["step"], "situation": row["situation"], "truth": row["truth"],
        "spoken": row["spoken"], "words": row["words"], "voice": voice, "fault": fault, "condition": condition,
        "human": False,
    }


def silent_row(place, rng):
    call = calls.Call(place, rng)
    return {
        "step": "ready", "situation": {"callsign": call.right, "crew": call.crew, "cable": call.cable},
        "truth": dict.fromkeys(calls.ELEMENTS, "missing"),
        "spoken": {"callsign": None, "crew": None, "cable": None}, "words": "",
    }


def form_row(row):
    """A row of forms.py as a manifest has it, and its `fault`."""
    fault = f"{row.pop('kind')}-{row.pop('form')}"
    row["truth"] = {element: "wrong" if truth == "open" else truth for element, truth in row["truth"].items()}
    return row, fault


def plan(args, place):
    """All rows to make, without their sound."""
    rng = np.random.default_rng(args.seed)
    names = args.voices.split(",") if args.voices else []
    voice, clear, hard = Deck(rng, names), Deck(rng, conditions.CLEAR), Deck(rng, conditions.HARD)
    right, faulty = Deck(rng, calls.RIGHT), Deck(rng, calls.FAULTY)
    sounds = Deck(rng, conditions.NO_SPEECH)
    sentences = forms.rows(place, rng, args.count, args.half, args.steps)
    nth = {}
    given = [json.loads(line) for line in args.rows.read_text(encoding="utf-8").splitlines()] if args.rows else []
    given = [row for row in given if row.pop("site") == args.site]
    is_right, is_clear = shares(rng, args.count, args.right), shares(rng, args.count, args.clear)
    for row in given:
        # Each of them with each voice, in the condition clean and at the voice's own pace.
        for name in names:
            yield {k: v for k, v in row.items() if k != "fault"}, name, row["fault"], "clean", 1.0
    for i in range(0 if given else args.count):
        if args.set == "nospeech":
            yield silent_row(place, rng), "none", "nospeech", sounds.deal(), 1.0
            continue
        if args.set == "ready":
            kind = (right if is_right[i] else faulty).deal()
            row, fault = calls.ready_call(place, rng, kind), kind.__name__
        elif args.set == "forms":
            row, fault = form_row(next(sentences))
        else:
            step = ["stop", "slack", "stop"][i % 3]
            key = (step, bool(is_right[i]))
            row = calls.short_call(place, rng, step, bool(is_right[i]), nth.get(key, 0))
            nth[key] = nth.get(key, 0) + 1
            fault = "none" if is_right[i] else "othercall"
        condition = (clear if is_clear[i] else hard).deal()
        yield row, voice.deal(), fault, condition, float(np.round(rng.uniform(0.8, 1.25), 2))


def main():
    parser = argparse.ArgumentParser(description="Speaks labelled calls.")
    parser.add_argument("--tools", required=True, help="folder made by scripts/speech/prepare")
    parser.add_argument("--out", required=True, type=Path, help="folder for manifest.jsonl and clips/; lines are appended")
    parser.add_argument("--set", required=True, choices=["ready", "short", "forms", "nospeech", "rows"])
    parser.add_argument("--site", required=True)
    parser.add_argument("--phrases", default=REPOSITORY / "phrases")
    parser.add_argument("--voices", default="", help="names by comma")
    parser.add_argument("--count", type=int, default=0, help="so many clips (not for `--set rows`)")
    parser.add_argument("--rows", type=Path, help="lines with the calls of `--set rows`")
    parser.add_argument("--right", type=float, default=0.4, help="share of right calls")
    parser.add_argument("--clear", type=float, default=0.5, help="share in the conditions clean and quiet")
    parser.add_argument("--half", choices=forms.HALVES, help="forms of one half only")
    parser.add_argument("--steps", default="", help="forms of these steps only, by comma")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--dry", action="store_true", help="print the rows, speak nothing")
    args = parser.parse_args()
    args.steps = [step for step in args.steps.split(",") if step]
    if (args.set == "rows") != bool(args.rows):
        parser.error("--rows FILE goes with --set rows")
    if not args.voices and args.set != "nospeech":
        parser.error("--voices is needed")

    # Lines written elsewhere need nothing of the site.
    place = None if args.rows else calls.Place(args.phrases, args.site)
    voices = Voices(args.tools)
    manifest = args.out / "manifest.jsonl"
    done = set()
    if not args.dry:
        args.out.mkdir(parents=True, exist_ok=True)
        if manifest.exists():
            done = {json.loads(line)["audio"] for line in manifest.read_text(encoding="utf-8").splitlines()}
    rows = list(plan(args, place))
    for i, (row, voice, fault, condition, rate) in enumerate(rows):
        if args.dry:
            print(json.dumps({**row, "voice": voice, "fault": fault, "condition": condition, "rate": rate}, ensure_ascii=False))
            continue
        name = f"{args.site}_{row['step'].replace(' ', '-')}_{args.seed}_{i:03}_{voice}_{fault}_{condition}"
        if clip_path(name) in done:
            continue
        # Each clip has its own random source: one clip can be made again without the others.
        rng = np.random.default_rng([args.seed, i])
        if fault == "nospeech":
            crowd = speak_crowd(voices, rng, place, 4) if condition == "babble" else ()
            sound = conditions.no_speech(rng, condition, crowd)
        else:
            sound = speak_clip(voices, rng, place, row, voice, condition, rate)
        line = finished(row, write_clip(args.out, name, sound), args.site, voice, fault, condition)
        with open(manifest, "a", encoding="utf-8") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")
        print(f"\r{i + 1}/{len(rows)}", end="", file=sys.stderr)
    print(file=sys.stderr)


if __name__ == "__main__":
    main()
