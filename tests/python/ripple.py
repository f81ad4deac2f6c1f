"""The highest peak of the power of both sides together, window by window."""

import numpy as np
from exchange import answer, asked
from scipy.signal import periodogram, zoom_fft
from scipy.signal.windows import hann


def highest(pieces, rate):
    """Frequency of the highest peak, from a padded periodogram and then ever finer grids."""
    size = len(pieces[0])
    power = 0.0
    for piece in pieces:
        frequency, one = periodogram(piece, rate, window="hann", nfft=16 * size)
        power = power + one
    band = frequency >= 2.0
    peak = frequency[band][np.argmax(power[band])]
    width = rate / size
    for _ in range(3):
        low, high, points = peak - width, peak + width, 401
        zoomed = 0.0
        for piece in pieces:
            shaped = (piece - piece.mean()) * hann(size, sym=False)
            zoomed = zoomed + np.abs(zoom_fft(shaped, [low, high], points, fs=rate)) ** 2
        peak = low + (high - low) / points * np.argmax(zoomed)
        width /= 50
    return peak


peaks = {}
for k, log in enumerate(asked()["logs"]):
    sides = [np.array(side) for side in log["sides"]]
    cut = [[side[first : first + log["size"]] for side in sides] for first in log["from"]]
    peaks[f"peak_{k}"] = [highest(pieces, log["rate"]) for pieces in cut]
answer(**peaks)
