"""Voices that speak the labelled calls: Kokoro-82M, flite, SVOX Pico, MBROLA and espeak-ng, each by one short name.

Names: `k_<voice>` Kokoro with English phonemes, `k_<voice>_de` the same voice with German phonemes (a foreign accent),
`flite_<voice>`, `pico_gb|us|de`, `mbrola_<voice>` (recorded pieces of a speaker's own language, such as `mbrola_de4`; the
phonemes are espeak-ng's), `espeak_<language>_<variant>`. The name is what stands as `voice` in a manifest.
"""

import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

RATE = 16_000

# The symbols Kokoro-82M was trained on, with their numbers (from the model's own published configuration).
SYMBOLS = {
    ";": 1, ":": 2, ",": 3, ".": 4, "!": 5, "?": 6, "—": 9, "…": 10, '"': 11, "(": 12, ")": 13, " ": 16,
    "ʣ": 18, "ʥ": 19, "ʦ": 20, "ʨ": 21, "A": 24, "I": 25, "O": 31, "Q": 33, "W": 39, "Y": 41, "ᵊ": 42,
    "a": 43, "b": 44, "c": 45, "d": 46, "e": 47, "f": 48, "h": 50, "i": 51, "j": 52, "k": 53, "l": 54, "m": 55,
    "n": 56, "o": 57, "p": 58, "q": 59, "r": 60, "s": 61, "t": 62, "u": 63, "v": 64, "w": 65, "x": 66, "y": 67,
    "z": 68, "ɑ": 69, "ɐ": 70, "ɒ": 71, "æ": 72, "β": 75, "ɔ": 76, "ɕ": 77, "ç": 78, "ð": 81, "ʤ": 82, "ə": 83,
    "ɚ": 85, "ɛ": 86, "ɜ": 87, "ɡ": 92, "ɨ": 101, "ɪ": 102, "ŋ": 112, "ɲ": 114, "ø": 116, "θ": 119, "œ": 120,
    "ɹ": 123, "ɾ": 125, "ʁ": 128, "ʃ": 131, "ʧ": 133, "ʊ": 135, "ʌ": 138, "ʒ": 147, "ʔ": 148, "ˈ": 156, "ˌ": 157,
    "ː": 158, "ᵻ": 177,
}

# espeak-ng writes some sounds otherwise than the model knows them. Longer spellings stand first.
ENGLISH = [
    ("aɪ", "I"), ("eɪ", "A"), ("aʊ", "W"), ("ɔɪ", "Y"), ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("əl", "ᵊl"), ("r", "ɹ"),
]
BRITISH = ENGLISH + [("əʊ", "Q"), ("oʊ", "Q"), ("ɐ", "ə")]
AMERICAN = ENGLISH + [("oʊ", "O"), ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("ɚ", "əɹ"), ("ɐ", "ə"), ("ː", "")]
# The model never learnt German. A tapped r before vowels and a uvular one after them were the best understood, with
# voices of languages that have them (Hindi, Spanish, Portuguese, Italian).
GERMAN = [
    ("aɪ", "I"), ("aʊ", "W"), ("ɔø", "Y"), ("ts", "ʦ"), ("tʃ", "ʧ"), ("ʏ", "y"), ("ɜ", "ɐ"), ("r", "ɾ"),
]
R_AFTER_VOWEL = re.compile("ɾ(?![ˈˌ]?[aeiouyæøœɐɑɔəɛɪʊIWY])")


def phonemes(text, language):
    """IPA of a text as espeak-ng writes it, with the text's punctuation kept between the clauses."""
    out = []
    for clause in re.findall(r"[^,.!?…—]+|[,.!?…—]+", text):
        if re.match(r"[,.!?…—]", clause):
            out.append(clause.strip()[0] + " ")
        elif clause.strip():
            done = subprocess.run(
                ["espeak-ng", "-q", "--ipa", "-v", language, "--", clause.strip()],
                capture_output=True, text=True, check=True,
            )
            out.append(" ".join(done.stdout.split()))
    return "".join(out).strip()


class Kokoro:
    """The neural voices. One thread: the same text gives the same sound, and other work is not disturbed."""

    def __init__(self, tools):
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        self.folder = Path(tools)
        self.session = onnxruntime.InferenceSession(str(self.folder / "kokoro.onnx"), options)
        self.styles = {}

    def speak(self, voice, text, rate, german):
        """Sound at 16 kHz. `rate` 1.0 is the model's own pace, 1.25 a quarter faster."""
        if german:
            language, table = "de", GERMAN
        elif voice[0] == "a":
            language, table = "en-us", AMERICAN
        else:
            language, table = "en-gb", BRITISH
        ipa = phonemes(text, language)
        for old, new in table:
            ipa = ipa.replace(old, new)
        if german:
            ipa = R_AFTER_VOWEL.sub("ʁ", ipa)
        unknown = {c for c in ipa if c not in SYMBOLS}
        if unknown - {"\u0303", "\u0329", "\u032f", "\u0361"}:
            raise ValueError(f"symbols the model does not know in {text!r}: {unknown}")
        tokens = [SYMBOLS[c] for c in ipa if c in SYMBOLS]
        if voice not in self.styles:
            data = np.fromfile(self.folder / "voices" / f"{voice}.bin", dtype=np.float32)
            self.styles[voice] = data.reshape(-1, 256)
        style = self.styles[voice][min(len(tokens), len(self.styles[voice]) - 1)]
        sound = self.session.run(None, {
            "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
            "style": style[None, :],
            "speed": np.array([rate], dtype=np.float32),
        })[0]
        return resample_poly(sound.ravel().astype(np.float64), 2, 3)  # 24 kHz -> 16 kHz


def read_resampled(path):
    sound, rate = soundfile.read(path)
    if rate == RATE:
        return sound
    from math import gcd

    g = gcd(RATE, rate)
    return resample_poly(sound, RATE // g, rate // g)


class Voices:
    """All engines behind `speak(name, text, rate)`; Kokoro is loaded when first needed."""

    def __init__(self, tools):
        self.tools = tools
        self.kokoro = None

    def speak(self, name, text, rate=1.0):
        """Mono sound at 16 kHz, silence at both ends cut to 30 ms."""
        engine, _, voice = name.partition("_")
        with tempfile.TemporaryDirectory() as folder:
            file = str(Path(folder) / "speech.wav")
            if engine == "k":
                self.kokoro = self.kokoro or Kokoro(self.tools)
                german = voice.endswith("_de")
                sound = self.kokoro.speak(voice.removesuffix("_de"), text, rate, german)
            elif engine == "flite":
                subprocess.run(
                    ["flite", "-voice", voice, "--setf", f"duration_stretch={1 / rate:.3f}", "-t", text, "-o", file],
                    check=True, capture_output=True,
                )
                sound = read_resampled(file)
            elif engine == "pico":
                import py_nanotts

                language = {"gb": "en-GB", "us": "en-US", "de": "de-DE"}[voice]
                data = py_nanotts.NanoTTS().speak(text=text, voice=language, speed=rate)
                sound = np.frombuffer(data, dtype=np.int16) / 32768.0
            elif engine in ("espeak", "mbrola"):
                name_there = f"mb-{voice}" if engine == "mbrola" else voice.replace("_", "+")
                subprocess.run(
                    ["espeak-ng", "-v", name_there, "-s", str(round(155 * rate)), "-w", file, "--", text],
                    check=True, capture_output=True,
                )
                sound = read_resampled(file)
            else:
                raise ValueError(f"no engine for the voice {name!r}")
        return trimmed(sound)


def trimmed(sound, margin=0.03):
    """Cut silence (40 dB under the loudest 20 ms) at both ends, leaving `margin` seconds."""
    step = RATE // 50
    frames = len(sound) // step
    level = np.sqrt(np.mean(sound[: frames * step].reshape(frames, step) ** 2, axis=1) + 1e-12)
    loud = np.flatnonzero(level > level.max() * 0.01)
    begin = max(0, loud[0] * step - int(margin * RATE))
    end = min(len(sound), (loud[-1] + 1) * step + int(margin * RATE))
    return sound[begin:end]
