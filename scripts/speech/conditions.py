"""What happens to speech between mouth and file, and sounds that are no speech. All of it is made here, from random numbers.

Conditions of a call (`condition` in a manifest). The speech level is the RMS over its active 20 ms frames (those within
30 dB of the loudest); a ratio "20 dB" is that level over the RMS of the noise.

    clean   peak 0.7; a floor of white noise at -80 dBFS. Silence of 0.1-0.7 s before and after in every condition.
    quiet   a soft voice far from the microphone: above 2 kHz 6 dB less, peak 0.04; floor at -74 dBFS.
    room    convolved with a decaying noise (60 dB down after 0.3-0.6 s, direct sound 4 dB over the echo), pink noise
            at 20 dB. Peak 0.5.
    noisy   pink noise at 12 dB, peak of the speech 0.1-0.5.
    wind    brown noise under 400 Hz in gusts (swells of 0.3-1.5 s), at 3 dB: most of it lies under the speech band.
    radio   band 300-3400 Hz, soft limiting (tanh) at 8 dB over the speech level, white noise in the band at 20 dB.
    voices  two other voices, backwards (so no word is in them), low-passed at 2 kHz, together at 12 dB.
"""

import numpy as np
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

RATE = 16_000
CLEAR = ["clean", "quiet"]
HARD = ["room", "noisy", "wind", "radio", "voices"]


def rms(x):
    return float(np.sqrt(np.mean(np.square(x)) + 1e-20))


def speech_level(x):
    step = RATE // 50
    frames = len(x) // step
    level = np.sqrt(np.mean(x[: frames * step].reshape(frames, step) ** 2, axis=1) + 1e-20)
    active = level[level > level.max() * 10 ** (-30 / 20)]
    return float(np.sqrt(np.mean(active**2)))


def coloured(rng, n, power):
    """Noise whose power falls as 1/f^power: 0 white, 1 pink, 2 brown. RMS 1, nothing under 20 Hz."""
    spectrum = np.fft.rfft(rng.standard_normal(n))
    f = np.fft.rfftfreq(n, 1 / RATE)
    f[0] = 1.0
    shape = f ** (-power / 2)
    shape[np.fft.rfftfreq(n, 1 / RATE) < 20] = 0
    x = np.fft.irfft(spectrum * shape, n)
    return x / rms(x)


def band(x, low=None, high=None, order=4):
    if low and high:
        sos = butter(order, [low, high], "bandpass", fs=RATE, output="sos")
    elif low:
        sos = butter(order, low, "highpass", fs=RATE, output="sos")
    else:
        sos = butter(order, high, "lowpass", fs=RATE, output="sos")
    return sosfilt(sos, x)


def gusts(rng, n):
    """Wind at a microphone: low noise that swells and drops. RMS 1."""
    slow = np.zeros(n)
    at = 0
    while at < n:
        length = int(rng.uniform(0.3, 1.5) * RATE)
        piece = np.hanning(length) * rng.uniform(0.2, 1.0)
        slow[at : at + length] += piece[: n - at]
        at += int(length * rng.uniform(0.4, 0.9))
    x = band(coloured(rng, n, 2), high=400) * (0.15 + slow)
    return x / rms(x)


def echo(rng, x, seconds, direct_db):
    n = int(seconds * RATE)
    tail = rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / n)  # 60 dB down at its end
    tail[: int(0.004 * RATE)] = 0
    tail *= 10 ** (-direct_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return fftconvolve(x, tail)


def peak_to(x, peak):
    return x * (peak / np.max(np.abs(x)))


def tanh_limit(x, knee):
    return np.tanh(x / knee) * knee


def with_condition(rng, speech, condition, others=(), tight_end=False):
    """A finished clip. `others`: sounds of other voices for "voices". `tight_end`: broken off, 20 ms follow."""
    before = rng.uniform(0.1, 0.7)
    after = 0.02 if tight_end else rng.uniform(0.15, 0.7)
    x = np.concatenate([np.zeros(int(before * RATE)), speech, np.zeros(int(after * RATE))])
    level = speech_level(speech)
    if condition == "clean":
        x = peak_to(x, 0.7) + coloured(rng, len(x), 0) * 10 ** (-80 / 20)
    elif condition == "quiet":
        soft = 0.5 * x + 0.5 * lfilter(*butter(1, 2000, fs=RATE), x)
        x = peak_to(soft, 0.04) + coloured(rng, len(x), 0) * 10 ** (-74 / 20)
    elif condition == "room":
        wet = echo(rng, x, rng.uniform(0.3, 0.6), 4)
        wet = wet if tight_end is False else wet[: len(x)]
        x = peak_to(wet + coloured(rng, len(wet), 1) * level * 10 ** (-20 / 20), 0.5)
    elif condition == "noisy":
        gain = rng.uniform(0.1, 0.5) / np.max(np.abs(x))
        x = (x + coloured(rng, len(x), 1) * level * 10 ** (-12 / 20)) * gain
    elif condition == "wind":
        x = peak_to(x + gusts(rng, len(x)) * level * 10 ** (-3 / 20), 0.6)
    elif condition == "radio":
        x = tanh_limit(band(x, 300, 3400), speech_level(band(speech, 300, 3400)) * 10 ** (8 / 20))
        x = x + band(coloured(rng, len(x), 0), 300, 3400) * level * 10 ** (-20 / 20)
        x = peak_to(x, 0.5)
    elif condition == "voices":
        crowd = babble(rng, len(x), others, 2000)
        x = peak_to(x + crowd * level * 10 ** (-12 / 20), 0.5)
    else:
        raise ValueError(f"no condition {condition!r}")
    return np.clip(x, -0.98, 0.98)


def babble(rng, n, others, high):
    """Other voices backwards, from random places, summed. RMS 1."""
    x = np.zeros(n)
    for other in others:
        back = np.tile(other[::-1], n // len(other) + 2)
        begin = rng.integers(0, len(other))
        x += back[begin : begin + n] / speech_level(other)
    x = band(x, high=high)
    return x / rms(x)


# --- sounds that are no speech ----------------------------------------------------------------------------------------


def no_speech(rng, kind, others=()):
    """A clip of 0.5-6 s without a word. `others`: speech from which the distant babble is made, backwards."""
    n = int(rng.uniform(1.0, 6.0) * RATE)
    t = np.arange(n) / RATE
    floor = coloured(rng, n, 0) * 10 ** (rng.uniform(-80, -60) / 20)
    level = 10 ** (rng.uniform(-40, -14) / 20)
    if kind == "silence":
        # Nothing but the converter's own noise; one in three digital zero.
        return np.zeros(n) if rng.random() < 1 / 3 else floor
    if kind == "white":
        x = coloured(rng, n, 0) * level
    elif kind == "pink":
        x = coloured(rng, n, 1) * level
    elif kind == "brown":
        x = coloured(rng, n, 2) * level
    elif kind == "wind":
        x = gusts(rng, n) * level
    elif kind in ("hum50", "hum100"):
        # Mains hum with falling harmonics.
        base = float(kind[3:])
        x = sum(np.sin(2 * np.pi * base * k * t + rng.uniform(0, 6)) / k**1.5 for k in range(1, 9))
        x = x / rms(x) * level
    elif kind == "clicks":
        # Short decaying pulses at random times.
        x = floor.copy()
        for _ in range(rng.integers(1, 8)):
            pulse = rng.standard_normal(160) * np.exp(-np.arange(160) / rng.uniform(4, 40)) * rng.uniform(0.1, 0.8)
            at = rng.integers(0, n - 160)
            x[at : at + 160] += pulse
    elif kind == "button":
        # A press and a release: two thuds (damped 120-400 Hz) with a click on top.
        n = int(rng.uniform(0.5, 2.5) * RATE)
        x = floor[:n].copy() if len(floor) >= n else coloured(rng, n, 0) * 1e-4
        k = np.arange(1600) / RATE
        for at in (int(0.05 * RATE), n - 1700):
            thud = np.sin(2 * np.pi * rng.uniform(120, 400) * k) * np.exp(-k * rng.uniform(60, 150))
            thud[:80] += rng.standard_normal(80) * 0.5
            x[at : at + 1600] += thud * rng.uniform(0.1, 0.6)
    elif kind == "engine":
        # A winch engine: harmonics of a firing rate that drifts, the beat of a cylinder, and broad noise.
        rate = rng.uniform(25, 110) * (1 + 0.1 * np.cumsum(coloured(rng, n, 2)) / n)
        phase = 2 * np.pi * np.cumsum(rate) / RATE
        x = sum(np.sin(k * phase + rng.uniform(0, 6)) / k for k in range(1, 20))
        x = x / rms(x) * (1 + 0.4 * np.sin(phase / 4)) + 0.3 * coloured(rng, n, 1)
        x = x / rms(x) * level
    elif kind == "music":
        # Chords of plucked harmonics, changing every 0.3-0.8 s.
        x = np.zeros(n)
        at = 0
        while at < n - 800:
            length = min(n - at, int(rng.uniform(0.3, 0.8) * RATE))
            k = np.arange(length) / RATE
            root = 110 * 2 ** (rng.integers(0, 24) / 12)
            for step in (0, rng.choice([3, 4]), 7):
                f = root * 2 ** (step / 12)
                for h in range(1, 6):
                    x[at : at + length] += np.sin(2 * np.pi * f * h * k) * np.exp(-k * 3) / h
            at += length
        x = x / rms(x) * level
    elif kind == "cough":
        # Two or three bursts: sharp onset, noise through two broad resonances, fast decay.
        x = floor.copy()
        at = int(rng.uniform(0.1, 0.4) * RATE)
        for _ in range(rng.integers(1, 4)):
            length = int(rng.uniform(0.18, 0.4) * RATE)
            if at + length > n:
                break
            k = np.arange(length) / RATE
            noise = rng.standard_normal(length)
            burst = band(noise, 300, 900, 2) + 0.6 * band(noise, 1200, 2600, 2)
            burst *= np.minimum(k / 0.01, 1) * np.exp(-k * rng.uniform(9, 18))
            x[at : at + length] += peak_to(burst, rng.uniform(0.1, 0.7))
            at += length + int(rng.uniform(0.05, 0.4) * RATE)
    elif kind == "breath":
        # Breathing into the microphone: slow swells of noise between 300 and 3000 Hz.
        swell = np.maximum(0, np.sin(2 * np.pi * rng.uniform(0.3, 0.6) * t)) ** 1.5
        x = band(coloured(rng, n, 1), 300, 3000) * swell
        x = x / rms(x) * level * 0.5
    elif kind == "rustle":
        # Cloth on the microphone: many small bursts of high noise.
        envelope = np.maximum(0, coloured(rng, n, 2)) ** 2
        x = band(rng.standard_normal(n), 800) * envelope
        x = x / rms(x) * level * 0.6
    elif kind == "birds":
        # Chirps that sweep between 2 and 5 kHz.
        x = floor.copy()
        at = int(0.1 * RATE)
        while at < n - 4000:
            length = int(rng.uniform(0.06, 0.2) * RATE)
            sweep = np.linspace(rng.uniform(2000, 5000), rng.uniform(2000, 5000), length)
            x[at : at + length] += np.sin(2 * np.pi * np.cumsum(sweep) / RATE) * np.hanning(length) * rng.uniform(0.05, 0.3)
            at += length + int(rng.uniform(0.05, 0.6) * RATE)
    elif kind == "beep":
        # Tones of a device, 0.1-0.5 s each.
        x = floor.copy()
        at = int(0.1 * RATE)
        while at < n - 8000:
            length = int(rng.uniform(0.1, 0.5) * RATE)
            k = np.arange(length) / RATE
            x[at : at + length] += np.sin(2 * np.pi * rng.uniform(400, 2500) * k) * rng.uniform(0.05, 0.4)
            at += length + int(rng.uniform(0.2, 1.0) * RATE)
    elif kind == "babble":
        # People far away: four voices backwards, under 1.2 kHz, with a long echo.
        x = echo(rng, babble(rng, n, others, 1200), 0.8, -6)[:n]
        x = x / rms(x) * level * 0.4 + floor
    else:
        raise ValueError(f"no sound {kind!r}")
    x = x + floor[: len(x)] if len(floor) >= len(x) else x
    return np.clip(x, -0.98, 0.98)


NO_SPEECH = [
    "silence", "white", "pink", "brown", "wind", "hum50", "hum100", "clicks", "button", "engine", "music", "cough",
    "breath", "rustle", "birds", "beep", "babble",
]
