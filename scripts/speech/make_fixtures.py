"""Makes `audio-fixtures/`: the small set of labelled clips that is committed, call by call as listed here.

    FOLDER/venv/bin/python scripts/speech/make_fixtures.py FOLDER      (FOLDER: made by scripts/speech/prepare)

Writes into audio-fixtures/ of this repository; the same versions of the engines give the same files.
"""

import json
import shutil
import sys

import numpy as np

import calls
import conditions
from make_calls import REPOSITORY, finished, silent_row, speak_clip, write_clip
from voices import Voices

LARKMOOR, ERLENGRUND = "larkmoor", "erlengrund"
A = {"callsign": "G-CLRM", "crew": 2, "cable": "north"}
B = {"callsign": "D-4761", "crew": 2, "cable": "south"}
C = {"callsign": "D-2058", "crew": 1, "cable": "north"}
W = {"callsign": "D-3862", "crew": 2, "cable": "wald"}
S = {"callsign": "D-7195", "crew": 1, "cable": "see"}

# file, site, kind, situation, voice, condition, rate
READY = [
    ("larkmoor_right_clean", LARKMOOR, calls.none, A, "k_bm_daniel", "clean", 1.0),
    ("larkmoor_right_quiet", LARKMOOR, calls.none, B, "k_af_nova", "quiet", 1.0),
    ("larkmoor_right_noisy", LARKMOOR, calls.none, C, "k_am_eric", "noisy", 1.0),
    ("demo_missing_crew", LARKMOOR, calls.nocrew, A, "k_bm_daniel", "clean", 1.0),
    ("larkmoor_missing_crew", LARKMOOR, calls.nocrew, C, "k_af_nova", "clean", 1.1),
    ("larkmoor_wrong_cable", LARKMOOR, calls.wrongcable, B, "k_bm_daniel", "clean", 1.0),
    ("larkmoor_wrong_crew", LARKMOOR, calls.wrongcrew, A, "k_am_eric", "clean", 1.0),
    ("larkmoor_swapped_callsign", LARKMOOR, calls.similar, A, "k_af_nova", "clean", 1.0),
    ("larkmoor_missing_method", LARKMOOR, calls.nomethod, A, "k_bf_alice", "clean", 1.0),
    ("larkmoor_not_ready", LARKMOOR, calls.notready, C, "k_am_eric", "clean", 1.0),
    ("larkmoor_correction", LARKMOOR, calls.correction, A, "k_bm_daniel", "clean", 1.0),
    ("larkmoor_restart", LARKMOOR, calls.restart, A, "k_bf_alice", "clean", 0.9),
    ("erlengrund_right_1", ERLENGRUND, calls.none, W, "k_bm_daniel_de", "clean", 1.0),
    ("erlengrund_right_2", ERLENGRUND, calls.none, S, "k_im_nicola_de", "clean", 0.9),
    ("erlengrund_missing_crew_1", ERLENGRUND, calls.nocrew, W, "k_im_nicola_de", "clean", 0.9),
    ("erlengrund_missing_crew_2", ERLENGRUND, calls.nocrew, S, "k_bm_daniel_de", "clean", 1.0),
    ("erlengrund_wrong_cable_1", ERLENGRUND, calls.wrongcable, W, "k_bm_daniel_de", "clean", 0.9),
    ("erlengrund_wrong_cable_2", ERLENGRUND, calls.wrongcable, S, "k_im_nicola_de", "clean", 1.0),
]
# file, site, step, words, situation, voice
SHORT = [
    ("larkmoor_stop", LARKMOOR, "stop", "Stop, stop, stop.", A, "k_bf_alice"),
    ("larkmoor_stop_once", LARKMOOR, "stop", "Stop!", A, "k_bm_daniel"),
    ("larkmoor_slack", LARKMOOR, "slack", "Slack is out, winch cable tight.", A, "k_am_eric"),
    ("erlengrund_slack", ERLENGRUND, "slack", "Windenseil straff.", W, "k_bm_daniel_de"),
]
SILENT = [("nospeech_engine", "engine"), ("nospeech_wind", "wind"), ("nospeech_button", "button")]
SEED = 2026


def until(place, kind, situation):
    """The first draw of a kind, without hesitations laid over it, for a fixed situation."""
    for seed in range(1000):
        rng = np.random.default_rng([SEED, seed])
        row = calls.ready_call(place, rng, kind, **situation)
        plain = not any(f"{uh}," in row["words"].lower() for uh in place.words["uh"])
        in_order = row["words"].lower().startswith(place.addresses[0].lower()) and place.ready[0] in row["words"][-14:]
        if row["situation"] == situation and plain and in_order:
            return row
    raise ValueError(f"no such call: {kind.__name__} {situation}")


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    fixtures = REPOSITORY / "audio-fixtures"
    # Written beside and then put in place: a run that is ended leaves the old set whole.
    out = fixtures / "new"
    shutil.rmtree(out, ignore_errors=True)
    places = {name: calls.Place(REPOSITORY / "phrases", name) for name in (LARKMOOR, ERLENGRUND)}
    voices = Voices(sys.argv[1])
    lines = []

    for i, (name, site, kind, situation, voice, condition, rate) in enumerate(READY):
        row = until(places[site], kind, situation)
        sound = speak_clip(voices, np.random.default_rng([SEED, 1, i]), places[site], row, voice, condition, rate)
        lines.append(finished(row, write_clip(out, name, sound), site, voice, kind.__name__, condition))
    for i, (name, site, step, words, situation, voice) in enumerate(SHORT):
        row = {
            "step": step, "situation": situation, "truth": {step: "said"},
            "spoken": {"callsign": None, "crew": None, "cable": None}, "words": words,
        }
        sound = speak_clip(voices, np.random.default_rng([SEED, 2, i]), places[site], row, voice, "clean", 1.0)
        lines.append(finished(row, write_clip(out, name, sound), site, voice, "none", "clean"))
    for i, (name, kind) in enumerate(SILENT):
        rng = np.random.default_rng([SEED, 3, i])
        row = silent_row(places[LARKMOOR], rng)
        sound = conditions.no_speech(rng, kind)
        lines.append(finished(row, write_clip(out, name, sound), LARKMOOR, "none", "nospeech", kind))

    with open(out / "manifest.jsonl", "w", encoding="utf-8") as manifest:
        for line in lines:
            manifest.write(json.dumps(line, ensure_ascii=False) + "\n")
    shutil.rmtree(fixtures / "clips", ignore_errors=True)
    (out / "clips").rename(fixtures / "clips")
    (out / "manifest.jsonl").replace(fixtures / "manifest.jsonl")
    out.rmdir()
    print(f"{len(lines)} clips in {fixtures}")


if __name__ == "__main__":
    main()
